"""Loading at its ends."""

from __future__ import annotations

import numpy as np
import pytest

from harness.metrology.loading import (
    bias_current_error_volts,
    divider,
    loading_error_ratio,
    loading_uncertainty_volts,
)


def test_infinite_input_resistance_loads_nothing() -> None:
    assert 0.0 == loading_error_ratio(1e3, np.inf)


def test_no_source_resistance_is_not_loaded() -> None:
    assert 0.0 == loading_error_ratio(0.0, 1e7)


def test_uncertainty_is_the_uncorrected_error_taken_rectangular() -> None:
    """3.6 V through 300 ohm into 10 Mohm: 108 microvolts over sqrt 3, of either sign."""
    found = loading_uncertainty_volts(np.array([3.6, -3.6]), 300.0, 1e7)
    assert [108e-6 / 3**0.5] * 2 == pytest.approx(found.tolist(), rel=1e-4)


def test_divider_and_bias_current() -> None:
    """Equal halves of 4.2 V stand behind half of one resistor; 1 nA through it is 0.5 uV."""
    volts, ohms = divider(4.2, 1000.0, 1000.0)
    assert (2.1, 500.0) == (float(volts), float(ohms))
    assert pytest.approx(5e-7) == float(bias_current_error_volts(500.0, 1e-9))
