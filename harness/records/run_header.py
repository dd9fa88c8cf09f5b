"""What readers of the records are given: runs, instruments, events, judgements as values.

Plain frozen dataclasses that need no database to import, so that reports and the command
line can name them cheaply.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING

from harness.metrology.decision import Verdict

if TYPE_CHECKING:
    from harness.descriptions.bench import InstrumentEntry

SHORT_ID_LENGTH = 8


class RunKind(str, Enum):
    """Where a run's observations come from."""

    MEASURED = "measured"
    IMPORTED = "imported"
    REHEARSED = "rehearsed"


class RunState(str, Enum):
    """How a run ended; one that says nothing about its end was stopped (killed, power cut).

    A run that another process is still writing also reads as `STOPPED` until it ends.
    """

    FINISHED = "finished"
    ABORTED = "aborted"
    STOPPED = "stopped"


class Outcome(str, Enum):
    """What a writer may say about the end of its run; the value is the event's kind."""

    FINISHED = "finished"
    ABORTED = "aborted"


@dataclass(frozen=True)
class InstrumentRecord:
    """One instrument as it was on the day: where, who it said it is, how calibrated.

    name : its name in the bench description; identity : its reply to `*IDN?`, empty when it
    was not asked; column : the calibration-age column of its specification that applies.
    """

    name: str
    role: str
    resource: str
    identity: str = ""
    serial: str = ""
    calibrated: datetime.date | None = None
    due: datetime.date | None = None
    column: str = ""
    certificate: str = ""

    @staticmethod
    def of_entry(name: str, entry: InstrumentEntry, identity: str = "") -> InstrumentRecord:
        """What the bench description says of the instrument `name`, with its `*IDN?` reply."""
        return InstrumentRecord(
            name=name,
            role=entry.role,
            resource=entry.resource,
            identity=identity,
            serial=entry.serial,
            calibrated=entry.calibrated,
            due=entry.due,
            column=entry.column.value,
            certificate=entry.certificate,
        )


@dataclass(frozen=True)
class Event:
    """Something that happened in a run; times in seconds, `ordinal` counts from 0."""

    ordinal: int
    wall: float
    monotonic: float
    kind: str
    text: str
    data: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class JudgementRecord:
    """That a run was judged: when, by which plan, with what result.

    counts : number of findings by verdict word. The findings themselves are not kept: they
    follow from the observations and the plan.
    """

    ordinal: int
    made_wall: float
    plan_name: str
    plan_sha256: str
    verdict: Verdict
    counts: Mapping[str, int]
    software_version: str


@dataclass(frozen=True)
class RunSummary:
    """One line about a run.

    last_point : text naming the last whole point, empty when there is none.
    verdict : of the latest judgement, None when the run was never judged.
    """

    id: str
    short_id: str
    kind: RunKind
    started_wall: float
    utc_offset_seconds: int
    serial_number: str
    board_name: str
    plan_name: str
    state: RunState
    verdict: Verdict | None
    points: int
    last_point: str


@dataclass(frozen=True)
class RunHeader:
    """All that is known about a run besides its points, events and judgements.

    setup_json : the fully resolved descriptions, canonical JSON (`harness.descriptions.setup`
    reads it); setup_sha256 : SHA-256 of its UTF-8 bytes, verified on reading.
    end_reason : what the run said about its end, empty when it said nothing.
    """

    id: str
    short_id: str
    kind: RunKind
    started_wall: float
    started_monotonic: float
    utc_offset_seconds: int
    serial_number: str
    operator: str
    station: str
    board_name: str
    board_revision: str
    plan_name: str
    bench_name: str
    software_version: str
    python_version: str
    platform: str
    setup_json: str
    setup_sha256: str
    seed: int | None
    notes: str
    state: RunState
    end_reason: str
    instruments: tuple[InstrumentRecord, ...]


def short_id(run_id: str) -> str:
    """The first characters of a run's id, enough to tell runs apart on one bench."""
    return run_id[:SHORT_ID_LENGTH]


def describe_point(check: str, step: int, label: Mapping[str, object]) -> str:
    """Text that names a point: `cell-accuracy point 3 (nominal_volts 3.3, direction up)`.

    `step` counts from 0 as stored and is shown from 1.
    """
    said = ", ".join(f"{key} {value}" for key, value in label.items())
    return f"{check} point {step + 1}" + (f" ({said})" if said else "")


def local_time_text(wall: float, utc_offset_seconds: int) -> str:
    """A wall time as ISO 8601 with offset, to the second: `2026-03-01T14:05:09+01:00`.

    Parameters
    ----------
    wall : seconds since the Unix epoch; utc_offset_seconds : local time minus UTC.
    """
    zone = datetime.timezone(datetime.timedelta(seconds=utc_offset_seconds))
    return datetime.datetime.fromtimestamp(wall, zone).isoformat(timespec="seconds")
