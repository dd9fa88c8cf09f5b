"""How uncertain a standard deviation from few readings is, and control-chart constants.

JCGM 100:2008, table E.1; c4, d2, A2 of control charts. Confidence: from memory. Tolerances: half
the last printed digit.
"""

from __future__ import annotations

import pytest
from published_item import published

from harness.metrology.control_chart import mean_chart_a2, mean_range_d2
from harness.metrology.repeatability import bias_factor_c4, relative_uncertainty_of_s

ITEM = published("s-of-s")


@pytest.mark.parametrize("n", [2, 3, 4, 5, 10, 20, 30, 50])
def test_relative_uncertainty_of_s(n: int) -> None:
    assert ITEM.agrees(f"sigma(s)/sigma n={n} %", 100 * relative_uncertainty_of_s(n))


@pytest.mark.parametrize("n", [2, 3, 4, 5, 10])
def test_c4_and_d2(n: int) -> None:
    assert ITEM.agrees(f"c4({n})", bias_factor_c4(n))
    assert ITEM.agrees(f"d2({n})", mean_range_d2(n))


@pytest.mark.parametrize("n", [2, 3, 4, 5])
def test_a2(n: int) -> None:
    assert ITEM.agrees(f"A2({n})", mean_chart_a2(n))
