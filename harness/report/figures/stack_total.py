"""Stack voltage error against the stack's reference voltage: one panel a comparison."""

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


@styled
def stack_total(findings: Findings, *, has_guard_band: bool = True) -> Figure:
    """Errors of the stack value with U bars and limits.

    Parameters
    ----------
    findings : of the stack check, at least one. What follows the voltage in a point's name
        says what was compared with what; each comparison has its panel.
    """
    unit, scale = error_unit(findings.unit), common_scale(findings)
    rows = [channel_errors(findings, channel) for channel in channels_of(findings)]
    panels = [row.only(name) for row in rows for name in series_names(findings)]
    panels = [panel for panel in panels if len(panel.x)]
    figure, axes = grid(len(panels), 1, row_inches=1.45, extra_inches=0.8)
    for panel, errors in zip(axes, panels, strict=True):
        draw_errors(panel, errors, errors.series[:1], scale, has_guard_band)
        panel_title(panel, f"{findings.subject} {errors.series[0]}".strip(), errors.verdict)
    figure.supxlabel("reference voltage (V)", fontsize=9)
    figure.supylabel(f"error ({unit.symbol})", fontsize=9)
    handles = series_handles(("",), has_guard_band)
    figure.legend(handles=handles, loc="outside upper center", ncols=3)
    return figure
