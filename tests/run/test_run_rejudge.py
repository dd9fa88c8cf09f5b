"""A kept run is decided again from its observations, under its own plan or another."""

from __future__ import annotations

import dataclasses
import datetime
from types import SimpleNamespace

import pytest
from fake_bench import FakeBench, PointList
from twin_runs import setup_of, with_checks

from harness.descriptions.plan import (
    CellAccuracySettings,
    CheckSettings,
    Decision,
    LimitOverride,
    NoiseSettings,
    PlanDescription,
)
from harness.finding import Judgement
from harness.metrology.decision import Rule, Verdict
from harness.observation import tabulate
from harness.records.run_header import Event, RunState
from harness.run.executor import run_plan
from harness.run.rejudge import (
    NOT_OBSERVED,
    judge_kept_run,
    local_date,
    matched_checks,
    not_run_by_record,
    renumbered,
)

SWEEP = CellAccuracySettings(
    kind="cell-accuracy", points_volts=(2.5, 2.8, 3.1, 3.4, 3.6), directions=("up",)
)
NOISE = NoiseSettings(kind="noise")


def plan_of(*checks: CheckSettings, **more: object) -> PlanDescription:
    """A plan of these checks."""
    return PlanDescription(name="other", check=checks, **more)  # type: ignore[arg-type]


class OneRun:
    """A store that holds one run, measured on a fake bench whose board reads 3 mV high."""

    def __init__(self, state: RunState = RunState.FINISHED, events: tuple[Event, ...] = ()) -> None:
        self.setup_kept = with_checks(setup_of(), SWEEP, NOISE)
        log = PointList()
        run_plan(self.setup_kept, FakeBench(self.setup_kept), log, lambda event: None)
        self.kept = tabulate(log.points)
        self.kept_events = events
        self.kept_header = SimpleNamespace(
            id="x", state=state, started_wall=1_772_400_000.0, utc_offset_seconds=0
        )

    def header(self, run_id: str) -> SimpleNamespace:
        return self.kept_header

    def setup(self, run_id: str):
        return self.setup_kept

    def observations(self, run_id: str):
        return self.kept

    def events(self, run_id: str):
        return self.kept_events


def judged(plan: PlanDescription | None = None, **more: object) -> Judgement:
    """The judgement of the one run."""
    return judge_kept_run(OneRun(**more), "x", plan).judgement  # type: ignore[arg-type]


def verdicts(judgement: Judgement) -> list[tuple[str, Verdict]]:
    """Each check's kind and verdict."""
    return [(check.check, check.verdict()) for check in judgement.checks]


def test_its_own_plan_judges_every_check() -> None:
    assert [("cell-accuracy", Verdict.PASS), ("noise", Verdict.PASS)] == verdicts(judged())


@pytest.mark.parametrize(("limit_volts", "verdict"), [(0.005, "pass"), (0.0025, "fail")])
def test_limit_and_rule_are_the_judging_plans(limit_volts: float, verdict: str) -> None:
    """3 mV under simple acceptance, where U does not count."""
    limits, decision = LimitOverride(cell_error_volts=limit_volts), Decision(rule=Rule.SIMPLE)
    other = plan_of(SWEEP, limits=limits, decision=decision)
    assert verdict == judged(other).verdict()


def test_checks_are_matched_by_kind_whatever_their_order() -> None:
    assert [("noise", Verdict.PASS), ("cell-accuracy", Verdict.PASS)] == verdicts(
        judged(plan_of(NOISE, SWEEP))
    )


def test_a_check_that_was_not_measured_is_not_run() -> None:
    second = judged(plan_of(SWEEP, SWEEP)).checks[1]
    assert (Verdict.NOT_RUN, NOT_OBSERVED) == (second.verdict(), second.not_run)


@pytest.mark.parametrize("state", [RunState.ABORTED, RunState.STOPPED])
def test_a_run_that_did_not_finish_is_aborted(state: RunState) -> None:
    assert Verdict.ABORTED is judged(state=state).verdict()


def test_judging_changes_nothing_that_was_measured() -> None:
    store = OneRun()
    before = store.kept.value.copy()
    judge_kept_run(store, "x", plan_of(NOISE, SWEEP))  # type: ignore[arg-type]
    assert before.tolist() == store.kept.value.tolist()


def test_the_plan_it_was_judged_by_is_told() -> None:
    judged_run = judge_kept_run(OneRun(), "x", plan_of(SWEEP))  # type: ignore[arg-type]
    assert "other" == judged_run.setup.plan.name


def test_the_first_goes_to_the_first_and_so_on() -> None:
    measured, other = plan_of(SWEEP, NOISE, SWEEP), plan_of(NOISE, SWEEP, SWEEP, SWEEP)
    assert {0: 1, 1: 0, 2: 2} == matched_checks(measured, other)


def test_renumbered_observations_carry_their_labels_along() -> None:
    kept = OneRun().kept
    kept = dataclasses.replace(kept, unsettled=frozenset({(0, 0, 3), (0, 1, 0)}))
    moved = renumbered(kept, {5: 0})
    assert {5} == set(moved.check.tolist())
    assert {(5, step) for step in range(5)} == set(moved.labels)
    assert frozenset({(0, 5, 3)}) == moved.unsettled


def test_nothing_that_matches_leaves_nothing() -> None:
    assert 0 == len(renumbered(OneRun().kept, {}))


def told(check: int, text: str) -> Event:
    """The event that a check was not run."""
    return Event(0, 0.0, 0.0, "not run", text, {"check_index": check})


def test_reasons_follow_their_check_into_the_other_plan() -> None:
    events = (told(1, "this bench lacks a decade"), Event(1, 0.0, 0.0, "outputs on", "on"))
    assert {0: "this bench lacks a decade"} == not_run_by_record(events, {0: 1, 1: 0}, 2)


def test_the_date_is_that_at_the_bench() -> None:
    """23:30 UTC on 31 December is the first of January an hour further east."""
    wall = datetime.datetime(2026, 12, 31, 23, 30, tzinfo=datetime.UTC).timestamp()
    header = SimpleNamespace(started_wall=wall, utc_offset_seconds=3600)
    assert datetime.date(2027, 1, 1) == local_date(header)  # type: ignore[arg-type]
