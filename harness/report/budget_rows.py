"""The rows of one finding's uncertainty budget, largest first; pure numbers, no layout."""

from __future__ import annotations

from dataclasses import dataclass

from harness.report.ranking import Placed


@dataclass(frozen=True)
class BudgetRow:
    """One contribution; `share` is u_i^2 / sum of u_j^2 (0 where all are zero).

    standard_uncertainty is in the unit of the finding, sensitivity included.
    """

    name: str
    standard_uncertainty: float
    shape: str
    degrees_of_freedom: float
    share: float
    is_common: bool
    reduce_by: str
    source: str


def budget_rows(placed: Placed) -> tuple[BudgetRow, ...]:
    """The contributions behind one finding, largest first; empty when it has no budget.

    Shares are of the combined variance of independent contributions (GUM 5.1.2, eq. 10).
    """
    budget = placed.findings.budget
    if budget is None:
        return ()
    sizes = [float(c.standard_uncertainty[placed.index]) for c in budget.contributions]
    variance = sum(size**2 for size in sizes)
    rows = [
        BudgetRow(
            name=c.name,
            standard_uncertainty=size,
            shape=c.shape.value,
            degrees_of_freedom=float(c.degrees_of_freedom[placed.index]),
            share=size**2 / variance if variance > 0 else 0.0,
            is_common=c.is_common,
            reduce_by=c.reduce_by,
            source=c.source,
        )
        for c, size in zip(budget.contributions, sizes, strict=True)
    ]
    return tuple(sorted(rows, key=lambda row: -row.standard_uncertainty))
