"""What a reader of the verdict is told about the run itself."""

from __future__ import annotations

from harness.records.run_header import Event
from harness.report.remarks import remarks_of


def event(kind: str, text: str, data: dict[str, object] | None = None) -> Event:
    return Event(0, 0.0, 0.0, kind, text, data or {})


def test_a_damaged_link_is_told() -> None:
    damaged = event("link statistics", "795 good frames; 41 missing", {"good": 795, "missing": 41})
    assert ("Board link: 795 good frames; 41 missing.",) == remarks_of([damaged])


def test_a_clean_link_is_not() -> None:
    clean = event("link statistics", "795 good frames, nothing wrong", {"good": 795, "gaps": 0})
    assert () == remarks_of([clean])


def test_the_same_complaint_is_told_once() -> None:
    twice = [event("error queue", 'meter: -113,"Undefined header"')] * 2
    assert ('Error queue: meter: -113,"Undefined header".',) == remarks_of(twice)


def test_ordinary_events_are_no_remarks() -> None:
    assert () == remarks_of([event("outputs on", "x"), event("timing", "y")])
