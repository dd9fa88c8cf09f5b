"""Cell errors in tap basis: the running sum over the cells below each tap.

A bad tap is a pair of opposite errors per cell and a single spike per tap; a bad channel is a
spike per cell and a step per tap. (Common practice, no source.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.finding import Findings
from harness.metrology.budget import Budget, Contribution, Shape, combine, welch_satterthwaite
from harness.observation import FloatArray


@dataclass(frozen=True)
class TapErrors:
    """Errors of the taps at one point, in volts, arrays of shape (cells,); tap 0 is zero.

    expanded : U of the sum, NaN where a cell has no budget. A NaN error makes all taps above
    it NaN.
    """

    point: str
    nominal: float
    taps: tuple[int, ...]
    error: FloatArray
    expanded: FloatArray


def tap_errors(findings: Findings, probability: float = 0.95) -> tuple[TapErrors, ...]:
    """The tap errors of every point, in order of the points.

    Parameters
    ----------
    findings : of cell accuracy. Points at which not every cell from 1 up was measured are
        left out: their sums cannot be formed.
    probability : coverage probability of the expanded uncertainty.
    """
    found = []
    for point in dict.fromkeys(findings.point):
        mine = np.array([i for i, name in enumerate(findings.point) if name == point])
        mine = mine[np.argsort(findings.channel[mine], kind="stable")]
        cells = tuple(int(channel) for channel in findings.channel[mine])
        if cells != tuple(range(1, len(cells) + 1)):
            continue
        found.append(
            TapErrors(
                point=point,
                nominal=float(findings.nominal[mine[0]]),
                taps=cells,
                error=np.cumsum(findings.error[mine]),
                expanded=_expanded_of_sums(findings, mine, probability),
            )
        )
    return tuple(found)


def _expanded_of_sums(findings: Findings, cells: np.ndarray, probability: float) -> FloatArray:
    """U of the running sums over `cells`, shape (cells,)."""
    if findings.budget is None or not findings.budget.contributions:
        return np.full(len(cells), np.nan)
    summed = Budget(tuple(_summed(c, cells) for c in findings.budget.contributions))
    return combine(summed, probability).expanded_uncertainty


def _summed(contribution: Contribution, cells: np.ndarray) -> Contribution:
    """A contribution to the running sums.

    What is common to all channels adds linearly (correlation +1, GUM 5.2.2 note 1, equation
    14), the rest in quadrature; the sum of several independent terms is taken as normal or t
    with Welch-Satterthwaite degrees of freedom (GUM G.4.1).
    """
    u = contribution.standard_uncertainty[cells]
    nu = contribution.degrees_of_freedom[cells]
    if contribution.is_common:
        total, freedom, shape = np.cumsum(u), np.minimum.accumulate(nu), contribution.shape
    else:
        total = np.sqrt(np.cumsum(u**2))
        freedom = np.array(
            [welch_satterthwaite(u[: k + 1, None], nu[: k + 1, None])[0] for k in range(len(cells))]
        )
        shape = Shape.NORMAL if contribution.shape is Shape.RECTANGULAR else contribution.shape
    return Contribution(
        name=contribution.name,
        standard_uncertainty=total,
        shape=shape,
        degrees_of_freedom=freedom,
        is_common=contribution.is_common,
        reduce_by=contribution.reduce_by,
        source=contribution.source,
    )
