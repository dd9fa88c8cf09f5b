"""What a meter's specification promises for a reading, as a standard uncertainty.

Which column (calibration age) applies is decided elsewhere; here are only the formulas.
"""

from __future__ import annotations

from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

PER_MILLION = 1.0e-6


class StatedCoverage(str, Enum):
    """What the maker says the +- figure of a specification means."""

    RECTANGULAR = "rectangular"
    NORMAL_95 = "normal 95 %"
    NORMAL_99 = "normal 99 %"


# Divisors from the half-width to the standard uncertainty: GUM 4.3.7 for the rectangular one,
# GUM 4.3.4 and table G.2 (infinite degrees of freedom) for the normal ones.
_DIVISORS = {
    StatedCoverage.RECTANGULAR: np.sqrt(3.0),
    StatedCoverage.NORMAL_95: 1.96,
    StatedCoverage.NORMAL_99: 2.58,
}


def accuracy_half_width(
    reading: ArrayLike,
    range_value: ArrayLike,
    ppm_of_reading: ArrayLike,
    ppm_of_range: ArrayLike,
    *,
    temperature_ppm_of_reading_per_kelvin: ArrayLike = 0.0,
    temperature_ppm_of_range_per_kelvin: ArrayLike = 0.0,
    ambient_celsius: ArrayLike = 23.0,
    calibration_celsius: ArrayLike = 23.0,
    within_kelvin: ArrayLike = 5.0,
) -> FloatArray:
    """Half-width a of +-(ppm of reading + ppm of range), with the temperature coefficient.

    a = (p_r |V| + p_R R) 1e-6 + (c_r |V| + c_R R) 1e-6 max(0, |T - T_cal| - within)

    Parameters
    ----------
    reading, range_value : volts or ohms, any shapes that broadcast; a NaN reading gives NaN.
    ppm_of_reading, ppm_of_range : parts per million.
    temperature_ppm_of_reading_per_kelvin, temperature_ppm_of_range_per_kelvin : added for
        each kelvin by which the ambient lies outside the band of the specification.
    ambient_celsius, calibration_celsius, within_kelvin : the band is
        calibration_celsius +- within_kelvin.

    Returns
    -------
    Half-width in the unit of the reading, broadcast shape.

    Notes
    -----
    The form of data sheets of bench multimeters: common practice, no source.
    """
    size = np.abs(np.asarray(reading, dtype=np.float64))
    span = np.asarray(range_value, dtype=np.float64)
    outside = np.maximum(
        0.0,
        np.abs(np.subtract(ambient_celsius, calibration_celsius)) - np.asarray(within_kelvin),
    )
    inside_ppm = np.multiply(ppm_of_reading, size) + np.multiply(ppm_of_range, span)
    per_kelvin_ppm = np.multiply(temperature_ppm_of_reading_per_kelvin, size) + np.multiply(
        temperature_ppm_of_range_per_kelvin, span
    )
    half_width: FloatArray = (inside_ppm + per_kelvin_ppm * outside) * PER_MILLION
    return half_width


def standard_uncertainty(half_width: ArrayLike, coverage: StatedCoverage) -> FloatArray:
    """Standard uncertainty of a specification limit, in the unit of `half_width`.

    Rectangular a / sqrt(3) (GUM 4.3.7); normal 95 % a / 1.96 and 99 % a / 2.58 (GUM 4.3.4).
    """
    result: FloatArray = np.asarray(half_width, dtype=np.float64) / _DIVISORS[coverage]
    return result


def certificate_uncertainty(
    expanded: ArrayLike, coverage_factor: ArrayLike, drift_half_width: ArrayLike = 0.0
) -> FloatArray:
    """Standard uncertainty of a value taken from a calibration certificate.

    u^2 = (U/k)^2 + d^2/3, with U and k as certified (GUM 4.3.3) and d the half-width of what
    may have drifted since, taken rectangular (GUM 4.3.7). Unit of `expanded`.
    """
    certified = np.divide(expanded, coverage_factor)
    result: FloatArray = np.hypot(certified, np.asarray(drift_half_width) / np.sqrt(3.0))
    return result
