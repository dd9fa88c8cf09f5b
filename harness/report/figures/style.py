"""How figures look: colours told apart by colour-blind eyes and in grey, sizes for a phone.

Meaning never hangs on colour alone: series differ by marker shape and filling, lines by
dashes, bars by hatching. The colours are the eight of Okabe and Ito (2008, "Color universal
design"), from memory.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, ParamSpec

import matplotlib as mpl
from matplotlib.figure import Figure

INK = "#000000"
GREY = "#6b6b6b"
PALE = "#d9d9d9"
BLUE = "#0072b2"
VERMILLION = "#d55e00"
GREEN = "#009e73"
PURPLE = "#cc79a7"
ORANGE = "#e69f00"

# A phone shows about 360 CSS pixels beside its margins, which is what 4.6 inches of 72 points
# come to at a scale near 1: the point sizes below are then the sizes in pixels.
WIDTH_INCHES = 4.6

_STYLE: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 8.5,
    "axes.titlesize": 8.5,
    "axes.labelsize": 9.0,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "legend.fontsize": 8.5,
    "legend.frameon": False,
    "legend.handlelength": 2.2,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.7,
    "axes.titlepad": 3.0,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "lines.linewidth": 1.0,
    "lines.markersize": 4.5,
    "hatch.linewidth": 0.7,
    "text.parse_math": False,
    "svg.fonttype": "none",
}

Arguments = ParamSpec("Arguments")


def styled(draw: Callable[Arguments, Figure]) -> Callable[Arguments, Figure]:
    """Let `draw` work under the style alone, whatever settings the user's machine has."""

    @functools.wraps(draw)
    def drawn(*args: Arguments.args, **kwargs: Arguments.kwargs) -> Figure:
        with mpl.rc_context():
            mpl.rcdefaults()
            mpl.rcParams.update(_STYLE)
            return draw(*args, **kwargs)

    return drawn


def use_style(hash_salt: str) -> None:
    """Set the style inside the caller's own `rc_context`, with a salt for repeatable ids."""
    mpl.rcdefaults()
    mpl.rcParams.update({**_STYLE, "svg.hashsalt": hash_salt})
