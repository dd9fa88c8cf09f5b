"""Constant current: which sources drop their voltage so that none exceeds its limit."""

from __future__ import annotations

import numpy as np

from harness.observation import FloatArray, IntArray
from harness.simulator.network import Solution

# A source on its limit is told from one above it by this share of the limit.
LIMIT_TOLERANCE = 1.0e-6


def limited_sources(
    solution: Solution, volts: FloatArray, current_share: float, limits: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Source voltages after current limiting, and the indices of the limited sources.

    Sources whose current would exceed its limit lose voltage until it is the limit; that can
    push others over theirs, so the set grows until it stands. No source goes below 0 V.

    Parameters
    ----------
    volts : voltages asked for, shape (sources,); limits : amperes, shape (sources,).
    current_share : share of the board's full currents.
    """
    currents = solution.current_matrix()
    matrix, constant = currents[:, :-1], currents[:, -1] * current_share
    is_over = matrix @ volts + constant > limits * (1 + LIMIT_TOLERANCE)
    if not is_over.any():
        return volts, np.flatnonzero(is_over)
    found = volts
    for _ in range(len(volts)):
        found = _with_limited(matrix, constant, volts, limits, is_over)
        grown = is_over | (matrix @ found + constant > limits * (1 + LIMIT_TOLERANCE))
        if (grown == is_over).all():
            break
        is_over = grown
    return found, np.flatnonzero(is_over)


def _with_limited(
    matrix: FloatArray,
    constant: FloatArray,
    volts: FloatArray,
    limits: FloatArray,
    is_over: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
) -> FloatArray:
    """Voltages with which the sources in `is_over` deliver exactly their limits."""
    rest = limits - constant - matrix[:, ~is_over] @ volts[~is_over]
    answer = np.linalg.lstsq(matrix[np.ix_(is_over, is_over)], rest[is_over], rcond=None)[0]
    result = volts.copy()
    result[is_over] = np.clip(answer, 0.0, volts[is_over])
    return result
