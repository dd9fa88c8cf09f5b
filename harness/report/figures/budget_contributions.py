"""The contributions to one finding's uncertainty as bars, largest first."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.figure import Figure
from matplotlib.patches import Patch

from harness.report.budget_rows import BudgetRow
from harness.report.figures.style import BLUE, INK, ORANGE, WIDTH_INCHES, styled
from harness.report.quantities import error_unit, percent_text, small_text

_ROW_INCHES = 0.36


@styled
def budget_contributions(rows: Sequence[BudgetRow], unit: str) -> Figure:
    """Standard uncertainties; hatched bars act alike on all channels.

    Parameters
    ----------
    rows : largest first, at least one.
    unit : SI unit of the standard uncertainties.
    """
    shown = error_unit(unit)
    height = len(rows) * _ROW_INCHES + 0.9
    figure = Figure(figsize=(WIDTH_INCHES, height), layout="constrained")
    axes = figure.subplots()
    longest = max(row.standard_uncertainty for row in rows) * shown.factor or 1.0
    for place, row in enumerate(rows):
        size = row.standard_uncertainty * shown.factor
        look: dict[str, Any] = (
            {"facecolor": "white", "hatch": "////"} if row.is_common else {"facecolor": BLUE}
        )
        axes.barh(
            place + 0.18,
            size,
            height=0.42,
            edgecolor=ORANGE if row.is_common else INK,
            linewidth=0.8,
            **look,
        )
        axes.text(0.0, place - 0.1, row.name, ha="left", va="bottom", fontsize=8.5)
        axes.text(
            size + 0.015 * longest,
            place + 0.2,
            f"{small_text(size)} {shown.symbol}, {percent_text(row.share)}",
            va="center",
            fontsize=8,
        )
    axes.set_ylim(len(rows) - 0.4, -0.6)
    axes.set_xlim(0, 1.32 * longest)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(f"standard uncertainty u ({shown.symbol}), share of variance (%)")
    handles = [
        Patch(facecolor="white", edgecolor=ORANGE, hatch="////", label="common to all channels"),
        Patch(facecolor=BLUE, edgecolor=INK, label="this channel alone"),
    ]
    figure.legend(handles=handles, loc="outside upper center", ncols=2)
    return figure
