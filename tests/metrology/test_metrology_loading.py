"""Loading at its ends."""

from __future__ import annotations

import numpy as np
import pytest

from harness.metrology.loading import loading_error_ratio, loading_uncertainty_volts


def test_infinite_input_resistance_loads_nothing() -> None:
    assert 0.0 == loading_error_ratio(1e3, np.inf)


def test_no_source_resistance_is_not_loaded() -> None:
    assert 0.0 == loading_error_ratio(0.0, 1e7)


def test_uncertainty_is_the_uncorrected_error_taken_rectangular() -> None:
    """3.6 V through 300 ohm into 10 Mohm: 108 microvolts over sqrt 3, of either sign."""
    found = loading_uncertainty_volts(np.array([3.6, -3.6]), 300.0, 1e7)
    assert [108e-6 / 3**0.5] * 2 == pytest.approx(found.tolist(), rel=1e-4)
