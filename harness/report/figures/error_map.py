"""Error of every channel at every point as a map of numbers with colour behind them.

The number is the message; colour and verdict letter only help the eye. Rows are channels,
each with one line a direction, so that boards with many channels grow in height only.
"""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from harness.finding import Findings
from harness.metrology.decision import Verdict
from harness.report.figures.panels import channels_of, largest, series_names, series_of
from harness.report.figures.style import INK, PALE, WIDTH_INCHES, styled
from harness.report.quantities import error_unit, point_text

# Letters that stand after the number; a pass has none.
VERDICT_LETTERS = {
    Verdict.PASS: "",
    Verdict.CONDITIONAL_PASS: "c",
    Verdict.NOT_RUN: "n",
    Verdict.CANNOT_DECIDE: "?",
    Verdict.CONDITIONAL_FAIL: "f",
    Verdict.FAIL: "F",
    Verdict.ABORTED: "a",
}
LETTERS_IN_WORDS = (
    "no letter pass, c conditional pass, f conditional fail, F fail, ? cannot decide, "
    "n not run; outlined: not a pass"
)

# Odd, so that zero is white; below 50, so that the colour bar stays vectors and not a picture.
_SHADES = 41

# Light at the ends too, so that black figures stay readable on it; blue and orange differ for
# every common kind of colour blindness.
_MAP = LinearSegmentedColormap.from_list("low-high", ["#5aa9d6", "#ffffff", "#f0944d"], N=_SHADES)
_POINTS_A_BLOCK = 8
_ROW_INCHES = 0.185
# Room for the label beside the rows.
_FEWEST_ROWS = 4


@styled
def error_map(findings: Findings) -> Figure:
    """Errors as numbers in mV (or degrees Celsius), colour symmetric about zero.

    Parameters
    ----------
    findings : of an accuracy check, at least one; NaN errors show as a dash.
    """
    channels, names = channels_of(findings), series_names(findings)
    nominal = sorted({float(v) for v in findings.nominal})
    blocks = [nominal[i : i + _POINTS_A_BLOCK] for i in range(0, len(nominal), _POINTS_A_BLOCK)]
    rows = len(channels) * len(names)
    height = len(blocks) * (max(rows, _FEWEST_ROWS) * _ROW_INCHES + 0.45) + 0.65
    figure = Figure(figsize=(WIDTH_INCHES, height), layout="constrained")
    panels = figure.subplots(len(blocks), 1, squeeze=False)[:, 0]
    unit = error_unit(findings.unit)
    scale = 2.0 * largest(findings.limit) * unit.factor or 1.0
    norm = Normalize(-scale, scale)
    for axes, block in zip(panels, blocks, strict=True):
        _draw_block(axes, findings, block, norm)
        axes.set_ylabel(findings.subject)
    panels[-1].set_xlabel(_stimulus(findings.unit))
    bar = figure.colorbar(
        ScalarMappable(norm, _MAP),
        ax=list(panels),
        location="top",
        extend="both",
        shrink=0.8,
        aspect=40,
        pad=0.01,
    )
    bar.set_label(f"error ({unit.symbol})")
    return figure


def _stimulus(unit: str) -> str:
    return "nominal temperature (\u00b0C)" if unit == "degC" else "nominal voltage (V)"


def _stimulus_text(nominal: float, unit: str) -> str:
    return f"{nominal:g}" if unit == "degC" else f"{nominal:.2f}"


def _draw_block(axes: Axes, findings: Findings, block: list[float], norm: Normalize) -> None:
    channels, names = channels_of(findings), series_names(findings)
    lines = len(names)
    for i, finding in enumerate(findings.rows()):
        if finding.nominal not in block:
            continue
        x = block.index(finding.nominal)
        y = channels.index(finding.channel) * lines + names.index(series_of(findings.point[i]))
        _draw_entry(
            axes, x, y, finding.error * error_unit(findings.unit).factor, finding.verdict, norm
        )
    axes.set_xlim(0, len(block))
    axes.set_ylim(len(channels) * lines, 0)
    axes.set_xticks(np.arange(len(block)) + 0.5, [_stimulus_text(v, findings.unit) for v in block])
    labels = [f"{channel} {point_text(name)}".strip() for channel in channels for name in names]
    axes.set_yticks(np.arange(len(labels)) + 0.5, labels)
    axes.tick_params(length=0)
    for spine in axes.spines.values():
        spine.set_visible(False)
    for y in range(0, len(channels) * lines + 1, lines):
        axes.axhline(y, color=INK, linewidth=0.5)


def _draw_entry(
    axes: Axes, x: int, y: int, error: float, verdict: Verdict, norm: Normalize
) -> None:
    is_known = not math.isnan(error)
    colour = _MAP(norm(error)) if is_known else PALE
    axes.add_patch(Rectangle((x, y), 1, 1, facecolor=colour, edgecolor="none"))
    if verdict is not Verdict.PASS:
        axes.add_patch(
            Rectangle(
                (x + 0.03, y + 0.08), 0.94, 0.84, fill=False, edgecolor=INK, linewidth=1.0, zorder=3
            )
        )
    number = entry_text(error)
    text = f"{number} {VERDICT_LETTERS[verdict]}".strip()
    axes.text(
        x + 0.5,
        y + 0.53,
        text,
        ha="center",
        va="center",
        fontsize=8,
        color=INK,
        fontweight="normal" if verdict is Verdict.PASS else "bold",
    )


def entry_text(error: float) -> str:
    """The number in an entry: a tenth below a hundred, whole above, a dash for NaN."""
    if math.isnan(error):
        return "\u2013"
    text = f"{error:.1f}" if abs(error) < 99.95 else f"{error:.0f}"
    return ("0.0" if text == "-0.0" else text).replace("-", "\u2212")
