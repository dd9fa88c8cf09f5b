"""Constants of small normal samples for control charts: d2 and A2.

(c4, the bias of s, stands in `repeatability`.)
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

# The integrand of d2 is below 1e-18 beyond nine standard deviations.
_REACH = 9.0
_NODES = 400


def mean_range_d2(count: int) -> float:
    """d2(n): mean range of n standard normal values.

    d2 = integral of 1 - Phi^n - (1 - Phi)^n (standard control-chart constant, from memory).

    Raises
    ------
    ValueError : fewer than two values have no range.
    """
    if count < 2:
        raise ValueError(f"count: expected 2 or more, got {count}")
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    below = ndtr(_REACH * nodes)
    return float(_REACH * (weights @ (1.0 - below**count - (1.0 - below) ** count)))


def mean_chart_a2(count: int) -> float:
    """A2(n) = 3 / (d2 sqrt n): control limits of a mean chart, as a factor of the mean range."""
    return 3.0 / (mean_range_d2(count) * float(np.sqrt(count)))
