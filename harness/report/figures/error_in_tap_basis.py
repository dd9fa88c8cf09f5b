"""The cell errors in tap basis: running sum against tap number, one panel a point."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from harness.report.figures.panels import grid, largest, series_of
from harness.report.figures.style import BLUE, GREY, VERMILLION, styled
from harness.report.quantities import error_unit
from harness.report.tap_errors import TapErrors

_COLUMNS = 2
_LOOKS: tuple[dict[str, Any], ...] = (
    {"marker": "^", "color": BLUE, "markerfacecolor": BLUE, "linestyle": "-"},
    {"marker": "v", "color": VERMILLION, "markerfacecolor": "white", "linestyle": "--"},
)


@styled
def error_in_tap_basis(points: Sequence[TapErrors]) -> Figure:
    """Sum of the errors of all cells below each tap, with U of the sum as bars.

    Parameters
    ----------
    points : at least one; points of one nominal voltage share a panel.
    """
    unit = error_unit("V")
    ordered = sorted(points, key=lambda p: p.nominal)
    panels = [(nominal, list(group)) for nominal, group in groupby(ordered, lambda p: p.nominal)]
    names = list(dict.fromkeys(series_of(p.point) for p in points))
    reach = max(largest(np.abs(p.error) + np.nan_to_num(p.expanded)) for p in points)
    figure, axes = grid(len(panels), _COLUMNS, row_inches=1.4, extra_inches=0.75)
    for panel, (nominal, group) in zip(axes, panels, strict=True):
        for point in group:
            _draw(panel, point, _LOOKS[names.index(series_of(point.point)) % len(_LOOKS)])
        panel.axhline(0.0, color=GREY, linewidth=0.5)
        panel.set_title(f"{nominal:.3f} V a cell", loc="left")
        panel.set_ylim(-1.1 * reach * unit.factor, 1.1 * reach * unit.factor)
        panel.xaxis.set_major_locator(MaxNLocator(6, integer=True))
        panel.yaxis.set_major_locator(MaxNLocator(5, symmetric=True))
    figure.supxlabel("tap number", fontsize=9)
    figure.supylabel(f"sum of cell errors below the tap ({unit.symbol})", fontsize=9)
    handles = [
        Line2D([], [], label=f"{name or 'error'}, bar = U of the sum", **_LOOKS[i % len(_LOOKS)])
        for i, name in enumerate(names)
    ]
    figure.legend(handles=handles, loc="outside upper center", ncols=2)
    return figure


def _draw(axes: Axes, point: TapErrors, look: dict[str, Any]) -> None:
    factor = error_unit("V").factor
    axes.errorbar(
        np.array((0, *point.taps)),
        np.concatenate(([0.0], point.error)) * factor,
        yerr=np.concatenate(([0.0], np.nan_to_num(point.expanded))) * factor,
        markersize=3.5,
        linewidth=0.8,
        elinewidth=0.8,
        capsize=1.5,
        **look,
    )
