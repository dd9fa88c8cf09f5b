"""Platinum thermometers: round trips and range."""

from __future__ import annotations

import numpy as np
import pytest

from harness.metrology.platinum import Platinum, ToleranceClass, tolerance_kelvin

CELSIUS = np.linspace(-200.0, 850.0, 211)


@pytest.mark.parametrize("zero_ohms", [100.0, 1000.0])
def test_there_and_back(zero_ohms: float) -> None:
    """From end to end of the standard's range."""
    sensor = Platinum(zero_ohms)
    assert CELSIUS == pytest.approx(sensor.temperature(sensor.resistance(CELSIUS)), abs=1e-9)


def test_outside_the_range_is_nothing() -> None:
    """NaN, without a warning, for temperatures and resistances beyond the standard."""
    sensor = Platinum()
    assert np.isnan(sensor.resistance(np.array([-200.1, 850.1, np.nan]))).all()
    assert np.isnan(sensor.temperature(np.array([18.0, 391.0, -5.0, np.inf, np.nan]))).all()
    assert np.isnan(sensor.sensitivity(np.inf))


def test_sensitivity_is_the_derivative() -> None:
    sensor = Platinum()
    ohms = sensor.resistance(np.array([-150.0, -3.0, 40.0, 600.0]))
    slope = (sensor.temperature(ohms + 1e-4) - sensor.temperature(ohms - 1e-4)) / 2e-4
    assert slope == pytest.approx(sensor.sensitivity(ohms), rel=1e-7)


def test_tolerance_is_the_same_below_zero() -> None:
    assert tolerance_kelvin(-40.0, ToleranceClass.A) == tolerance_kelvin(40.0, ToleranceClass.A)
