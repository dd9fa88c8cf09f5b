"""Acceptance limits by the customary guard-band formulas, as factors of the limit.

The decision rules of plans use w = U (`decision`); the other forms are here for comparison.
Each function gives A / T for a test uncertainty ratio TUR = T / U; a factor of 0 or less
means that nothing can be accepted.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

FloatArray = NDArray[np.float64]


def subtract_uncertainty(ratio: ArrayLike, fraction: float = 1.0) -> FloatArray:
    """1 - r / TUR: guard band w = r U (ILAC-G8:09/2019, table 1)."""
    result: FloatArray = 1.0 - fraction / np.asarray(ratio, dtype=np.float64)
    return result


def root_difference(ratio: ArrayLike) -> FloatArray:
    """sqrt(1 - 1/TUR^2), that is A = sqrt(T^2 - U^2); NaN for TUR < 1. Common practice."""
    inverse = 1.0 / np.asarray(ratio, dtype=np.float64)
    inside = 1.0 - inverse**2
    return np.where(inside >= 0, np.sqrt(np.maximum(inside, 0.0)), np.nan)


def recommended_practice_10(ratio: ArrayLike) -> FloatArray:
    """1.25 - 1/TUR, at most 1: no guard band from TUR = 4 on. Common practice."""
    return np.minimum(1.25 - 1.0 / np.asarray(ratio, dtype=np.float64), 1.0)


def managed_two_percent(ratio: ArrayLike) -> FloatArray:
    """1 - M/TUR, M = 1.04 - exp(0.38 ln TUR - 0.54), at most 1: false accepts at most 2 %.

    Common practice (formula read in a public copy, limits of its use from memory).
    """
    tur = np.asarray(ratio, dtype=np.float64)
    multiplier = 1.04 - np.exp(0.38 * np.log(tur) - 0.54)
    return np.minimum(1.0 - multiplier / tur, 1.0)


def specific_risk_at_limit(fraction: ArrayLike, coverage_factor: float = 2.0) -> FloatArray:
    """Probability of false acceptance at A = T - r U, one limit, normal: Phi(-k r).

    ILAC-G8:09/2019, table 1, with U = k u.
    """
    result: FloatArray = np.asarray(ndtr(-coverage_factor * np.asarray(fraction, dtype=np.float64)))
    return result
