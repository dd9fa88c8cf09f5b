"""Meter accuracy: hand-worked figures."""

from __future__ import annotations

import numpy as np
import pytest

from harness.metrology.specification import (
    StatedCoverage,
    accuracy_half_width,
    certificate_uncertainty,
    standard_uncertainty,
)


def test_reading_and_range() -> None:
    """5 V on the 10 V range at 20 ppm of reading and 5 ppm of range: 150 microvolts."""
    assert pytest.approx(150e-6) == float(accuracy_half_width(5.0, 10.0, 20.0, 5.0))


def test_negative_readings_are_as_uncertain() -> None:
    assert accuracy_half_width(5.0, 10.0, 20.0, 5.0) == accuracy_half_width(-5.0, 10.0, 20.0, 5.0)


@pytest.mark.parametrize(
    ("ambient", "kelvin_outside"), [(23.0, 0), (28.0, 0), (18.0, 0), (31.0, 3), (14.0, 4)]
)
def test_temperature_counts_outside_the_band_only(ambient: float, kelvin_outside: int) -> None:
    """2 ppm of reading and 1 ppm of range for each kelvin beyond +-5 K."""
    found = accuracy_half_width(
        5.0,
        10.0,
        20.0,
        5.0,
        temperature_ppm_of_reading_per_kelvin=2.0,
        temperature_ppm_of_range_per_kelvin=1.0,
        ambient_celsius=ambient,
    )
    assert pytest.approx(150e-6 + kelvin_outside * 20e-6) == float(found)


def test_arrays_broadcast_and_nan_stays() -> None:
    found = accuracy_half_width(np.array([1.0, 2.0, np.nan]), 10.0, 100.0, 0.0)
    assert [100e-6, 200e-6] == pytest.approx(found[:2].tolist())
    assert np.isnan(found[2])


@pytest.mark.parametrize(
    ("coverage", "u"),
    [
        (StatedCoverage.RECTANGULAR, 3.0 / 3**0.5),
        (StatedCoverage.NORMAL_95, 3.0 / 1.96),
        (StatedCoverage.NORMAL_99, 3.0 / 2.58),
    ],
)
def test_standard_uncertainty(coverage: StatedCoverage, u: float) -> None:
    assert u == pytest.approx(float(standard_uncertainty(3.0, coverage)))


@pytest.mark.parametrize("text", ["rectangular", "normal 95 %", "normal 99 %"])
def test_coverages_are_named_as_descriptions_write_them(text: str) -> None:
    assert text == StatedCoverage(text).value


def test_certificate_with_drift() -> None:
    """U = 6 at k = 2 and +-4 sqrt 3 of drift: hypot(3, 4)."""
    assert pytest.approx(5.0) == float(certificate_uncertainty(6.0, 2.0, 4.0 * 3**0.5))
