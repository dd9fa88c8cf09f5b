"""A whole run under a whole plan, and many at once."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest
from checks_builder import FakeBench, FakeBoard, acquired, bench, joined, setup

from harness.bench.capabilities import Capability
from harness.checks.judgement import (
    calibration_doubts,
    judge_many,
    judge_run,
    lacking,
    missing_points,
    verdict_by_run,
)
from harness.checks.registry import check_of_kind
from harness.descriptions.plan import (
    CellAccuracySettings,
    MappingSettings,
    NoiseSettings,
    StackTotalSettings,
    ThermistorAccuracySettings,
    ThermistorFaultsSettings,
)
from harness.metrology.decision import Verdict
from harness.observation import tabulate

VOLTS = (2.5, 2.8, 3.0, 3.3, 3.65)
EVERYTHING = (
    MappingSettings(kind="mapping"),
    CellAccuracySettings(kind="cell-accuracy", points_volts=VOLTS),
    StackTotalSettings(kind="stack-total", points_volts=(2.5, 3.65)),
    NoiseSettings(kind="noise"),
    ThermistorAccuracySettings(
        kind="thermistor-accuracy", points_celsius=(-10.0, 0.0, 25.0, 40.0, 60.0)
    ),
    ThermistorFaultsSettings(kind="thermistor-open-short"),
)
TODAY = datetime.date(2026, 3, 1)
SETUP = setup(*EVERYTHING, effort={"frames": 10})


def points_of(a_setup=SETUP, fake=None, seed=1):
    a_bench = FakeBench(a_setup, fake or FakeBoard(), seed=seed)
    return [
        point
        for index, settings in enumerate(a_setup.plan.check)
        for point in acquired(check_of_kind(settings.kind), a_bench, index)
    ]


ALL_POINTS = points_of()


def judged(points=ALL_POINTS, a_setup=SETUP, *, not_run=None, was_aborted=False, today=TODAY):
    return judge_run(
        tabulate(points), a_setup, not_run=not_run or {}, was_aborted=was_aborted, today=today
    )


def test_a_good_board_passes_every_check():
    judgement = judged()
    assert [Verdict.PASS] * 6 == [c.verdict() for c in judgement.checks]
    assert (Verdict.PASS, ()) == (judgement.verdict(), judgement.indicative)


def test_checks_stand_in_the_order_of_the_plan():
    assert [s.kind for s in EVERYTHING] == [c.check for c in judged().checks]


def test_the_same_observations_give_the_same_judgement():
    assert list(map(str, judged().rows())) == list(map(str, judged().rows()))


def test_a_check_known_not_to_be_run_keeps_its_reason():
    points = [p for p in ALL_POINTS if p.check != 0]
    result = judged(points, not_run={0: "this bench lacks individual cell set-points"}).checks[0]
    assert (Verdict.NOT_RUN, "this bench lacks individual cell set-points") == (
        result.verdict(),
        result.not_run,
    )


def test_what_the_bench_lacks_is_named_in_full():
    bare = replace(
        SETUP, bench=bench(paths=replace(bench().paths, decade_at_thermistor=(), meter_at_cell=()))
    )
    points = [p for p in ALL_POINTS if p.check not in (0, 4)]
    result = judged(points, bare).checks
    assert "this bench lacks a meter path to every cell" == result[0].not_run
    assert "this bench lacks a resistance source at every thermistor" == result[4].not_run


def test_two_lacking_abilities_are_both_named():
    needs = frozenset({Capability.CELL_SOURCE, Capability.METER_AT_CELL})
    assert (
        "this bench lacks a meter path to every cell and a programmable supply for the cells"
        == (lacking(needs, frozenset()))
    )


def test_a_run_that_ended_says_where():
    points = [p for p in ALL_POINTS if p.check < 1 or (p.check == 1 and p.step < 3)]
    judgement = judged(points, was_aborted=True)
    assert (None, 3) == (judgement.checks[0].stopped_after, judgement.checks[1].stopped_after)
    assert "the run ended before this check" == judgement.checks[2].not_run
    assert Verdict.ABORTED is judgement.verdict()


def test_a_check_cut_short_is_no_pass():
    points = [p for p in ALL_POINTS if p.check == 1 and p.step < 3]
    assert Verdict.NOT_RUN is judged(points, was_aborted=True).checks[1].verdict()


def test_planned_points_never_measured_are_no_pass():
    judgement = judged([p for p in ALL_POINTS if p.check != 1 or p.step < 3])
    check = judgement.checks[1]
    assert (6, 9) == (check.unmeasured, check.planned)
    assert (Verdict.NOT_RUN, Verdict.NOT_RUN) == (check.verdict(), judgement.verdict())


def test_points_are_matched_by_what_they_are_and_not_by_step():
    moved = [replace(p, step=p.step + 100) for p in ALL_POINTS]
    assert () == missing_points(tabulate(moved), SETUP, 1)


def test_another_limit_decides_the_same_observations_otherwise():
    strict = replace(
        SETUP, plan=replace(SETUP.plan, limits=replace(SETUP.plan.limits, cell_error_volts=0.00001))
    )
    assert Verdict.CANNOT_DECIDE is judged(a_setup=strict).checks[1].verdict()


# Calibration ------------------------------------------------------------------------------


def with_entry(name: str, a_setup=SETUP, **changes):
    entries = dict(a_setup.bench.instruments)
    entries[name] = replace(entries[name], **changes)
    return replace(a_setup, bench=replace(a_setup.bench, instruments=entries))


def test_a_calibration_overdue_makes_every_verdict_indicative():
    assert ("dmm: calibration was due 2027-01-10",) == calibration_doubts(
        SETUP, datetime.date(2027, 1, 11)
    )


def test_on_the_day_it_is_due_it_still_holds():
    assert () == calibration_doubts(SETUP, datetime.date(2027, 1, 10))


def test_a_meter_without_calibration_date_is_taken_on_trust():
    bare = with_entry("dmm", calibrated=None, due=None)
    assert ("dmm: no calibration date, its specification is taken on trust",) == (
        calibration_doubts(bare, TODAY)
    )


def test_a_column_too_short_for_the_age_is_told():
    from harness.descriptions.instrument import AgeColumn

    aged = with_entry("dmm", column=AgeColumn.DAY)
    assert ("dmm: calibrated 50 days ago, beyond the 24h column of its specification",) == (
        calibration_doubts(aged, TODAY)
    )


def test_the_decade_counts_only_where_no_meter_reads_it():
    late = with_entry("box", due=datetime.date(2026, 2, 1))
    assert () == calibration_doubts(late, TODAY)
    unread = replace(
        late, bench=replace(late.bench, paths=replace(late.bench.paths, meter_at_decade=None))
    )
    assert ("box: calibration was due 2026-02-01",) == calibration_doubts(unread, TODAY)


def test_the_supply_is_no_reference():
    assert () == calibration_doubts(with_entry("source", due=datetime.date(2020, 1, 1)), TODAY)


# Many -------------------------------------------------------------------------------------


def test_many_runs_give_one_findings_a_check_with_each_runs_verdict():
    bad = points_of(fake=FakeBoard(gain=(1, 1.01, 1, 1)))
    many = judge_many(joined(tabulate(ALL_POINTS, run=1), tabulate(bad, run=2)), SETUP)
    assert set(range(6)) == set(many)
    assert [Verdict.PASS, Verdict.FAIL] == [
        Verdict.worst(row.verdict for row in many[1].rows() if row.run == run) for run in (1, 2)
    ]


def by_run(*runs, a_setup=SETUP):
    seen = joined(*(tabulate(points, run=run) for run, points in enumerate(runs, 1)))
    return verdict_by_run(seen, a_setup, judge_many(seen, a_setup))


def test_each_run_among_many_has_its_worst_verdict():
    bad = points_of(fake=FakeBoard(gain=(1, 1.01, 1, 1)))
    assert {1: Verdict.PASS, 2: Verdict.FAIL} == by_run(ALL_POINTS, bad)


def test_a_run_that_lacks_points_among_many_is_no_pass():
    few = [p for p in ALL_POINTS if p.check != 1 or p.step == 0]
    assert {1: Verdict.PASS, 2: Verdict.NOT_RUN} == by_run(ALL_POINTS, few)


def test_a_run_that_lacks_a_check_among_many_is_no_pass():
    few = [p for p in ALL_POINTS if p.check != 3]
    assert {1: Verdict.PASS, 2: Verdict.NOT_RUN} == by_run(ALL_POINTS, few)


def test_a_check_that_no_run_has_spoils_all():
    few = [p for p in ALL_POINTS if p.check != 3]
    assert {1: Verdict.NOT_RUN} == by_run(few)


def test_an_optional_check_may_be_lacking():
    optional = replace(EVERYTHING[3], optional=True)
    a_setup = setup(*EVERYTHING[:3], optional, *EVERYTHING[4:], effort={"frames": 10})
    few = [p for p in ALL_POINTS if p.check != 3]
    assert {1: Verdict.PASS, 2: Verdict.PASS} == by_run(ALL_POINTS, few, a_setup=a_setup)


@pytest.mark.parametrize("index", range(6))
def test_a_run_among_many_is_judged_as_it_is_alone(index):
    other = points_of(fake=FakeBoard(follows=(1, 0, 2, 3)), seed=9)
    many = judge_many(joined(tabulate(other, run=1), tabulate(ALL_POINTS, run=2)), SETUP)[index]
    alone = judge_many(tabulate(ALL_POINTS, run=2), SETUP)[index]
    mine = [row for row in many.rows() if row.run == 2]
    assert list(map(str, alone.rows())) == list(map(str, mine))
