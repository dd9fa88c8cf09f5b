"""Propagation of distributions: additive model (9.2) and mass calibration (9.3).

JCGM 101:2008, 9.2.2 to 9.2.4 (tables 2 to 4) and 9.3 (tables 5 and 6). Confidence: partly from
memory. Tolerances: half the last printed digit plus what the number of draws leaves open.
"""

from __future__ import annotations

import numpy as np
import pytest
from published_item import published

from harness.metrology.budget import Budget, Combined, Contribution, Shape, combine
from harness.metrology.coverage import t_factor
from harness.metrology.montecarlo import (
    adaptive,
    normal,
    propagate,
    rectangular,
    shortest_interval,
    simulate_error,
    symmetric_interval,
)
from harness.metrology.propagation import sensitivities

ADDITIVE = published("jcgm101-9.2")
MASS = published("jcgm101-9.3")
DRAWS = 1_000_000


def additive(shape: Shape, deviations: list[float]) -> Budget:
    inf = np.array([np.inf])
    return Budget(
        tuple(Contribution("X", np.array([u]), shape, inf, False, "", "9.2") for u in deviations)
    )


def closed_form(shape: Shape, deviations: list[float]) -> Combined:
    return combine(additive(shape, deviations))


def test_four_normal() -> None:
    """9.2.2: +-3.92."""
    end = closed_form(Shape.NORMAL, [1, 1, 1, 1]).expanded_uncertainty[0]
    assert ADDITIVE.agrees("9.2.2 endpoint", end)


def test_four_rectangular_by_simulation() -> None:
    """9.2.3: +-3.88."""
    budget = additive(Shape.RECTANGULAR, [1, 1, 1, 1])
    low, high = symmetric_interval(simulate_error(budget, DRAWS, np.random.default_rng(923)))
    assert ADDITIVE.agrees("9.2.3 by simulation", (high - low) / 2)


def test_four_rectangular_by_the_closed_form() -> None:
    """9.2.3: two of the four parts are lumped as normal; 0.4 % is what that costs here."""
    end = closed_form(Shape.RECTANGULAR, [1, 1, 1, 1]).expanded_uncertainty[0]
    exact = 2 * np.sqrt(3) * (2 - (3 / 5) ** 0.25)
    assert ADDITIVE.agrees("9.2.3 exact endpoint", exact)
    assert exact == pytest.approx(end, rel=0.006)


def test_dominant_rectangular_by_the_closed_form() -> None:
    """9.2.4: +-17.0, where k = 2 would give 20.3 and the normal factor 19.9."""
    combined = closed_form(Shape.RECTANGULAR, [1, 1, 1, 10])
    assert ADDITIVE.agrees("9.2.4 u", combined.standard_uncertainty[0])
    assert ADDITIVE.agrees("9.2.4 MC endpoint", combined.expanded_uncertainty[0])
    normal_end = t_factor(0.95, np.inf) * combined.standard_uncertainty[0]
    assert ADDITIVE.agrees("9.2.4 GUM endpoint", normal_end)


def test_dominant_rectangular_by_simulation() -> None:
    budget = additive(Shape.RECTANGULAR, [1, 1, 1, 10])
    low, high = symmetric_interval(simulate_error(budget, DRAWS, np.random.default_rng(924)))
    assert ADDITIVE.agrees("9.2.4 MC endpoint", (high - low) / 2)


# Mass calibration ------------------------------------------------------------------------


def mass_deviation(
    m_rc: np.ndarray, dm_rc: np.ndarray, rho_a: np.ndarray, rho_w: np.ndarray, rho_r: np.ndarray
) -> np.ndarray:
    return (m_rc + dm_rc) * (1 + (rho_a - 1.2) * (1 / rho_w - 1 / rho_r)) - 100_000


MASS_INPUTS = [
    normal(100_000, 0.050),
    normal(1.234, 0.020),
    rectangular(1.2, 0.1),
    rectangular(8000, 1000),
    rectangular(8000, 50),
]


def test_mass_by_simulation() -> None:
    """9.3, table 6: mean, u and shortest interval, milligrams."""
    draws = propagate(mass_deviation, MASS_INPUTS, DRAWS, np.random.default_rng(93))
    low, high = shortest_interval(draws)
    assert MASS.agrees("MCM mean", draws.mean())
    assert MASS.agrees("MCM u", draws.std(ddof=1))
    assert MASS.agrees("MCM shortest low", low)
    assert MASS.agrees("MCM shortest high", high)
    assert MASS.agrees("MCM interval length", high - low)


def test_mass_by_first_order_propagation_is_too_small() -> None:
    """9.3, table 6: u = 0.0539 mg, because the sensitivity to the densities vanishes."""
    values = np.array([100_000, 1.234, 1.2, 8000, 8000])
    u = np.array([0.05, 0.02, 0.1 / 3**0.5, 1000 / 3**0.5, 50 / 3**0.5])
    row = sensitivities(lambda x: np.array([mass_deviation(*x)]), values, u * 1e-3)[0]
    first_order = np.sqrt((row**2 * u**2).sum())
    assert MASS.agrees("GUF1 u", first_order)
    assert MASS.agrees("GUF1 low", 1.234 - 1.959964 * first_order)


def test_adaptive_procedure_reaches_two_digits_of_u() -> None:
    """7.9.4 on the mass model: stable, and the same u."""
    result = adaptive(mass_deviation, MASS_INPUTS, np.random.default_rng(794))
    assert result.is_stable
    assert pytest.approx(0.0754, abs=5e-4) == result.standard_uncertainty
