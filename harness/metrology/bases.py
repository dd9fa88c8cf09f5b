"""Cell basis and tap basis: differences of neighbours and their running sums.

One bad tap is a pair of opposite errors in cell basis and a single spike in tap basis; one
bad channel is a spike in cell basis and a step in tap basis.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def cells_to_taps(cells: ArrayLike) -> FloatArray:
    """Values of taps 1 to N from those of cells 1 to N: running sums, tap 0 being 0.

    Parameters
    ----------
    cells : shape (..., N), cells along the last axis; NaN spoils its own and all later taps.
    """
    return np.cumsum(np.asarray(cells, dtype=np.float64), axis=-1)


def taps_to_cells(taps: ArrayLike) -> FloatArray:
    """Values of cells 1 to N from those of taps 1 to N, shape (..., N)."""
    values = np.asarray(taps, dtype=np.float64)
    return np.diff(values, axis=-1, prepend=0.0)


def sum_uncertainty(common: ArrayLike, independent: ArrayLike) -> FloatArray:
    """Standard uncertainty of a sum of values that share part of their error.

    u^2 = (sum u_common)^2 + sum u_independent^2: fully correlated parts add linearly, the
    others in quadrature (GUM 5.2.2 note 1, r = +1).

    Parameters
    ----------
    common, independent : standard uncertainties, shape (..., N), summed over the last axis.

    Returns
    -------
    Shape (...,).
    """
    linear = np.sum(np.asarray(common, dtype=np.float64), axis=-1)
    square = np.sum(np.square(np.asarray(independent, dtype=np.float64)), axis=-1)
    result: FloatArray = np.sqrt(np.square(linear) + square)
    return result


def tap_uncertainty(common: ArrayLike, independent: ArrayLike) -> FloatArray:
    """Standard uncertainty of every tap 1 to N, shape (..., N): `sum_uncertainty`, running."""
    linear = cells_to_taps(common)
    square = np.cumsum(np.square(np.asarray(independent, dtype=np.float64)), axis=-1)
    result: FloatArray = np.sqrt(np.square(linear) + square)
    return result
