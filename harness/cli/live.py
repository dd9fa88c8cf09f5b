"""The screen while a run goes on: progress with time left, and each channel's latest error.

On a terminal it redraws in place; elsewhere it prints one line a check. It only shows numbers
that the record already holds, as first impressions; verdicts come from judging.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from statistics import fmean

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table
from rich.text import Text

from harness.observation import PointRecord, Quantity, Source
from harness.run.progress import (
    CheckNotRun,
    CheckStarted,
    Noted,
    PointDone,
    ProgressEvent,
    ReportProgress,
)

# Cells a row of the live table: six of them fit 80 columns.
CELLS_A_ROW = 6


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
    """The point's label in a few words."""
    return ", ".join(
        f"{name.replace('_', ' ')} {value:g}"
        if isinstance(value, float)
        else f"{name.replace('_', ' ')} {value}"
        for name, value in point.label.items()
    )


def time_left(seconds: float) -> str:
    """ "1 min 05 s left" or "12 s left"."""
    whole = math.ceil(seconds)
    return f"{whole // 60} min {whole % 60:02d} s left" if whole >= 60 else f"{whole} s left"


class RunScreen:
    """State of the screen; `report` is given to the run."""

    def __init__(self, cells: int, points: int) -> None:
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
            self._where = Text(f"{event.check}: {event.points} points")
        elif isinstance(event, PointDone):
            self._where = Text(f"{event.check}: {describe_point(event.point)}")
            self._errors.update(latest_errors(event.point))
            self._progress.update(self._task, advance=1, left=time_left(event.seconds_left))
        elif isinstance(event, Noted):
            self._where = Text(event.text)

    def __rich__(self) -> RenderableType:
        return Group(self._progress, self._where, self._table())

    def _table(self) -> Table:
        """Latest board-less-reference difference of every cell, millivolts."""
        table = Table(title="latest difference board - reference, mV", title_justify="left")
        columns = min(CELLS_A_ROW, self._cells)
        for _ in range(columns):
            table.add_column("cell", justify="right")
            table.add_column("mV", justify="right")
        for first in range(1, self._cells + 1, columns):
            row: list[str] = []
            for cell in range(first, min(first + columns, self._cells + 1)):
                row += [str(cell), self._difference(cell)]
            table.add_row(*row)
        return table

    def _difference(self, cell: int) -> str:
        error = self._errors.get(cell)
        return "" if error is None else f"{error * 1e3:+.2f}"


@contextmanager
def run_screen(console: Console, cells: int, points: int) -> Iterator[ReportProgress]:
    """Show a run's events on `console` while inside; yields what the run reports to."""
    if not console.is_terminal:
        yield lambda event: _print_line(console, event)
        return
    screen = RunScreen(cells, points)
    with Live(screen, console=console, refresh_per_second=8, transient=True):
        yield screen.show


def _print_line(console: Console, event: ProgressEvent) -> None:
    if isinstance(event, CheckStarted):
        console.print(f"{event.check}: {event.points} points")
    elif isinstance(event, CheckNotRun):
        console.print(f"{event.check}: not run: {event.reason}")
    elif isinstance(event, Noted):
        console.print(event.text)
