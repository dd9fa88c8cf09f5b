"""Kept runs as a table for people, and as plain JSON values; pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from harness.records.run_header import RunState, RunSummary, local_time_text

# Longer ones fold; the rest of a row is never folded.
FOLDED = ("serial", "board", "plan")


def runs_as_json(kept: Iterable[RunSummary]) -> dict[str, Any]:
    """All runs, newest first as the records give them."""
    return {"runs": [_run_as_json(run) for run in kept]}


def _run_as_json(run: RunSummary) -> dict[str, Any]:
    return {
        "run": run.id,
        "started": local_time_text(run.started_wall, run.utc_offset_seconds),
        "kind": run.kind.value,
        "serial_number": run.serial_number,
        "board": run.board_name,
        "plan": run.plan_name,
        "state": run.state.value,
        "verdict": run.verdict.value if run.verdict else None,
        "points": run.points,
        "last_point": run.last_point,
    }


def runs_for_people(kept: Sequence[RunSummary]) -> RenderableType:
    """One row a run, then where each run stopped that did not finish."""
    table = Table(box=None, pad_edge=False, padding=(0, 1, 0, 0))
    for heading in ("run", "started", "kind", "serial", "board", "plan", "ended", "verdict"):
        table.add_column(heading, overflow="fold", no_wrap=heading not in FOLDED)
    for run in kept:
        table.add_row(*map(Text, _row(run)))
    stopped = [Text(_where_stopped(run)) for run in kept if run.state is not RunState.FINISHED]
    return Group(table, *stopped)


def _row(run: RunSummary) -> tuple[str, ...]:
    # To the minute, without the offset: the bench's own time, as the log book has it.
    began = local_time_text(run.started_wall, run.utc_offset_seconds)[:16].replace("T", " ")
    verdict = run.verdict.value if run.verdict else "not judged"
    names = (run.serial_number, run.board_name, run.plan_name)
    return (run.short_id, began, run.kind.value, *names, run.state.value, verdict)


def _where_stopped(run: RunSummary) -> str:
    """ "3f2a91c4 aborted after noise point 1"; `show` tells the point in full."""
    point = run.last_point.partition(" (")[0] or "no point"
    return f"{run.short_id} {run.state.value} after {point}"
