"""What the error figures share: the errors of one channel with limits and uncertainty bars.

Errors are in the unit in which they are shown (mV, degrees Celsius). All panels of a figure
have one scale; a point beyond .
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from harness.finding import Findings
from harness.metrology.decision import Verdict
from harness.observation import FloatArray
from harness.report.figures.style import BLUE, GREEN, GREY, INK, PURPLE, VERMILLION, WIDTH_INCHES
from harness.report.quantities import error_unit

# A scale that holds the wildest point hides the rest: beyond this many limits it is cut off.
WIDEST_SCALE_LIMITS = 4.0

# Marker, filling and colour of the series in order of appearance.
_SERIES = (
    ("^", True, BLUE),
    ("v", False, VERMILLION),
    ("s", False, GREEN),
    ("D", True, PURPLE),
)

# A limit that is the same at every point is a line, one that changes a dash at each point.
_LIMIT_LINE: dict[str, Any] = {"color": INK, "linewidth": 1.1}
_ACCEPTANCE_LINE: dict[str, Any] = {"color": INK, "linewidth": 0.8, "dashes": (3, 2)}
_DASH: dict[str, Any] = {"linestyle": "none", "marker": "_"}
_LIMIT_DASH: dict[str, Any] = {**_DASH, "color": INK, "markersize": 13, "markeredgewidth": 1.4}
_ACCEPTANCE_DASH: dict[str, Any] = {**_DASH, "color": GREY, "markersize": 7, "markeredgewidth": 1.2}


@dataclass(frozen=True)
class ChannelErrors:
    """Errors of one channel in shown units, arrays of shape (n,), ordered by stimulus.

    x : reference, or the nominal stimulus where there is no reference. series : "up", "down",
    or whatever else follows the number in the point's name.
    """

    channel: int
    x: FloatArray
    error: FloatArray
    expanded: FloatArray
    limit: FloatArray
    series: tuple[str, ...]
    verdicts: tuple[Verdict, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of them."""
        return Verdict.worst(self.verdicts)

    def only(self, name: str) -> ChannelErrors:
        """The rows of one series."""
        mine = [i for i, series in enumerate(self.series) if series == name]
        return ChannelErrors(
            channel=self.channel,
            x=self.x[mine],
            error=self.error[mine],
            expanded=self.expanded[mine],
            limit=self.limit[mine],
            series=(name,) * len(mine),
            verdicts=tuple(self.verdicts[i] for i in mine),
        )


def series_of(point: str) -> str:
    """What follows number and unit in a point's name: "up" of "3.300 V up"."""
    return " ".join(point.split()[2:])


def series_names(findings: Findings) -> tuple[str, ...]:
    """The series of all findings in order of appearance."""
    return tuple(dict.fromkeys(series_of(point) for point in findings.point))


def channels_of(findings: Findings) -> tuple[int, ...]:
    """Channel numbers, rising."""
    return tuple(int(channel) for channel in np.unique(findings.channel))


def channel_errors(findings: Findings, channel: int) -> ChannelErrors:
    """The errors of `channel`."""
    mine = np.flatnonzero(findings.channel == channel)
    mine = mine[np.argsort(findings.nominal[mine], kind="stable")]
    unit = error_unit(findings.unit)
    reference = findings.reference[mine]
    return ChannelErrors(
        channel=channel,
        x=np.where(np.isnan(reference), findings.nominal[mine], reference),
        error=findings.error[mine] * unit.factor,
        expanded=findings.expanded_uncertainty[mine] * unit.factor,
        limit=findings.limit[mine] * unit.factor,
        series=tuple(series_of(findings.point[i]) for i in mine),
        verdicts=tuple(findings.verdict[i] for i in mine),
    )


def common_scale(findings: Findings) -> float:
    """Half-height of the one scale for all channels, in shown units."""
    factor = error_unit(findings.unit).factor
    reach = np.abs(findings.error) + np.nan_to_num(findings.expanded_uncertainty)
    limit = largest(findings.limit) * factor
    wanted = max(1.3 * limit, 1.1 * largest(reach) * factor)
    if limit > 0:
        wanted = min(wanted, WIDEST_SCALE_LIMITS * limit)
    return wanted or 1.0


def largest(values: FloatArray) -> float:
    """The largest finite value, 0 where there is none."""
    finite = values[np.isfinite(values)]
    return float(finite.max()) if len(finite) else 0.0


def grid(
    count: int, columns: int, row_inches: float, extra_inches: float
) -> tuple[Figure, list[Axes]]:
    """A figure with `count` panels in `columns`, axes shared, and the axes in reading order."""
    rows = math.ceil(count / columns)
    figure = Figure(figsize=(WIDTH_INCHES, rows * row_inches + extra_inches), layout="constrained")
    axes = figure.subplots(rows, columns, sharex=True, sharey=True, squeeze=False)
    flat: list[Axes] = list(axes.ravel())
    for unused in flat[count:]:
        unused.remove()
    for lowest in flat[max(0, count - columns) : count]:
        lowest.tick_params(labelbottom=True)
    return figure, flat[:count]


