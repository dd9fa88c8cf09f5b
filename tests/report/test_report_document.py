"""From the record to the report's input."""

from __future__ import annotations

import datetime
import hashlib

from report_builder import judgement, observations, setup

from harness.descriptions.setup import setup_to_json
from harness.records.run_header import Event, InstrumentRecord, RunHeader, RunKind, RunState
from harness.report.document import ReportInput, from_record


def header(kind: RunKind) -> RunHeader:
    text = setup_to_json(setup())
    return RunHeader(
        id="3f2a9c1e-5b7d",
        short_id="3f2a9c1e",
        kind=kind,
        started_wall=1.8e9,
        started_monotonic=100.0,
        utc_offset_seconds=3600,
        serial_number="H-0007",
        operator="",
        station="bench 1",
        board_name="Heron",
        board_revision="B",
        plan_name="Acceptance",
        bench_name="Narrowboat",
        software_version="0.1.0",
        python_version="3.11",
        platform="any",
        setup_json=text,
        setup_sha256=hashlib.sha256(text.encode("utf-8")).hexdigest(),
        seed=1,
        notes="",
        state=RunState.FINISHED,
        end_reason="",
        instruments=(
            InstrumentRecord("meter", "meter", "r", "i", "M-1", datetime.date(2026, 3, 2)),
        ),
    )


def made(kind: RunKind = RunKind.MEASURED) -> ReportInput:
    events = (Event(0, 1.8e9 + 21.5, 121.5, "retry", "a frame with a bad check"),)
    return from_record(header(kind), events, setup(), judgement(), observations())


def test_the_start_is_in_the_bench_s_own_time() -> None:
    assert made().started.isoformat() == "2027-01-15T09:00:00+01:00"


def test_events_count_from_the_begin() -> None:
    assert made().events[0].seconds == 21.5


def test_only_a_rehearsed_run_is_simulated() -> None:
    assert [k for k in RunKind if made(k).is_simulated] == [RunKind.REHEARSED]


def test_under_its_own_plan_both_hashes_are_the_same() -> None:
    assert made().setup_sha256 == made().judged_sha256


def test_instruments_are_taken_over() -> None:
    assert (made().instruments[0].serial, made().instruments[0].due) == ("M-1", None)
