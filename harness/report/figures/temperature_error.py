"""Temperature error against temperature: one panel a thermistor, one scale for all."""

from __future__ import annotations

from collections.abc import Mapping

from matplotlib.figure import Figure

from harness.finding import Findings
from harness.report.figures.panels import (
    channel_errors,
    channels_of,
    common_scale,
    draw_errors,
    grid,
    has_one_limit,
    panel_title,
    series_handles,
    series_names,
)
from harness.report.figures.style import styled
from harness.report.quantities import error_unit

# Up to so many thermistors stand under one another, at full width.
_MOST_IN_ONE_COLUMN = 3


@styled
def temperature_error(
    findings: Findings,
    *,
    has_guard_band: bool = True,
    names_of_thermistors: Mapping[int, str] | None = None,
) -> Figure:
    """Errors of each thermistor input with U bars and limits.

    Parameters
    ----------
    findings : of the thermistor accuracy check, at least one.
    names_of_thermistors : what the board description calls them, by number.
    """
    channels, names = channels_of(findings), series_names(findings)
    unit, scale = error_unit(findings.unit), common_scale(findings)
    columns = 1 if len(channels) <= _MOST_IN_ONE_COLUMN else 2
    figure, panels = grid(len(channels), columns, row_inches=1.7, extra_inches=0.8)
    for axes, channel in zip(panels, channels, strict=True):
        rows = channel_errors(findings, channel)
        draw_errors(axes, rows, names, scale, has_guard_band)
        said = (names_of_thermistors or {}).get(channel, "")
        panel_title(axes, f"{channel} {said}".strip(), rows.verdict)
    figure.supxlabel("reference temperature (\u00b0C)", fontsize=9)
    figure.supylabel(f"error, board \u2212 reference ({unit.symbol})", fontsize=9)
    handles = series_handles(names, has_guard_band, as_lines=has_one_limit(findings))
    figure.legend(handles=handles, loc="outside upper center", ncols=3)
    return figure
