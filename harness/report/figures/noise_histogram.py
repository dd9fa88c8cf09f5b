"""Noise as a histogram in codes: one panel a channel, one scale for all."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from harness.report.code_histogram import CodeCounts
from harness.report.figures.panels import grid
from harness.report.figures.style import BLUE, INK, styled

_COLUMNS = 3

# Codes farther out than this are gathered in the outermost bar on their side.
_FARTHEST_CODE = 8


@styled
def noise_histogram(channels: Sequence[CodeCounts], resolution_volts: float) -> Figure:
    """Readings a code for each channel, with the standard deviation in codes.

    Parameters
    ----------
    channels : at least one.
    resolution_volts : the board's reporting step q, volts; one code.
    """
    reach = max((int(np.abs(c.codes).max()) for c in channels if len(c.codes)), default=0)
    reach = min(max(reach, 2), _FARTHEST_CODE)
    figure, panels = grid(len(channels), _COLUMNS, row_inches=1.2, extra_inches=0.5)
    for axes, channel in zip(panels, channels, strict=True):
        _draw(axes, channel, reach)
    figure.supxlabel(
        f"code relative to the channel's median (1 code = {resolution_volts * 1e3:g} mV)",
        fontsize=9,
    )
    figure.supylabel("readings", fontsize=9)
    return figure


def _draw(axes: Axes, channel: CodeCounts, reach: int) -> None:
    gathered = np.clip(channel.codes, -reach, reach)
    counts = np.bincount(gathered + reach, weights=channel.counts, minlength=2 * reach + 1)
    axes.bar(
        np.arange(-reach, reach + 1), counts, width=0.8, color=BLUE, edgecolor=INK, linewidth=0.5
    )
    deviation = "no value" if not len(channel.codes) else f"s = {channel.deviation_codes:.2f} q"
    axes.set_title(f"{channel.channel}: {deviation}", loc="left")
    axes.set_xlim(-reach - 0.6, reach + 0.6)
    axes.xaxis.set_major_locator(MaxNLocator(5, integer=True))
    axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))
