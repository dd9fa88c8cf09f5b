"""Hand-held multimeter at 100 V DC: a dominant rectangular contribution.

EA-4/02, example S9. Confidence: partly from memory. The example takes k = 1.65 of the dominant
rectangular distribution; our closed form takes all three parts and lies 3 % above.
"""

from __future__ import annotations

import numpy as np
import pytest
from published_item import published

from harness.metrology.budget import Budget, Contribution, Shape, combine

EA = published("ea402-s9")
INF = np.array([np.inf])


def part(name: str, u: float, shape: Shape) -> Contribution:
    return Contribution(name, np.array([u]), shape, INF, False, "", "S9")


RESOLUTION = 0.05 / np.sqrt(3)
CALIBRATOR = (0.0001 * EA.inputs["V_S_V"] + 0.001) / np.sqrt(3)
BUDGET = Budget(
    (
        part("certificate of the standard", 0.001, Shape.NORMAL),
        part("resolution of the meter", RESOLUTION, Shape.RECTANGULAR),
        part("drift and conditions of the standard", CALIBRATOR, Shape.RECTANGULAR),
    )
)


def test_contributions() -> None:
    assert EA.agrees("u resolution", RESOLUTION)
    assert EA.agrees("u calibrator", CALIBRATOR)


def test_standard_uncertainty() -> None:
    assert EA.agrees("u(E_X)", combine(BUDGET).standard_uncertainty[0])


def test_expanded_uncertainty() -> None:
    """U = 0.05 V."""
    assert EA.agrees("U", combine(BUDGET).expanded_uncertainty[0])


def test_coverage_factor_of_the_whole_sum() -> None:
    """k = 1.71 for the exact distribution of the three parts (by simulation)."""
    assert pytest.approx(1.71, abs=0.005) == combine(BUDGET).coverage_factor[0]


def test_coverage_factor_of_the_dominant_part_alone() -> None:
    """k = 0.95 sqrt 3 = 1.65 when nothing but the resolution is in the budget."""
    alone = combine(Budget(BUDGET.contributions[1:2]))
    assert EA.agrees("k = 0.95*sqrt(3)", alone.coverage_factor[0])
