"""Customary guard-band factors at their ends."""

from __future__ import annotations

import numpy as np
import pytest

from harness.metrology import guard_band


def test_no_guard_band_with_a_good_reference() -> None:
    """The factors that end do end: at TUR 4 and at about 4.6."""
    assert 1.0 == guard_band.recommended_practice_10(4.0)
    assert 1.0 == guard_band.managed_two_percent(5.0)
    assert guard_band.managed_two_percent(4.4) < 1.0


def test_root_difference_needs_a_ratio_of_one() -> None:
    """Below TUR 1 there is nothing to accept: NaN, not a number without meaning."""
    found = guard_band.root_difference(np.array([0.9, 1.0]))
    assert np.isnan(found[0])
    assert 0.0 == found[1]


@pytest.mark.parametrize("ratio", [1.0, 2.0, 10.0])
def test_subtracting_the_uncertainty_is_the_strictest(ratio: float) -> None:
    strict = guard_band.subtract_uncertainty(ratio)
    assert strict <= guard_band.root_difference(ratio)
    assert strict <= guard_band.managed_two_percent(ratio)


def test_risk_at_the_limit_uses_the_coverage_factor() -> None:
    """k = 1.96 makes the guard band w = U a risk of exactly 2.5 %."""
    assert pytest.approx(0.025, abs=1e-5) == float(guard_band.specific_risk_at_limit(1, 1.96))
