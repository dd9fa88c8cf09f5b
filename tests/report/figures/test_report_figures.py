"""Each figure: panels, labels, marks that do not hang on colour, repeatable bytes."""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure
from report_builder import (
    cell_accuracy,
    judgement,
    observations,
    stack_total,
    thermistor_accuracy,
)

from harness.report.budget_rows import budget_rows
from harness.report.code_histogram import code_counts
from harness.report.figures.budget_contributions import budget_contributions
from harness.report.figures.error_against_voltage import error_against_voltage
from harness.report.figures.error_in_tap_basis import error_in_tap_basis
from harness.report.figures.error_map import entry_text, error_map
from harness.report.figures.noise_histogram import noise_histogram
from harness.report.figures.stack_total import stack_total as stack_figure
from harness.report.figures.svg import svg_text
from harness.report.figures.temperature_error import temperature_error
from harness.report.ranking import worst_with_budget
from harness.report.tap_errors import tap_errors


def words(figure: Figure) -> list[str]:
    """All text of a figure."""
    found = [t.get_text() for t in figure.findobj(mpl.text.Text)]
    return [text for text in found if text]


@pytest.fixture(scope="module")
def sweep() -> Figure:
    return error_against_voltage(cell_accuracy())


def test_every_cell_has_a_panel_with_its_verdict(sweep: Figure) -> None:
    titles = [axes.get_title(loc="left") for axes in sweep.axes]
    assert titles == [f"{k}: {'fail' if k == 5 else 'pass'}" for k in range(1, 13)]


def test_all_panels_have_one_scale(sweep: Figure) -> None:
    assert len({axes.get_ylim() for axes in sweep.axes}) == 1
    assert len({axes.get_xlim() for axes in sweep.axes}) == 1


def test_axes_carry_units(sweep: Figure) -> None:
    assert sweep.get_supxlabel() == "reference voltage (V)"
    assert sweep.get_supylabel() == "error, board \u2212 reference (mV)"


def test_directions_differ_by_marker_shape(sweep: Figure) -> None:
    markers = {line.get_marker() for line in sweep.axes[0].lines}
    assert {"^", "v"} <= markers


def test_limits_and_acceptance_limits_are_drawn(sweep: Figure) -> None:
    heights = [np.asarray(line.get_ydata(), dtype=float) for line in sweep.axes[0].lines]
    assert {5.0, -5.0} <= {round(float(y[0]), 6) for y in heights if len(y)}
    assert "acceptance \u00b1(T \u2212 U)" in words(sweep)


def test_without_guard_band_there_are_no_acceptance_limits() -> None:
    figure = error_against_voltage(cell_accuracy(), has_guard_band=False)
    assert "acceptance \u00b1(T \u2212 U)" not in words(figure)


def test_tap_basis_has_a_panel_a_voltage_and_starts_at_tap_zero() -> None:
    figure = error_in_tap_basis(tap_errors(cell_accuracy()))
    assert len(figure.axes) == 7
    line = figure.axes[0].lines[0]
    assert (line.get_xdata()[0], line.get_ydata()[0]) == (0, 0.0)  # type: ignore[index]


def test_map_prints_every_error_and_marks_fails_by_letter() -> None:
    said = words(error_map(cell_accuracy()))
    assert len([w for w in said if w.endswith(" F")]) == 14
    assert "13.1 F" in said


def test_map_colours_are_symmetric_about_zero() -> None:
    figure = error_map(cell_accuracy())
    low, high = figure.axes[1].get_xlim()
    assert low == pytest.approx(-high)


@pytest.mark.parametrize(
    ("text", "error"),
    [
        ("12.1", 12.13),
        ("\u22120.3", -0.31),
        ("0.0", -0.04),
        ("\u22123300", -3300.0),
        ("\u2013", float("nan")),
    ],
)
def test_map_entries(text: str, error: float) -> None:
    assert text == entry_text(error)


def test_temperatures_have_a_panel_a_thermistor() -> None:
    figure = temperature_error(thermistor_accuracy(), names_of_thermistors={1: "left bank"})
    titles = [axes.get_title(loc="left") for axes in figure.axes]
    assert titles == ["1 left bank: pass", "2: fail"]
    assert figure.get_supxlabel() == "reference temperature (°C)"


def test_noise_counts_codes() -> None:
    figure = noise_histogram(code_counts(observations(), 3, 0.001), 0.001)
    assert len(figure.axes) == 12
    heights = [patch.get_height() for patch in figure.axes[0].patches]  # type: ignore[attr-defined]
    assert sum(heights) == 64


def test_budget_bars_fall_and_common_ones_are_hatched() -> None:
    placed = worst_with_budget(judgement())
    assert placed is not None
    bars = budget_contributions(budget_rows(placed), "V").axes[0].patches
    widths = [bar.get_width() for bar in bars]  # type: ignore[attr-defined]
    assert sorted(widths, reverse=True) == widths
    assert [bool(bar.get_hatch()) for bar in bars] == [False, False, True] + [False] * 4


def test_stack_has_one_panel() -> None:
    assert len(stack_figure(stack_total()).axes) == 1


def test_the_same_findings_give_the_same_svg() -> None:
    first, second = (svg_text(stack_figure(stack_total()), "s", "stack") for _ in range(2))
    assert first == second


def test_svg_stands_inside_html() -> None:
    text = svg_text(stack_figure(stack_total()), "s", 'a "stack" <x>')
    assert text.startswith("<svg")
    assert text.endswith("</svg>")
    assert 'aria-label="a &quot;stack&quot; &lt;x&gt;"' in text
    assert "<metadata" not in text


def test_a_user_s_own_matplotlib_settings_change_nothing() -> None:
    plain = svg_text(stack_figure(stack_total()), "s", "stack")
    with mpl.rc_context({"font.size": 30, "axes.grid": True, "svg.fonttype": "path"}):
        assert plain == svg_text(stack_figure(stack_total()), "s", "stack")


def test_settings_are_left_as_they_were() -> None:
    with mpl.rc_context({"font.size": 30}):
        svg_text(stack_figure(stack_total()), "s", "stack")
        assert mpl.rcParams["font.size"] == 30


def test_pyplot_is_not_needed() -> None:
    import subprocess
    import sys

    code = "import sys, harness.report.html; sys.exit('matplotlib.pyplot' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_text_stays_text_at_a_readable_size() -> None:
    """No figure text below 8 points: 8 pixels or more on a phone."""
    figures = [
        error_against_voltage(cell_accuracy()),
        error_map(cell_accuracy()),
        temperature_error(thermistor_accuracy()),
        noise_histogram(code_counts(observations(), 3, 0.001), 0.001),
    ]
    sizes = [t.get_fontsize() for f in figures for t in f.findobj(mpl.text.Text) if t.get_text()]
    assert min(sizes) >= 8.0
