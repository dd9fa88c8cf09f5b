"""Uncertainty budgets, vectorised: one contribution is an array over all findings.

A budget is a sum of independent contributions with sensitivities already applied. `combine`
turns it into standard and expanded uncertainty; what is common to all channels is also kept
apart, so that "absolute" and "channel to channel" can both be told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from harness.errors import MisuseError
from harness.metrology.coverage import (
    CombinedDistribution,
    combined_distribution,
    half_interval,
    t_factor,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


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


@dataclass(frozen=True)
class Combined:
    """A combined budget; every array has shape (n,), in the unit of the error.

    standard_uncertainty : u. expanded_uncertainty : U = k u for `probability`.
    coverage_factor : k. degrees_of_freedom : effective, of all contributions (inf allowed).
    common_uncertainty, channel_uncertainty : standard uncertainty of the contributions that
    are common to all channels, and of the others; u^2 is the sum of their squares.
    channel_to_channel_expanded : expanded uncertainty of the others alone, for `probability`.
    distribution : of the unknown error, for probabilities (`harness.metrology.decision`).
    """

    probability: float
    standard_uncertainty: FloatArray
    expanded_uncertainty: FloatArray
    coverage_factor: FloatArray
    degrees_of_freedom: FloatArray
    common_uncertainty: FloatArray
    channel_uncertainty: FloatArray
    channel_to_channel_expanded: FloatArray
    distribution: CombinedDistribution


def welch_satterthwaite(uncertainties: FloatArray, degrees_of_freedom: FloatArray) -> FloatArray:
    """Effective degrees of freedom, not truncated (GUM G.4.1, equation G.2b).

    nu_eff = u_c^4 / sum(u_i^4 / nu_i), with u_c unrounded.

    Parameters
    ----------
    uncertainties, degrees_of_freedom : shape (m, n), m contributions; inf allowed for nu.

    Returns
    -------
    Shape (n,); inf where no contribution with finite degrees of freedom has u > 0.
    """
    squared = np.square(uncertainties)
    total = np.square(squared.sum(axis=0))
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = (np.square(squared) / degrees_of_freedom).sum(axis=0)
        return np.where(spread > 0, total / spread, np.where(np.isnan(spread), np.nan, np.inf))


def combine(budget: Budget, probability: float = 0.95) -> Combined:
    """Combine independent contributions and expand them for `probability`.

    Parameters
    ----------
    budget : at least one contribution; arrays of one common shape (n,).
    probability : coverage probability, between 0 and 1.

    Returns
    -------
    NaN in a contribution makes everything of that entry NaN. Where u is 0, U is 0 and k is
    the normal factor.

    Raises
    ------
    MisuseError : no contribution, shapes differ, a negative u, or nu not above 0.

    Notes
    -----
    u by GUM 5.1.2 (equation 10, sensitivities 1); k from the shape of the combined
    distribution, see `harness.metrology.coverage`.
    """
    _check(budget)
    parts = budget.contributions
    u = np.stack([c.standard_uncertainty for c in parts])
    nu = np.stack([c.degrees_of_freedom for c in parts])
    is_common = np.array([c.is_common for c in parts])
    is_rectangular = np.array([c.shape is Shape.RECTANGULAR for c in parts])
    whole = _distribution(u, nu, is_rectangular)
    standard = np.sqrt((u**2).sum(axis=0))
    expanded = half_interval(probability, whole)
    with np.errstate(invalid="ignore", divide="ignore"):
        factor = np.where(standard == 0, t_factor(probability, np.inf), expanded / standard)
    own = ~is_common
    return Combined(
        probability=probability,
        standard_uncertainty=standard,
        expanded_uncertainty=expanded,
        coverage_factor=factor,
        degrees_of_freedom=welch_satterthwaite(u, nu),
        common_uncertainty=np.sqrt((u[is_common] ** 2).sum(axis=0)),
        channel_uncertainty=np.sqrt((u[own] ** 2).sum(axis=0)),
        channel_to_channel_expanded=(
            expanded
            if own.all()
            else half_interval(probability, _distribution(u[own], nu[own], is_rectangular[own]))
        ),
        distribution=whole,
    )


def _distribution(
    u: FloatArray, nu: FloatArray, is_rectangular: NDArray[np.bool_]
) -> CombinedDistribution:
    scattered = u[~is_rectangular]
    return combined_distribution(
        scale=np.sqrt((scattered**2).sum(axis=0)),
        degrees_of_freedom=welch_satterthwaite(scattered, nu[~is_rectangular]),
        half_widths=np.sqrt(3.0) * u[is_rectangular],
    )


def _check(budget: Budget) -> None:
    if not budget.contributions:
        raise MisuseError("budget: expected at least one contribution, got none")
    shape = budget.contributions[0].standard_uncertainty.shape
    for c in budget.contributions:
        if (
            len(shape) != 1
            or not shape == c.standard_uncertainty.shape == c.degrees_of_freedom.shape
        ):
            raise MisuseError(
                f'budget: "{c.name}": expected arrays of shape ({shape[0] if shape else "n"},), '
                f"got {c.standard_uncertainty.shape} and {c.degrees_of_freedom.shape}"
            )
        if (c.standard_uncertainty < 0).any():
            raise MisuseError(
                f'budget: "{c.name}": expected standard uncertainties of 0 or more, '
                f"got {float(np.nanmin(c.standard_uncertainty))!r}"
            )
        if (c.degrees_of_freedom <= 0).any():
            raise MisuseError(
                f'budget: "{c.name}": expected degrees of freedom above 0, '
                f"got {float(np.nanmin(c.degrees_of_freedom))!r}"
            )


def shares(budget: Budget) -> FloatArray:
    """Share of each contribution in the combined variance, shape (m, n), each column sums to 1.

    A column is 0 where the combined uncertainty is 0.
    """
    variance = np.stack([c.standard_uncertainty for c in budget.contributions]) ** 2
    total = variance.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(total == 0, 0.0, variance / total)


def largest_first(budget: Budget, entry: int) -> tuple[Contribution, ...]:
    """The contributions ordered by their standard uncertainty at `entry`, largest first.

    Equal ones keep the order of the budget.
    """
    return tuple(
        sorted(
            budget.contributions,
            key=lambda c: float(c.standard_uncertainty[entry]),
            reverse=True,
        )
    )


def entry_of(budget: Budget, entry: int) -> Budget:
    """The budget of one error alone: arrays of shape (1,)."""
    return take(budget, [entry])


def take(budget: Budget, entries: Sequence[int] | IntArray) -> Budget:
    """The budget of the chosen entries, in the order given."""
    chosen = np.asarray(entries, dtype=np.int64)
    return Budget(
        tuple(
            Contribution(
                name=c.name,
                standard_uncertainty=c.standard_uncertainty[chosen],
                shape=c.shape,
                degrees_of_freedom=c.degrees_of_freedom[chosen],
                is_common=c.is_common,
                reduce_by=c.reduce_by,
                source=c.source,
            )
            for c in budget.contributions
        )
    )
