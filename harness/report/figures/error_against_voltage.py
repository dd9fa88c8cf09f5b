"""Cell error against reference voltage: one panel a cell, one scale for all."""

from __future__ import annotations

from matplotlib.figure import Figure

from harness.finding import Findings
from harness.report.figures.panels import (
    channel_errors,
    channels_of,
    common_scale,
    draw_errors,
    grid,
    panel_title,
    series_handles,
    series_names,
)
from harness.report.figures.style import styled
from harness.report.quantities import error_unit

_COLUMNS = 3


@styled
def error_against_voltage(findings: Findings, *, has_guard_band: bool = True) -> Figure:
    """Errors of each cell with U bars, limits +-T and acceptance limits +-(T - U).

    Parameters
    ----------
    findings : of a check whose stimulus is a voltage, at least one.
    has_guard_band : whether the decision rule has one; without it T itself is the limit.
    """
    channels, names = channels_of(findings), series_names(findings)
    unit, scale = error_unit(findings.unit), common_scale(findings)
    figure, panels = grid(len(channels), _COLUMNS, row_inches=1.35, extra_inches=0.8)
    for axes, channel in zip(panels, channels, strict=True):
        rows = channel_errors(findings, channel)
        draw_errors(axes, rows, names, scale, has_guard_band)
        panel_title(axes, f"{channel}", rows.verdict)
    figure.supxlabel("reference voltage (V)", fontsize=9)
    figure.supylabel(f"error, board \u2212 reference ({unit.symbol})", fontsize=9)
    figure.legend(
        handles=series_handles(names, has_guard_band), loc="outside upper center", ncols=2
    )
    return figure
