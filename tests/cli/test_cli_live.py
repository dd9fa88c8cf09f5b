"""The live screen: differences of the cells, time left, and plain lines without a terminal."""

from __future__ import annotations

import io
import math

import pytest
from rich.console import Console

from harness.cli.live import (
    RunScreen,
    cells_a_row,
    describe_point,
    latest_errors,
    millivolts,
    points_text,
    run_screen,
    time_left,
)
from harness.observation import LabelValue, Observation, PointRecord, Quantity, Source
from harness.run.progress import CheckNotRun, CheckStarted, Noted, PointDone, ProgressEvent


def seen(source: Source, cell: int, value: float, quantity: Quantity = Quantity.CELL_VOLTAGE):
    """One observation."""
    return Observation(source, quantity, cell, 0, value, 0.0, 0.0)


def point(*observations: Observation, **label: LabelValue) -> PointRecord:
    """A point with these observations and labels."""
    return PointRecord(0, 0, label, observations)


def done(a_point: PointRecord, left: float = 12.0) -> PointDone:
    """The event that `a_point` of cell accuracy is done."""
    return PointDone("cell-accuracy", 0, a_point, 3.0, left)


FIRST_TWO = point(
    seen(Source.BOARD, 1, 3.301),
    seen(Source.BOARD, 1, 3.303),
    seen(Source.REFERENCE, 1, 3.300),
    seen(Source.BOARD, 2, 3.298),
    seen(Source.REFERENCE, 2, 3.300),
    seen(Source.BOARD, 3, 3.4),
    seen(Source.BOARD, 1, 25.0, Quantity.TEMPERATURE),
    nominal_volts=3.3,
    direction="up",
    power_line_cycles=1.0,
)


def drawn(screen: RunScreen, columns: int = 80) -> list[str]:
    """The lines of the screen at this width."""
    console = Console(file=io.StringIO(), width=columns, force_terminal=False)
    with console.capture() as captured:
        console.print(screen)
    return [line.rstrip() for line in captured.get().splitlines()]


def test_a_difference_is_board_mean_less_reference_mean() -> None:
    """Cells without a reference are left out, and so is what is no cell voltage."""
    assert {1: pytest.approx(0.002), 2: pytest.approx(-0.002)} == latest_errors(FIRST_TWO)


@pytest.mark.parametrize(
    ("label", "words"),
    [
        ({"nominal_volts": 3.35, "direction": "down", "power_line_cycles": 1.0}, "3.350 V, down"),
        ({"moved_cell": 0}, "every cell at its own voltage"),
        ({"moved_cell": 5, "nominal_volts": 3.21}, "cell 5 moved, 3.210 V"),
        (
            {"thermistor": 2, "nominal_celsius": -10.0, "nominal_ohms": 58951.5},
            "thermistor 2, -10.0 °C",
        ),
        ({"thermistor": 1, "fault": "open"}, "thermistor 1, open circuit"),
        ({}, ""),
    ],
)
def test_a_point_in_words(label: dict[str, LabelValue], words: str) -> None:
    assert words == describe_point(point(**label))


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.2, "1 s left"), (12.0, "12 s left"), (59.5, "1 min 00 s left"), (65, "1 min 05 s left")],
)
def test_time_left(seconds: float, words: str) -> None:
    """Rounded up: it never says 0 while something is left."""
    assert words == time_left(seconds)


def test_one_point_is_no_plural() -> None:
    assert ("1 point", "2 points") == (points_text(1), points_text(2))


@pytest.mark.parametrize(
    ("volts", "shown"),
    [(0.00034, "+0.34"), (-0.0125, "-12.50"), (-3.3, "-3300"), (None, "."), (math.nan, "none")],
)
def test_millivolts(volts: float | None, shown: str) -> None:
    assert shown == millivolts(volts)


@pytest.mark.parametrize("volts", [0.99999, -0.99999, -60.0, 60.0, math.nan, None])
def test_no_difference_is_wider_than_its_column(volts: float | None) -> None:
    assert len(millivolts(volts)) <= 8


@pytest.mark.parametrize(
    ("cells", "columns", "row"),
    [(12, 80, 6), (12, 120, 12), (16, 80, 8), (24, 80, 8), (1, 80, 1), (12, 10, 1)],
)
def test_cells_fill_their_rows_evenly(cells: int, columns: int, row: int) -> None:
    assert row == cells_a_row(cells, columns)


@pytest.mark.parametrize("columns", [40, 80, 120])
def test_the_screen_keeps_to_its_width(columns: int) -> None:
    screen = RunScreen(12, 46, float)
    screen.show(done(FIRST_TWO))
    lines = drawn(screen, columns)
    assert max(map(len, lines)) <= columns
    assert not any("…" in line for line in lines)


def test_the_screen_shows_each_cells_latest() -> None:
    screen = RunScreen(12, 46, float)
    screen.show(done(FIRST_TWO))
    screen.show(done(point(seen(Source.BOARD, 2, 3.4), seen(Source.REFERENCE, 2, 3.3))))
    assert ["mV", "+2.00", "+100.00", ".", ".", ".", "."] in [
        line.split() for line in drawn(screen)
    ]


def test_the_screen_counts_points_and_time() -> None:
    """The run's clock may be fast: time left is told as the person waits it."""
    screen = RunScreen(12, 46, real_seconds=lambda seconds: seconds / 4)
    screen.show(done(FIRST_TWO, left=48.0))
    assert "1/46 points, 12 s left" in drawn(screen)[0]


@pytest.mark.parametrize(
    ("event", "line"),
    [
        (CheckStarted("noise", 1, 1), "noise: 1 point"),
        (done(FIRST_TWO), "cell-accuracy: 3.300 V, up"),
        (Noted("outputs on", "then outputs on"), "then outputs on"),
    ],
)
def test_the_screen_says_what_goes_on(event: ProgressEvent, line: str) -> None:
    screen = RunScreen(12, 46, float)
    screen.show(event)
    assert line in drawn(screen)


@pytest.mark.parametrize(
    "console",
    [
        Console(file=io.StringIO(), force_terminal=False, width=200),
        Console(file=io.StringIO(), force_terminal=True, width=200, _environ={"TERM": "dumb"}),
    ],
    ids=["pipe", "dumb terminal"],
)
def test_without_a_terminal_there_is_a_line_a_check(console: Console) -> None:
    """And none a point, which would be a long list."""
    with run_screen(console, 12, 46) as report:
        report(CheckNotRun("mapping", 0, "this bench lacks individual cell set-points"))
        report(CheckStarted("cell-accuracy", 1, 13))
        report(Noted("outputs on", "0 V, then outputs on"))
        report(done(FIRST_TWO))
    assert isinstance(console.file, io.StringIO)
    assert (
        "mapping: not run: this bench lacks individual cell set-points\n"
        "cell-accuracy: 13 points\n"
        "0 V, then outputs on\n"
    ) == console.file.getvalue()


def test_on_a_terminal_the_screen_is_wiped() -> None:
    """Transient: what stays is what is printed afterwards."""
    file = io.StringIO()
    console = Console(
        file=file, force_terminal=True, width=80, height=24, _environ={"TERM": "xterm"}
    )
    with run_screen(console, 12, 46) as report:
        report(done(FIRST_TWO))
    assert "+2.00" in file.getvalue()
    assert file.getvalue().endswith("\x1b[2K")
