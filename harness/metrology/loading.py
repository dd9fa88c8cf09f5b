"""What an input resistance or an input current does to the voltage it measures."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def loading_error_ratio(source_ohms: ArrayLike, input_ohms: ArrayLike) -> FloatArray:
    """Relative error of a voltage read through a source resistance: -Rs / (Rs + Ri).

    Common practice (voltage divider); infinite input resistance gives 0.
    """
    source = np.asarray(source_ohms, dtype=np.float64)
    result: FloatArray = -source / (source + np.asarray(input_ohms, dtype=np.float64))
    return result


def bias_current_error_volts(source_ohms: ArrayLike, bias_amperes: ArrayLike) -> FloatArray:
    """Error that an input bias current makes on a source resistance, Ib Rs, volts."""
    result: FloatArray = np.multiply(bias_amperes, np.asarray(source_ohms, dtype=np.float64))
    return result


def divider(
    volts: ArrayLike, upper_ohms: ArrayLike, lower_ohms: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Open-circuit volts and source ohms of a resistive divider (Thevenin)."""
    upper = np.asarray(upper_ohms, dtype=np.float64)
    lower = np.asarray(lower_ohms, dtype=np.float64)
    share: FloatArray = lower / (upper + lower)
    open_volts: FloatArray = np.asarray(volts, dtype=np.float64) * share
    source: FloatArray = upper * share
    return open_volts, source


def loading_uncertainty_volts(
    volts: ArrayLike, source_ohms: ArrayLike, input_ohms: ArrayLike
) -> FloatArray:
    """Standard uncertainty of an uncorrected loading error, its size taken rectangular.

    |V| Rs / (Rs + Ri) / sqrt(3) (GUM 4.3.7): the source resistance is known at most as an
    upper bound, so the error is anywhere between its negative and itself.
    """
    error = np.asarray(volts, dtype=np.float64) * loading_error_ratio(source_ohms, input_ohms)
    result: FloatArray = np.abs(error) / np.sqrt(3.0)
    return result
