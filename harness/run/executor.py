"""Runs a plan on an open bench: check by check, point by point, each point durable at once.

It decides nothing about the board. A check that the bench cannot do is reported, not skipped
in silence; a safety fault, a lost instrument or a silent board ends the run, and what was
acquired until then stays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from harness.bench.capabilities import capabilities
from harness.checks.check import Bench, PlannedPoint
from harness.checks.judgement import lacking
from harness.checks.registry import check_of_kind
from harness.descriptions.setup import Setup
from harness.observation import PointRecord
from harness.run.floor import floor_seconds, run_floor
from harness.run.progress import (
    CheckNotRun,
    CheckStarted,
    PointDone,
    ReportProgress,
)


class PointLog(Protocol):
    """Where whole points go; returns only when the point is durable."""

    def point(self, record: PointRecord) -> None:
        """Keep one whole point."""
        ...


@dataclass(frozen=True)
class PlannedCheck:
    """One check of the plan with its points, or the reason why it cannot be run."""

    kind: str
    index: int
    points: tuple[PlannedPoint, ...]
    not_run: str = ""


@dataclass(frozen=True)
class RunTiming:
    """What the run took against its physical floor, seconds of the run's clock."""

    taken_seconds: float
    floor_seconds: float

    @property
    def ratio(self) -> float:
        """Time taken over the floor; NaN when the floor is zero."""
        return self.taken_seconds / self.floor_seconds if self.floor_seconds else float("nan")


def plan_checks(setup: Setup) -> tuple[PlannedCheck, ...]:
    """Every check of the plan with the points it will visit on this bench; pure."""
    has = capabilities(setup.bench, setup.board.cells, len(setup.board.thermistors))
    planned = []
    for index, settings in enumerate(setup.plan.check):
        check = check_of_kind(settings.kind)
        reason = lacking(check.needs(setup, index), has)
        points = () if reason else check.points(setup, index)
        planned.append(PlannedCheck(settings.kind, index, points, reason))
    return tuple(planned)


def run_plan(setup: Setup, bench: Bench, log: PointLog, report: ReportProgress) -> RunTiming:
    """Run every check of `setup.plan` that the bench can do.

    Parameters
    ----------
    bench : the open bench; log : keeps each whole point; report : is told of progress.

    Raises
    ------
    InstrumentError, BoardError, SafetyError, RecordError : as they come; the caller closes
        the bench, which switches everything off.
    """
    planned = plan_checks(setup)
    floors = run_floor(setup, [point for check in planned for point in check.points])
    total = floor_seconds(floors)
    began = bench.clock.now()
    done = 0
    for check in planned:
        if check.not_run:
            report(CheckNotRun(check.kind, check.index, check.not_run))
            continue
        report(CheckStarted(check.kind, check.index, len(check.points)))
        for point in check.points:
            record = check_of_kind(check.kind).acquire(bench, point, check.index)
            bench.confirm_source()  # a point measured on a source that gave way is no point
            log.point(record)
            done += 1
            taken = bench.clock.now() - began
            pace = taken / max(floor_seconds(floors[:done]), 1e-9)
            left = floor_seconds(floors[done:]) * pace
            report(PointDone(check.kind, check.index, record, taken, left))
    return RunTiming(taken_seconds=bench.clock.now() - began, floor_seconds=total)
