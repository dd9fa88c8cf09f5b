"""What `run`, `demo` and `rehearse` share: screen, judging, report, summary, exit code."""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path

from rich.console import Console

from harness.bench.opening import open_workbench
from harness.bench.stopping import StopRequested
from harness.cli.consoles import console_for_people
from harness.cli.exit_codes import exit_code_of
from harness.cli.live import run_screen
from harness.cli.machine import judged_as_json, print_json
from harness.cli.next_steps import call, next_steps
from harness.cli.options import database_of
from harness.descriptions.setup import Setup
from harness.errors import TapproofError
from harness.records.run_header import RunKind, short_id
from harness.records.store import Store
from harness.report.document import from_record
from harness.report.html import write_report
from harness.report.remarks import remarks_of
from harness.report.terminal import summary
from harness.run.conduct import RunIdentity, conduct, points_planned
from harness.run.executor import RunTiming
from harness.run.rejudge import JudgedRun, judge_kept_run
from harness.timebase import Clock


@dataclass(frozen=True)
class Presentation:
    """How a run is shown: in lines for people, or as one JSON object with `extra` in it."""

    results: Path
    as_json: bool
    extra: Mapping[str, object] = field(default_factory=dict)

    def console(self) -> Console:
        """Where people read; with `--json` that is standard error, which keeps stdout clean."""
        return console_for_people(stderr=self.as_json)


def measure_and_present(
    setup: Setup,
    clock: Clock,
    identity: RunIdentity,
    presentation: Presentation,
    remark: str = "",
) -> None:
    """Measure, judge, keep, report; leaves with the verdict's exit code.

    Progress goes to standard error, so that the verdict is the first line of standard output.

    Raises
    ------
    TapproofError, StopRequested : the run was aborted; its record is kept and named.
    """
    identity = replace(identity, utc_offset_seconds=local_utc_offset_seconds())
    with ExitStack() as stack:
        store = Store.open(database_of(presentation.results))
        stack.callback(store.close)
        run_id, timing = _measure(setup, clock, identity, store, presentation.results)
        judged = judge_kept_run(store, run_id)
        store.add_judgement(run_id, judged.judgement, judged.setup.plan, clock.wall())
        if not presentation.as_json:  # before the report, whose figures take seconds to draw
            _print_outcome(presentation.console(), judged, remark)
            presentation.console().print(timing_line(timing, 1 / clock.real_seconds(1.0)))
        page = write_page(store, judged, presentation.results)
    if presentation.as_json:
        print_json(judged_as_json(judged, {**_extra(timing, page), **presentation.extra}))
    else:
        print_places(presentation.console(), judged, presentation.results, page)
    sys.exit(int(exit_code_of(judged.judgement.verdict())))


def _measure(
    setup: Setup, clock: Clock, identity: RunIdentity, store: Store, results: Path
) -> tuple[str, RunTiming]:
    """Conduct the run under the screen; an abort is told with the run's name."""
    began: list[str] = []
    console = console_for_people(stderr=True)
    try:
        with run_screen(
            console, setup.board.cells, points_planned(setup), clock.real_seconds
        ) as report:
            return conduct(setup, store, clock, identity, report, open_workbench, began.append)
    except (TapproofError, StopRequested) as error:
        if began:
            run = short_id(began[0])
            error.add_note(f"run {run} is kept with every point acquired until then; see it with")
            error.add_note(f"    {call(results, 'show', run)}")
        raise


def write_page(store: Store, judged: JudgedRun, results: Path) -> Path:
    """Write the HTML report of a judged run; returns its path.

    Raises
    ------
    RecordError : the folder cannot be written.
    """
    events = store.events(judged.header.id)
    document = from_record(
        judged.header, events, judged.setup, judged.judgement, judged.observations
    )
    page = results / judged.header.short_id / "report.html"
    write_report(document, page)
    return page


def local_utc_offset_seconds() -> int:
    """Local time less UTC at this moment."""
    return time.localtime().tm_gmtoff


def _print_outcome(console: Console, judged: JudgedRun, remark: str) -> None:
    console.print(
        summary(
            judged.judgement,
            is_simulated=judged.header.kind is RunKind.REHEARSED,
            end_reason=judged.header.end_reason,
            remarks=remarks_of(judged.events),
        )
    )
    if remark:
        console.print(remark, markup=False)


def timing_line(timing: RunTiming, speed: float) -> str:
    """Floor, time and ratio; on a fast clock the computer's own time counts `speed`-fold."""
    said = (
        f"physical floor {timing.floor_seconds:.1f} s, taken {timing.taken_seconds:.1f} s, "
        f"ratio {timing.ratio:.2f}"
    )
    if round(speed, 6) == 1:
        return said
    return (
        f"{said} (clock {speed:g} times real time: the computer's own time counts {speed:g}-fold)"
    )


def print_places(console: Console, judged: JudgedRun, results: Path, page: Path) -> None:
    """Print where run and report are and what to call next; commands are never folded."""
    for line in (f"run {judged.header.short_id}, report {page}", *next_steps(judged, results)):
        console.print(line, markup=False, soft_wrap=True)


def _extra(timing: RunTiming, page: Path) -> dict[str, object]:
    return {
        "floor_seconds": timing.floor_seconds,
        "taken_seconds": timing.taken_seconds,
        "ratio": timing.ratio,
        "report": str(page),
    }
