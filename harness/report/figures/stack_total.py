"""Stack voltage error against the stack's reference voltage."""

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
    """Errors of the board's stack value with U bars and limits; one panel a channel.

    Parameters
    ----------
    findings : of the stack check, at least one.
    """
    channels, names = channels_of(findings), series_names(findings)
    unit, scale = error_unit(findings.unit), common_scale(findings)
    figure, panels = grid(len(channels), 1, row_inches=1.9, extra_inches=0.8)
    for axes, channel in zip(panels, channels, strict=True):
        rows = channel_errors(findings, channel)
        draw_errors(axes, rows, names, scale, has_guard_band)
        panel_title(axes, findings.subject, rows.verdict)
    figure.supxlabel("reference voltage (V)", fontsize=9)
    figure.supylabel(f"error ({unit.symbol})", fontsize=9)
    figure.legend(
        handles=series_handles(names, has_guard_band), loc="outside upper center", ncols=2
    )
    return figure
