"""Deciding a kept run again: from its raw observations alone, under its own plan or another.

No bench is needed and nothing is asked of one. Under another plan the observations of each
check are matched to the plan's check of the same kind (the first to the first, and so on);
limits, decision rule and settings are the other plan's, what was measured stays as it was.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta, timezone

import numpy as np

from harness.checks.judgement import judge_run
from harness.descriptions.plan import PlanDescription
from harness.descriptions.setup import Setup
from harness.finding import Judgement
from harness.observation import Observations
from harness.records.run_header import Event, RunHeader, RunState
from harness.records.store import Store

NOT_OBSERVED = "the run holds no observations for this check"


@dataclasses.dataclass(frozen=True)
class JudgedRun:
    """A kept run with its judgement; `setup` carries the plan it was judged by."""

    header: RunHeader
    setup: Setup
    observations: Observations
    judgement: Judgement
    events: tuple[Event, ...] = ()


def matched_checks(measured: PlanDescription, judged: PlanDescription) -> Mapping[int, int]:
    """For each check of `judged` that `measured` also has, measured index by judged index."""
    places: dict[str, list[int]] = defaultdict(list)
    for index, settings in enumerate(measured.check):
        places[settings.kind].append(index)
    found = {}
    for index, settings in enumerate(judged.check):
        if places[settings.kind]:
            found[index] = places[settings.kind].pop(0)
    return found


def renumbered(observations: Observations, matches: Mapping[int, int]) -> Observations:
    """The observations with check indices of the judging plan; unmatched ones are left out."""
    new_of = {measured: judged for judged, measured in matches.items()}
    kept = observations.where(np.isin(observations.check, list(new_of)))
    translate = np.vectorize(new_of.__getitem__, otypes=[np.int64])
    return dataclasses.replace(
        kept,
        check=translate(kept.check) if len(kept) else kept.check,
        labels={
            (new_of[check], step): label
            for (check, step), label in kept.labels.items()
            if check in new_of
        },
        unsettled=frozenset(
            (run, new_of[check], step) for run, check, step in kept.unsettled if check in new_of
        ),
    )


def local_date(header: RunHeader) -> date:
    """The calendar date at the bench when the run began."""
    zone = timezone(timedelta(seconds=header.utc_offset_seconds))
    return datetime.fromtimestamp(header.started_wall, zone).date()


def judge_kept_run(store: Store, run_id: str, plan: PlanDescription | None = None) -> JudgedRun:
    """Judge the run again from its record, under `plan` or its own.

    Raises
    ------
    RecordError : no such run, or its record cannot be read.
    """
    header = store.header(run_id)
    measured = store.setup(run_id)
    observations = store.observations(run_id)
    matches: Mapping[int, int] = {index: index for index in range(len(measured.plan.check))}
    setup = measured
    if plan is not None:
        matches = matched_checks(measured.plan, plan)
        setup = dataclasses.replace(measured, plan=plan)
        observations = renumbered(observations, matches)
    events = store.events(run_id)
    judgement = judge_run(
        observations,
        setup,
        not_run=not_run_by_record(events, matches, len(setup.plan.check)),
        was_aborted=header.state is not RunState.FINISHED,
        today=local_date(header),
    )
    return JudgedRun(header, setup, observations, judgement, events)


def not_run_by_record(
    events: Iterable[Event], matches: Mapping[int, int], checks: int
) -> dict[int, str]:
    """Reasons, by index in the judging plan, why a check has no observations.

    Parameters
    ----------
    events : of the run; those of kind "not run" name a check of the measured plan.
    matches : measured index by judged index; checks : how many the judging plan has.
    """
    said = {
        event.data["check_index"]: event.text
        for event in events
        if event.kind == "not run" and "check_index" in event.data
    }
    reasons = {}
    for index in range(checks):
        if index not in matches:
            reasons[index] = NOT_OBSERVED
        elif matches[index] in said:
            reasons[index] = said[matches[index]]
    return reasons
