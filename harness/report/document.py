"""What a report is made from: one frozen value with plain fields.

The command line fills it from a record (`from_record`); nothing in the report reads a store,
a bench or a clock. Times are the record's own.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from harness.descriptions.setup import Setup, setup_to_json
from harness.finding import Judgement
from harness.observation import Observations
from harness.records.run_header import Event, RunHeader, RunKind
from harness.report.remarks import remarks_of


@dataclass(frozen=True)
class ReportInstrument:
    """One instrument as the record names it; empty text where nothing is known."""

    name: str
    role: str
    identity: str
    serial: str
    calibrated: datetime.date | None
    due: datetime.date | None
    column: str
    certificate: str


@dataclass(frozen=True)
class ReportEvent:
    """Something that happened in the run; `seconds` since the run began."""

    seconds: float
    kind: str
    text: str


@dataclass(frozen=True)
class ReportInput:
    """One judged run.

    started : aware date and time of the run's begin.
    kind : where the observations come from: "measured", "imported" or "rehearsed".
    state : how the run ended; end_reason : what it said about that, may be empty.
    setup_sha256 : of the setup in the record; judged_sha256 : of the one that was judged, which
    has another plan when the run was judged again under one.
    observations : of this run, for the noise histogram and the ambient conditions.
    remarks : sentences about the run that stand under the verdict.
    """

    run_id: str
    started: datetime.datetime
    kind: str
    is_simulated: bool
    serial_number: str
    operator: str
    station: str
    software_version: str
    setup_sha256: str
    judged_sha256: str
    state: str
    end_reason: str
    notes: str
    instruments: tuple[ReportInstrument, ...]
    events: tuple[ReportEvent, ...]
    setup: Setup
    judgement: Judgement
    observations: Observations
    remarks: tuple[str, ...] = ()


def from_record(
    header: RunHeader,
    events: Iterable[Event],
    setup: Setup,
    judgement: Judgement,
    observations: Observations,
) -> ReportInput:
    """The report's input from what the record keeps and what judging gave.

    Parameters
    ----------
    setup : the setup that was judged; its plan may be another than the record's own.
    """
    happened = tuple(events)
    zone = datetime.timezone(datetime.timedelta(seconds=header.utc_offset_seconds))
    return ReportInput(
        run_id=header.id,
        started=datetime.datetime.fromtimestamp(header.started_wall, zone),
        kind=header.kind.value,
        is_simulated=header.kind is RunKind.REHEARSED,
        serial_number=header.serial_number,
        operator=header.operator,
        station=header.station,
        software_version=header.software_version,
        setup_sha256=header.setup_sha256,
        judged_sha256=hashlib.sha256(setup_to_json(setup).encode("utf-8")).hexdigest(),
        state=header.state.value,
        end_reason=header.end_reason,
        notes=header.notes,
        instruments=tuple(
            ReportInstrument(
                name=i.name,
                role=i.role,
                identity=i.identity,
                serial=i.serial,
                calibrated=i.calibrated,
                due=i.due,
                column=i.column,
                certificate=i.certificate,
            )
            for i in header.instruments
        ),
        events=tuple(
            ReportEvent(e.monotonic - header.started_monotonic, e.kind, e.text) for e in happened
        ),
        setup=setup,
        judgement=judgement,
        observations=observations,
        remarks=remarks_of(happened),
    )
