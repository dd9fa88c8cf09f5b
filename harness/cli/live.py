"""The screen while a run goes on: progress with time left, and each cell's latest difference.

On a terminal it redraws in place; elsewhere it prints one line a check. It only shows numbers
that the record already holds, as first impressions; verdicts come from judging.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from statistics import fmean

from rich.console import Console, ConsoleOptions, Group, RenderResult
from rich.live import Live
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text

from harness.observation import LabelValue, PointRecord, Quantity, Source
from harness.run.progress import (
    CheckNotRun,
    CheckStarted,
    Noted,
    PointDone,
    ProgressEvent,
    ReportProgress,
)

# Columns that the row's heading needs, and one cell with the space before it.
HEADING_COLUMNS = 6
CELL_COLUMNS = 9

# How a point's labels are said, in this order; labels that are not here stay in the record.
_SAID: Mapping[str, Callable[[LabelValue], str]] = {
    "moved_cell": lambda cell: f"cell {cell} moved" if cell else "every cell at its own voltage",
    "thermistor": lambda number: f"thermistor {number}",
    "fault": lambda fault: f"{fault} circuit",
    "nominal_volts": lambda volts: f"{volts:.3f} V",
    "nominal_celsius": lambda celsius: f"{celsius:.1f} °C",
    "direction": str,
}


def latest_errors(point: PointRecord) -> dict[int, float]:
    """Board mean less reference mean of each cell measured at `point`, volts by cell."""
    means: dict[Source, dict[int, float]] = {}
    for source in (Source.BOARD, Source.REFERENCE):
        by_cell: dict[int, list[float]] = {}
        for o in point.observations:
            if o.source is source and o.quantity is Quantity.CELL_VOLTAGE:
                by_cell.setdefault(o.channel, []).append(o.value)
        means[source] = {cell: fmean(values) for cell, values in by_cell.items()}
    board, reference = means[Source.BOARD], means[Source.REFERENCE]
    return {cell: board[cell] - reference[cell] for cell in sorted(board.keys() & reference.keys())}


def describe_point(point: PointRecord) -> str:
    """The point in a few words: "3.350 V, up"."""
    return ", ".join(say(point.label[name]) for name, say in _SAID.items() if name in point.label)


def time_left(seconds: float) -> str:
    """ "1 min 05 s left" or "12 s left"."""
    whole = math.ceil(seconds)
    return f"{whole // 60} min {whole % 60:02d} s left" if whole >= 60 else f"{whole} s left"


def points_text(points: int) -> str:
    """ "1 point" or "13 points"."""
    return f"{points} point" if points == 1 else f"{points} points"


def millivolts(volts: float | None) -> str:
    """A difference in at most eight characters; a dot where there is none yet."""
    if volts is None:
        return "."
    if math.isnan(volts):
        return "none"
    shown = volts * 1e3
    return f"{shown:+.2f}" if abs(shown) < 1000 else f"{shown:+.0f}"


def cells_a_row(cells: int, columns: int) -> int:
    """How many cells stand in a row so that the rows are filled evenly within `columns`."""
    fit = max(1, (columns - HEADING_COLUMNS) // CELL_COLUMNS)
    return math.ceil(cells / math.ceil(cells / fit))


class RunScreen:
    """State of the screen; `show` is given to the run."""

    def __init__(self, cells: int, points: int, real_seconds: Callable[[float], float]) -> None:
        self._real_seconds = real_seconds
        self._errors: dict[int, float] = {}
        self._cells = cells
        self._where = Text("opening the bench")
        self._progress = Progress(
            BarColumn(), MofNCompleteColumn(), TextColumn("points, {task.fields[left]}")
        )
        self._task = self._progress.add_task("", total=points, left="time left not known yet")

    def show(self, event: ProgressEvent) -> None:
        """Take one event in."""
        if isinstance(event, CheckStarted):
            self._where = Text(f"{event.check}: {points_text(event.points)}")
        elif isinstance(event, PointDone):
            self._where = Text(f"{event.check}: {describe_point(event.point)}")
            self._errors.update(latest_errors(event.point))
            left = time_left(self._real_seconds(event.seconds_left))
            self._progress.update(self._task, advance=1, left=left)
        elif isinstance(event, Noted):
            self._where = Text(event.text)

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        title = Text("latest difference board - reference of each cell, mV (no verdict yet)")
        yield Group(self._progress, self._where, title, self._table(options.max_width))

    def _table(self, columns: int) -> Table:
        """Cell numbers over differences, as many cells in a row as fit."""
        table = Table.grid(padding=(0, 1, 0, 0))
        row_length = cells_a_row(self._cells, columns)
        table.add_column()
        for _ in range(row_length):
            table.add_column(justify="right", min_width=CELL_COLUMNS - 1, no_wrap=True)
        for first in range(1, self._cells + 1, row_length):
            row = range(first, min(first + row_length, self._cells + 1))
            table.add_row("cell", *(str(cell) for cell in row), style="dim")
            table.add_row("mV", *(millivolts(self._errors.get(cell)) for cell in row))
        return table


@contextmanager
def run_screen(
    console: Console,
    cells: int,
    points: int,
    real_seconds: Callable[[float], float] = float,
) -> Iterator[ReportProgress]:
    """Show a run's events on `console` while inside; yields what the run reports to.

    Parameters
    ----------
    cells : of the board; points : that the run will visit.
    real_seconds : turns seconds of the run's clock into those of the person who waits.
    """
    if not console.is_terminal or console.is_dumb_terminal:
        yield lambda event: _print_line(console, event)
        return
    screen = RunScreen(cells, points, real_seconds)
    with Live(screen, console=console, refresh_per_second=8, transient=True):
        yield screen.show


def _print_line(console: Console, event: ProgressEvent) -> None:
    if isinstance(event, CheckStarted):
        console.print(f"{event.check}: {points_text(event.points)}", markup=False)
    elif isinstance(event, CheckNotRun):
        console.print(f"{event.check}: not run: {event.reason}", markup=False)
    elif isinstance(event, Noted):
        console.print(event.text, markup=False)
