"""A plan is run check by check and point by point; each point is kept before it is told."""

from __future__ import annotations

import dataclasses
import math

import pytest
from fake_bench import SECONDS_A_POINT, FakeBench, PointList
from twin_runs import setup_of, with_checks

from harness.descriptions.plan import CellAccuracySettings, MappingSettings, NoiseSettings
from harness.descriptions.setup import Setup
from harness.errors import InstrumentError
from harness.run.executor import RunTiming, plan_checks, run_plan
from harness.run.progress import CheckNotRun, CheckStarted, PointDone, ProgressEvent

LACKING = "this bench lacks individual cell set-points"
SWEEP = CellAccuracySettings(
    kind="cell-accuracy", points_volts=(2.5, 2.8, 3.1, 3.4, 3.6), directions=("up",)
)
NOISE = NoiseSettings(kind="noise")


@pytest.fixture
def setup() -> Setup:
    """A sweep of five points, then noise at one."""
    return with_checks(setup_of(), SWEEP, NOISE)


@pytest.fixture
def ladder() -> Setup:
    """A mapping check, which a ladder cannot do, and a sweep."""
    return with_checks(setup_of("narrowboat-ladder"), MappingSettings(kind="mapping"), SWEEP)


def told(setup: Setup, seconds_a_point: float = SECONDS_A_POINT) -> list[ProgressEvent]:
    """All events of a run on a fake bench."""
    events: list[ProgressEvent] = []
    bench = FakeBench(setup, seconds_a_point=seconds_a_point)
    run_plan(setup, bench, PointList(), events.append)
    return events


def test_every_check_has_its_points_in_order(setup: Setup) -> None:
    assert [("cell-accuracy", 0, 5), ("noise", 1, 1)] == [
        (check.kind, check.index, len(check.points)) for check in plan_checks(setup)
    ]


def test_what_the_bench_cannot_do_has_a_reason_and_no_points(ladder: Setup) -> None:
    mapping, sweep = plan_checks(ladder)
    assert (LACKING, ()) == (mapping.not_run, mapping.points)
    assert ("", 5) == (sweep.not_run, len(sweep.points))


def test_every_point_is_kept_in_visiting_order(setup: Setup) -> None:
    log = PointList()
    run_plan(setup, FakeBench(setup), log, lambda event: None)
    assert [(0, 0), (0, 1), (0, 2), (0, 3), (0, 4), (1, 0)] == [
        (point.check, point.step) for point in log.points
    ]


def test_a_point_is_kept_before_it_is_told(setup: Setup) -> None:
    """What the screen shows is in the record already."""
    log = PointList()

    def report(event: ProgressEvent) -> None:
        if isinstance(event, PointDone):
            assert log.points[-1] is event.point

    run_plan(setup, FakeBench(setup), log, report)
    assert 6 == len(log.points)


def test_a_check_not_run_is_told_and_not_begun(ladder: Setup) -> None:
    first, second, *_ = told(ladder)
    assert CheckNotRun("mapping", 0, LACKING) == first
    assert CheckStarted("cell-accuracy", 1, 5) == second


def test_nothing_is_left_after_the_last_point(setup: Setup) -> None:
    left = [event.seconds_left for event in told(setup) if isinstance(event, PointDone)]
    assert 0.0 == left[-1]
    assert min(left[:-1]) > 0


def test_time_left_follows_the_pace_so_far(setup: Setup) -> None:
    """A run that took twice as long until now is expected to go on so."""
    once, twice = (
        next(event for event in told(setup, seconds) if isinstance(event, PointDone))
        for seconds in (SECONDS_A_POINT, 2 * SECONDS_A_POINT)
    )
    assert 2 * once.seconds_left == pytest.approx(twice.seconds_left)


def test_time_taken_is_the_runs_clock(setup: Setup) -> None:
    timing = run_plan(setup, FakeBench(setup), PointList(), lambda event: None)
    assert 6 * SECONDS_A_POINT == pytest.approx(timing.taken_seconds)


def test_what_goes_wrong_ends_the_run_and_keeps_what_was_before(setup: Setup) -> None:
    """The third point fails: two are kept, nothing comes after."""
    log = PointList()
    bench = FakeBench(setup, error=InstrumentError("meter: silent"), fails_at=2)
    with pytest.raises(InstrumentError, match="meter: silent"):
        run_plan(setup, bench, log, lambda event: None)
    assert (2, 2) == (len(log.points), bench.measured)


def test_a_plan_that_the_bench_cannot_do_at_all_takes_nothing(ladder: Setup) -> None:
    plan = dataclasses.replace(ladder.plan, check=ladder.plan.check[:1])
    setup = dataclasses.replace(ladder, plan=plan)
    timing = run_plan(setup, FakeBench(setup), PointList(), lambda event: None)
    assert RunTiming(0.0, 0.0) == timing
    assert math.isnan(timing.ratio)


def test_ratio_is_taken_over_floor() -> None:
    assert 1.1 == pytest.approx(RunTiming(taken_seconds=33.0, floor_seconds=30.0).ratio)