def draw_errors(
    axes: Axes, rows: ChannelErrors, names: Sequence[str], scale: float, has_guard_band: bool
) -> None:
    """Errors, U bars, limits and guard-banded acceptance limits of one channel."""
    draw_limits(axes, rows, has_guard_band)
    span = largest(rows.x) - float(np.nanmin(rows.x)) if len(rows.x) else 0.0
    for place, name in enumerate(names):
        mine = np.array([series == name for series in rows.series], dtype=bool)
        # A small step aside keeps both directions of one point apart.
        aside = (place - (len(names) - 1) / 2) * 0.022 * span
        _draw_series(axes, rows, mine, aside, place, scale)
    _note_beyond_scale(axes, rows, scale)
    axes.set_ylim(-scale, scale)
    axes.margins(x=0.08)
    axes.xaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(5, symmetric=True))


def draw_limits(axes: Axes, rows: ChannelErrors, has_guard_band: bool) -> None:
    """Limits as lines where they are the same at every point, else as a dash at each point."""
    axes.axhline(0.0, color=GREY, linewidth=0.5)
    acceptance = rows.limit - rows.expanded
    is_one = len(set(rows.limit.tolist())) == 1
    outer, inner = (_LIMIT_LINE, _ACCEPTANCE_LINE) if is_one else (_LIMIT_DASH, _ACCEPTANCE_DASH)
    for sign in (1.0, -1.0):
        if is_one:
            axes.axhline(sign * rows.limit[0], **outer)
        else:
            axes.plot(rows.x, sign * rows.limit, **outer)
        if has_guard_band:
            axes.plot(rows.x, sign * acceptance, **inner)


def _draw_series(
    axes: Axes, rows: ChannelErrors, mine: np.ndarray, aside: float, place: int, scale: float
) -> None:
    marker, is_filled, colour = _SERIES[place % len(_SERIES)]
    inside = mine & (np.abs(rows.error) <= scale)
    axes.errorbar(
        rows.x[inside] + aside,
        rows.error[inside],
        yerr=np.nan_to_num(rows.expanded[inside]),
        linestyle="none",
        marker=marker,
        color=colour,
        markerfacecolor=colour if is_filled else "white",
        markersize=3.6,
        markeredgewidth=0.8,
        elinewidth=0.9,
        capsize=2.2,
        capthick=0.9,
    )
    outside = mine & (np.abs(rows.error) > scale)
    edge = np.copysign(0.93 * scale, rows.error[outside])
    axes.plot(rows.x[outside] + aside, edge, marker=marker, color=colour, linestyle="none")


def _note_beyond_scale(axes: Axes, rows: ChannelErrors, scale: float) -> None:
    """Write the largest error that lies beyond the scale, on each side that has one."""
    for sign in (1.0, -1.0):
        beyond = np.where(sign * rows.error > scale, np.abs(rows.error), 0.0)
        if beyond.max(initial=0.0) > 0:
            worst = sign * float(beyond.max())
            axes.text(
                0.5,
                0.5 + sign * 0.36,
                f"worst {worst:+.0f}".replace("-", "\u2212"),
                transform=axes.transAxes,
                ha="center",
                va="center",
                fontsize=8,
                fontweight="bold",
                in_layout=False,
            )


def series_handles(
    names: Sequence[str], has_guard_band: bool, *, as_lines: bool = True
) -> list[Line2D]:
    """Legend entries: the series, the limits."""
    handles = []
    for place, name in enumerate(names):
        marker, is_filled, colour = _SERIES[place % len(_SERIES)]
        handles.append(
            Line2D(
                [],
                [],
                linestyle="none",
                marker=marker,
                color=colour,
                label=f"{name or 'error'}, bar = U",
                markerfacecolor=colour if is_filled else "white",
            )
        )
    outer, inner = (_LIMIT_LINE, _ACCEPTANCE_LINE) if as_lines else (_LIMIT_DASH, _ACCEPTANCE_DASH)
    handles.append(Line2D([], [], label="limit \u00b1T", **outer))
    if has_guard_band:
        handles.append(Line2D([], [], label="acceptance \u00b1(T \u2212 U)", **inner))
    return handles


def has_one_limit(findings: Findings) -> bool:
    """Whether each channel has one limit at all its points."""
    return all(
        len(set(findings.limit[findings.channel == channel].tolist())) == 1
        for channel in channels_of(findings)
    )


def panel_title(axes: Axes, name: str, verdict: Verdict) -> None:
    """Name and verdict in words; anything but a pass in bold."""
    weight = "normal" if verdict is Verdict.PASS else "bold"
    axes.set_title(f"{name}: {verdict.value}", loc="left", fontweight=weight)
