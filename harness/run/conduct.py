"""A whole run from setup to record: open the bench, run the plan, prove off, keep how it ended.

Faces call `conduct`; it raises what went wrong, after the outputs are off and the record says
so. Whatever the way out, the order is: outputs off and measured off, then the end of the run
is written.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass

from harness.bench.stopping import stop_on_signals
from harness.bench.workbench import Workbench
from harness.descriptions.setup import Setup
from harness.errors import (
    OutputNotOffError,
    RecordError,
    RecordLostError,
    output_not_off_within,
)
from harness.records.run_header import InstrumentRecord, Outcome, RunKind
from harness.records.store import Store
from harness.records.writing import RunWriter
from harness.run.executor import RunTiming, plan_checks, run_plan
from harness.run.progress import CheckNotRun, Noted, ProgressEvent, ReportProgress
from harness.timebase import Clock

ReportEvent = Callable[[str, str, Mapping[str, object]], None]
OpenBench = Callable[[Setup, Clock, ReportEvent], AbstractContextManager[Workbench]]


@dataclass(frozen=True)
class RunIdentity:
    """Who measures what: as the record keeps it."""

    serial_number: str
    operator: str = ""
    station: str = ""
    kind: RunKind = RunKind.MEASURED
    utc_offset_seconds: int = 0
    seed: int | None = None
    notes: str = ""


def conduct(
    setup: Setup,
    store: Store,
    clock: Clock,
    identity: RunIdentity,
    report: ReportProgress,
    open_bench: OpenBench,
    announce: Callable[[str], None] = lambda run_id: None,
) -> tuple[str, RunTiming]:
    """Measure one board by `setup.plan` and keep everything; returns run id and timing.

    Parameters
    ----------
    open_bench : opens the bench and switches it off on leaving, which may be done twice
        (`harness.bench.opening.open_workbench`).
    announce : told the run's id as soon as it exists, so that a failed run can be named.

    Raises
    ------
    InstrumentError, BoardError, SafetyError, RecordLostError, StopRequested : after outputs
        are off; the record then ends with "aborted" and the reason.
    RecordError : the run could not even begin.
    """
    with stop_on_signals():
        writer = store.begin_run(
            setup,
            clock=clock,
            kind=identity.kind,
            serial_number=identity.serial_number,
            operator=identity.operator,
            station=identity.station,
            utc_offset_seconds=identity.utc_offset_seconds,
            seed=identity.seed,
            notes=identity.notes,
        )
        announce(writer.run_id)
        try:
            return writer.run_id, _conduct(setup, writer, clock, report, open_bench)
        except RecordError as error:
            raise _lost(error) from error


def _conduct(
    setup: Setup, writer: RunWriter, clock: Clock, report: ReportProgress, open_bench: OpenBench
) -> RunTiming:
    """The run from the open bench to its kept end."""
    try:
        timing = _measure(setup, writer, clock, report, open_bench)
    except BaseException as error:
        _keep_abort(writer, output_not_off_within(error) or error)
        raise
    writer.event(
        "timing",
        f"{timing.taken_seconds:.2f} s taken, physical floor {timing.floor_seconds:.2f} s",
        {"taken_seconds": timing.taken_seconds, "floor_seconds": timing.floor_seconds},
    )
    writer.finish(Outcome.FINISHED)
    return timing


def _measure(
    setup: Setup, writer: RunWriter, clock: Clock, report: ReportProgress, open_bench: OpenBench
) -> RunTiming:
    """Run the plan on the bench, which is switched off on return.

    After an error the bench is left a second time. Python hands a signal over where a function
    is entered, so that a stop may come in place of the bench's own way out; it comes only once.
    """
    way = open_bench(setup, clock, _event_reporter(writer, report))
    try:
        with way as bench:
            _keep_instruments(writer, setup, bench.identities())
            timing = run_plan(setup, bench, writer, _noting(writer, report))
            link = bench.link_statistics()
            writer.event("link statistics", str(link), dataclasses.asdict(link))
            return timing
    except BaseException as error:
        way.__exit__(type(error), error, error.__traceback__)
        raise


def _lost(error: RecordError) -> RecordLostError:
    """The same words as the end of a run that had begun."""
    lost = RecordLostError(str(error))
    for note in getattr(error, "__notes__", ()):
        lost.add_note(note)
    return lost


def _event_reporter(writer: RunWriter, report: ReportProgress) -> ReportEvent:
    """Bench events go into the record and to the face."""

    def keep(kind: str, text: str, data: Mapping[str, object]) -> None:
        try:
            writer.event(kind, text, data)
        finally:  # a disk that is full keeps nobody from reading it
            report(Noted(kind, text))

    return keep


def _noting(writer: RunWriter, report: ReportProgress) -> ReportProgress:
    """Progress goes to the face; what was not run also into the record."""

    def pass_on(event: ProgressEvent) -> None:
        if isinstance(event, CheckNotRun):
            writer.event("not run", event.reason, {"check_index": event.check_index})
        report(event)

    return pass_on


def _keep_instruments(writer: RunWriter, setup: Setup, identities: Mapping[str, str]) -> None:
    for name, entry in setup.bench.instruments.items():
        writer.instrument(InstrumentRecord.of_entry(name, entry, identities.get(name, "")))


def _keep_abort(writer: RunWriter, error: BaseException) -> None:
    """Write why the run ended; if even that fails, say so on the error itself."""
    reason, first = str(error) or repr(error), error.__context__
    is_cause = first is None or first is error.__cause__
    if isinstance(error, OutputNotOffError) and not is_cause:
        before = f"what had ended the run before that: {str(first) or repr(first)}"
        error.add_note(before)
        reason = f"{reason}; {before}"
    try:
        writer.finish(Outcome.ABORTED, reason)
    except RecordError as second:
        error.add_note(f"the end of the run could not be recorded either: {second}")


def points_planned(setup: Setup) -> int:
    """How many points the plan will visit on this bench."""
    return sum(len(check.points) for check in plan_checks(setup))
