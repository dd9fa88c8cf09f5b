"""A whole run judged under a whole plan, from its observations alone; and many runs at once.

`judge_run` gives the judgement of one run. `judge_many` gives, for each check of the plan, one
`Findings` whose `run` column tells the runs apart: a thousand boards lie in the same arrays
and nothing here loops over them; `verdict_by_run` then says how each run came out. No bench,
no store, no clock: the date comes in.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping

import numpy as np

from harness.bench.capabilities import Capability, capabilities
from harness.checks.check import PlannedPoint
from harness.checks.registry import check_of_kind
from harness.checks.samples import BoolArray, Visits, visits_of
from harness.descriptions.bench import InstrumentEntry
from harness.descriptions.instrument import AgeColumn
from harness.descriptions.setup import Setup
from harness.finding import CheckResult, Findings, Judgement
from harness.metrology.decision import Verdict
from harness.observation import IntArray, LabelValue, Observations

# Days that a calibration-age column of a specification covers.
_COLUMN_DAYS = {AgeColumn.DAY: 1, AgeColumn.QUARTER: 90, AgeColumn.YEAR: 365}

# Two labels mean the same point when their numbers agree to this part of themselves: a TOML
# number and its way through a database differ by rounding only.
_SAME_NUMBER = 1.0e-9

ENDED_BEFORE = "the run ended before this check"
NOTHING_OBSERVED = "there are no observations for this check"

# What identifies a point; other label entries say how it was measured.
_IDENTITY = ("moved_cell", "nominal_volts", "direction", "thermistor", "nominal_celsius", "fault")


def judge_run(
    observations: Observations,
    setup: Setup,
    *,
    not_run: Mapping[int, str],
    was_aborted: bool,
    today: datetime.date,
) -> Judgement:
    """The judgement of one run.

    Parameters
    ----------
    observations : of one run; check indices are those of `setup.plan`.
    not_run : reason by check index of the checks that are known not to have been run.
    was_aborted : the run ended before its plan did; the check it ended in then tells after
        how many points.
    today : the date of the run at the bench, by which calibrations are due or not.
    """
    seen = frozenset(np.unique(observations.check).tolist())
    results = tuple(
        _result(observations, setup, index, not_run.get(index, ""), was_aborted, index in seen)
        for index in range(len(setup.plan.check))
    )
    return Judgement(
        checks=results,
        indicative=calibration_doubts(setup, today),
        was_aborted=was_aborted,
    )


def judge_many(observations: Observations, setup: Setup) -> dict[int, Findings]:
    """Findings of all runs in `observations`, by check index; checks without any are absent."""
    return {
        index: check_of_kind(setup.plan.check[index].kind).judge(observations, setup, index)
        for index in np.unique(observations.check).tolist()
    }


def verdict_by_run(
    observations: Observations, setup: Setup, findings: Mapping[int, Findings]
) -> dict[int, Verdict]:
    """The verdict of each run: the worst of its findings, `NOT_RUN` or worse where some lack.

    A run that has not all points of a check of the plan is no pass, and neither is one
    without the check, unless that is optional: the same rule as `judge_run`'s.

    Parameters
    ----------
    observations : of any number of runs. findings : of these, from `judge_many`.
    """
    visits = [visits_of(observations, index) for index in range(len(setup.plan.check))]
    runs = np.unique(np.concatenate([np.unique(observations.run), *(v.runs for v in visits)]))
    worst = np.zeros(len(runs), dtype=np.int64)
    for index, settings in enumerate(setup.plan.check):
        if index in findings:
            severity = [verdict.severity for verdict in findings[index].verdict]
            place = np.searchsorted(runs, findings[index].run)
            np.maximum.at(worst, place, np.array(severity, dtype=np.int64))
        lacks = _lacks_points(visits[index], runs, setup, index)
        if settings.optional:
            lacks &= np.isin(runs, visits[index].runs)
        worst = np.where(lacks, np.maximum(worst, Verdict.NOT_RUN.severity), worst)
    by_severity = {verdict.severity: verdict for verdict in Verdict}
    return {run: by_severity[s] for run, s in zip(runs.tolist(), worst.tolist(), strict=True)}


def _lacks_points(visits: Visits, runs: IntArray, setup: Setup, index: int) -> BoolArray:
    """Whether each of `runs` lacks a planned point of check `index`, shape of `runs`."""
    steps, first = np.unique(visits.step, return_index=True)
    planned = check_of_kind(setup.plan.check[index].kind).points(setup, index)
    labels = [visits.labels[i] for i in first.tolist()]
    fits = np.array([[_is_same(p.label, seen) for seen in labels] for p in planned], dtype=bool)
    has = np.zeros((len(runs), len(steps)), dtype=bool)
    has[np.searchsorted(runs, visits.run), np.searchsorted(steps, visits.step)] = True
    measured = has.astype(np.int64) @ fits.reshape(len(planned), len(steps)).T.astype(np.int64)
    lacks: BoolArray = (measured == 0).any(axis=1)
    return lacks


def _result(
    observations: Observations,
    setup: Setup,
    index: int,
    reason: str,
    was_aborted: bool,
    is_seen: bool,
) -> CheckResult:
    settings = setup.plan.check[index]
    check = check_of_kind(settings.kind)
    if reason or not is_seen:
        said = reason or _why_nothing(setup, index, was_aborted)
        return CheckResult(settings.kind, index, settings.optional, None, not_run=said)
    findings = check.judge(observations, setup, index)
    missing = len(missing_points(observations, setup, index))
    stopped = None
    if was_aborted and missing:
        mine = observations.check == index
        stopped = len(np.unique(observations.step[mine]))
    return CheckResult(
        settings.kind,
        index,
        settings.optional,
        findings,
        stopped_after=stopped,
        unmeasured=0 if was_aborted else missing,
        planned=len(check.points(setup, index)),
    )


def _why_nothing(setup: Setup, index: int, was_aborted: bool) -> str:
    has = capabilities(setup.bench, setup.board.cells, len(setup.board.thermistors))
    needs = check_of_kind(setup.plan.check[index].kind).needs(setup, index)
    return lacking(needs, has) or (ENDED_BEFORE if was_aborted else NOTHING_OBSERVED)


def lacking(needs: frozenset[Capability], has: frozenset[Capability]) -> str:
    """ "this bench lacks X and Y" with everything that is lacking, empty when nothing is."""
    missing = sorted(need.value for need in needs - has)
    return f"this bench lacks {' and '.join(missing)}" if missing else ""


def missing_points(
    observations: Observations, setup: Setup, index: int
) -> tuple[PlannedPoint, ...]:
    """The points of check `index` that the plan has and the observations have not."""
    steps = np.unique(observations.step[observations.check == index]).tolist()
    labels = [observations.labels.get((index, step), {}) for step in steps]
    planned = check_of_kind(setup.plan.check[index].kind).points(setup, index)
    return tuple(p for p in planned if not any(_is_same(p.label, seen) for seen in labels))


def _is_same(planned: Mapping[str, LabelValue], seen: Mapping[str, LabelValue]) -> bool:
    return all(_agree(planned[key], seen.get(key)) for key in _IDENTITY if key in planned)


def _agree(planned: LabelValue, seen: LabelValue | None) -> bool:
    if isinstance(planned, str) or seen is None or isinstance(seen, str):
        return planned == seen
    return math.isclose(planned, seen, rel_tol=_SAME_NUMBER, abs_tol=_SAME_NUMBER)


def calibration_doubts(setup: Setup, today: datetime.date) -> tuple[str, ...]:
    """Why the references behind this setup are not to be relied on, a sentence each.

    The meter always is a reference; the decade is where the bench has no meter path to it and
    the plan judges thermistors. Past due makes verdicts indicative only (common practice).
    """
    found = []
    for name, entry in setup.bench.instruments.items():
        if entry.role == "meter":
            found.append(_doubt(name, entry, today, entry.column))
        elif entry.role == "decade" and _is_decade_reference(setup):
            found.append(_doubt(name, entry, today, None))
    return tuple(doubt for doubt in found if doubt)


def _is_decade_reference(setup: Setup) -> bool:
    has = capabilities(setup.bench, setup.board.cells, len(setup.board.thermistors))
    is_used = any(settings.kind == "thermistor-accuracy" for settings in setup.plan.check)
    return is_used and Capability.METER_AT_DECADE not in has


def _doubt(
    name: str, entry: InstrumentEntry, today: datetime.date, column: AgeColumn | None
) -> str:
    if entry.due is not None and entry.due < today:
        return f"{name}: calibration was due {entry.due.isoformat()}"
    if entry.calibrated is None:
        return f"{name}: no calibration date, its specification is taken on trust"
    age = (today - entry.calibrated).days
    if column is not None and age > _COLUMN_DAYS[column]:
        return (
            f"{name}: calibrated {age} days ago, beyond the {column.value} column of its "
            "specification"
        )
    return ""
