"""Uncertainty budgets, vectorised: one contribution is an array over all findings.

(The combination of contributions is added here by its author.)
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


class Shape(str, Enum):
    """Distribution of a contribution."""

    NORMAL = "normal"
    STUDENT = "t"
    RECTANGULAR = "rectangular"


@dataclass(frozen=True)
class Contribution:
    """One contribution to the uncertainty of every error in a set of n.

    name : what it is, e.g. "meter accuracy".
    standard_uncertainty : shape (n,), in the unit of the error, sensitivity included, >= 0.
    shape : its distribution; a rectangular one has half-width sqrt(3) u.
    degrees_of_freedom : shape (n,), numpy.inf for a Type B contribution.
    is_common : the same unknown value acts on all channels and points of a run.
    reduce_by : a short sentence: what would make it smaller.
    source : where the figure comes from (specification column, scatter of n readings, ...).
    """

    name: str
    standard_uncertainty: FloatArray
    shape: Shape
    degrees_of_freedom: FloatArray
    is_common: bool
    reduce_by: str
    source: str


@dataclass(frozen=True)
class Budget:
    """Independent contributions to the same n errors."""

    contributions: tuple[Contribution, ...]
