"""A stopped run can be taken up where its whole points end."""

from __future__ import annotations

import pytest
from records_samples import HandClock, small_point, small_setup

from harness.errors import RecordError
from harness.records.resuming import next_steps
from harness.records.run_header import Outcome
from harness.records.store import Store


def test_each_check_goes_on_after_its_last_whole_point(store: Store, clock: HandClock) -> None:
    """A check without points begins at its first step."""
    writer = store.begin_run(small_setup(), clock=clock, serial_number="H-0007")
    writer.point(small_point(0, check=0))
    for step in range(3):
        writer.point(small_point(step, check=1))
    assert next_steps(store, writer.run_id) == {0: 1, 1: 3, 2: 0}


def test_a_stopped_run_takes_more_points(store: Store, clock: HandClock) -> None:
    """Order and events go on counting."""
    first = store.begin_run(small_setup(), clock=clock, serial_number="H-0007")
    first.point(small_point(0))
    first.event("note", "before the power cut")
    again = store.resume_run(first.run_id, clock)
    again.event("resumed", "")
    again.point(small_point(1))
    again.finish(Outcome.FINISHED)
    assert [point.step for point in store.points(first.run_id)] == [0, 1]
    assert [event.ordinal for event in store.events(first.run_id)] == [0, 1, 2]


@pytest.mark.parametrize("outcome", list(Outcome))
def test_a_run_that_ended_is_not_taken_up(store: Store, clock: HandClock, outcome: Outcome) -> None:
    """Records are not reopened."""
    writer = store.begin_run(small_setup(), clock=clock, serial_number="H-0007")
    writer.finish(outcome)
    with pytest.raises(RecordError, match=f"this one is {outcome.value}; begin a new run"):
        store.resume_run(writer.run_id, clock)
