"""End gauge: budget, effective degrees of freedom, expanded uncertainty.

JCGM 100:2008, H.1 (table H.1, H.1.6). Confidence: partly from memory. Tolerances are half the
last printed digit, or the digits to which the example was worked out again.
"""

from __future__ import annotations

import numpy as np
import pytest
from published_item import published

from harness.metrology.budget import Budget, Combined, Contribution, Shape, combine
from harness.metrology.coverage import t_factor

GUM = published("gum-h1")
LENGTH_NM = 5.0e7


def part(name: str, u: float, dof: float) -> Contribution:
    return Contribution(name, np.array([u]), Shape.STUDENT, np.array([dof]), False, "", "H.1")


def difference() -> Combined:
    parts = GUM.inputs["d_parts_u_nm_dof"]
    return combine(Budget(tuple(part("d", u, dof) for u, dof in parts)))


@pytest.fixture
def sizes() -> dict[str, float]:
    """Standard uncertainties of the terms, nanometres (H.1.3.1 to H.1.3.4)."""
    given = GUM.inputs
    u_alpha = given["delta_alpha_half_width"] / np.sqrt(3)
    u_theta = given["delta_theta_half_width_C"] / np.sqrt(3)
    return {
        "l_S": given["u_l_S_nm"],
        "d": float(difference().standard_uncertainty[0]),
        "delta_alpha": LENGTH_NM * abs(given["theta_mean_C"]) * u_alpha,
        "delta_theta": LENGTH_NM * given["alpha_S_per_C"] * u_theta,
    }


@pytest.fixture
def combined(sizes: dict[str, float]) -> Combined:
    given = GUM.inputs
    return combine(
        Budget(
            (
                part("l_S", sizes["l_S"], given["dof_l_S"]),
                part("d", sizes["d"], float(difference().degrees_of_freedom[0])),
                part("delta_alpha", sizes["delta_alpha"], given["dof_delta_alpha"]),
                part("delta_theta", sizes["delta_theta"], given["dof_delta_theta"]),
            )
        ),
        0.99,
    )


def test_difference_of_lengths() -> None:
    """u(d) and its degrees of freedom from three independent parts."""
    assert GUM.agrees("u(d)", difference().standard_uncertainty[0])
    assert GUM.agrees("nu(d)", difference().degrees_of_freedom[0])


def test_components(sizes: dict[str, float]) -> None:
    """The two terms of thermal expansion."""
    assert GUM.agrees("delta_alpha comp.", sizes["delta_alpha"])
    assert GUM.agrees("delta_theta comp.", sizes["delta_theta"])


def test_combined_standard_uncertainty(combined: Combined) -> None:
    """u_c = 32 nm, to all digits."""
    assert GUM.agrees("u_c", combined.standard_uncertainty[0])


def test_effective_degrees_of_freedom(combined: Combined) -> None:
    """nu_eff from the unrounded u_c; with u_c rounded to 32 nm it would be 17.5."""
    assert GUM.agrees("nu_eff full digits", combined.degrees_of_freedom[0])


def test_expanded_uncertainty(combined: Combined) -> None:
    """k = t_99(16), nu_eff truncated as the example does; U = 93 nm."""
    factor = float(t_factor(0.99, np.floor(combined.degrees_of_freedom))[0])
    assert GUM.agrees("t99(16)", factor)
    assert GUM.agrees("U99", factor * combined.standard_uncertainty[0])


def test_our_factor_is_not_truncated(combined: Combined) -> None:
    """`combine` takes nu_eff as it is: between t_99(16) and t_99(17)."""
    high, low = t_factor(0.99, [16, 17])
    assert low < combined.coverage_factor[0] < high
