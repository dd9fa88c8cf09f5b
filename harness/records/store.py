"""The door to the records: open a file, begin a run, ask about runs.

`Store` puts writing and reading together and turns every complaint of the database into a
`RecordError` that says what to do. A store opened for reading never writes; one opened for
writing still reads through a connection that cannot write.
"""

from __future__ import annotations

import hashlib
import json
import platform
import uuid
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from types import TracebackType
from typing import Self

from pydantic import TypeAdapter
from sqlalchemy import Connection, Engine, func, insert, select

from harness.descriptions.plan import PlanDescription
from harness.descriptions.setup import Setup, setup_from_json, setup_to_json
from harness.errors import MisuseError, RecordError
from harness.finding import Judgement
from harness.observation import Observations, PointRecord
from harness.records import reading
from harness.records.database import (
    BUSY_TIMEOUT_SECONDS,
    explained_errors,
    open_for_reading,
    open_for_writing,
)
from harness.records.migrating import is_up_to_date, upgrade
from harness.records.run_header import (
    Event,
    JudgementRecord,
    RunHeader,
    RunKind,
    RunState,
    RunSummary,
)
from harness.records.schema import judgement as judgement_table
from harness.records.schema import run as run_table
from harness.records.writing import RunWriter, json_text
from harness.timebase import Clock

RECORDS_FILE = "records.sqlite"


def records_file(path: str | Path) -> Path:
    """The database file that `path` means: a folder, or a name without suffix, holds one."""
    path = Path(path)
    return path / RECORDS_FILE if path.is_dir() or not path.suffix else path


class Store:
    """All runs of one bench. Use as a context manager, or call `close`."""

    def __init__(self, path: Path, reader: Engine, writer: Engine | None) -> None:
        self.path = path
        self._reader = reader
        self._writer = writer

    @classmethod
    def open(cls, path: str | Path, *, busy_timeout_seconds: float = BUSY_TIMEOUT_SECONDS) -> Self:
        """Open records for writing and reading; folder, file and tables are made as needed.

        Parameters
        ----------
        path : of the database file, or of the folder that holds `records.sqlite`.
        busy_timeout_seconds : longest wait for another process that is writing.

        Raises
        ------
        RecordError : the place cannot be written, or holds something else or newer.
        """
        file = records_file(path)
        with explained_errors(file, "open the records"):
            file.parent.mkdir(parents=True, exist_ok=True)
            writer = open_for_writing(file, busy_timeout_seconds)
            try:
                upgrade(writer, file)
            except BaseException:
                writer.dispose()
                raise
            return cls(file, open_for_reading(file, busy_timeout_seconds), writer)

    @classmethod
    def open_to_read(
        cls, path: str | Path, *, busy_timeout_seconds: float = BUSY_TIMEOUT_SECONDS
    ) -> Self:
        """Open existing records without being able to write.

        Records of an older schema are brought up to date first, which does write.

        Raises
        ------
        RecordError : there are no records, or they cannot be read.
        """
        file = records_file(path)
        if not file.exists():
            raise RecordError(
                f"{file}: expected records, there is no such file; make a run first or name"
                " another results folder"
            )
        with explained_errors(file, "read the records"):
            reader = open_for_reading(file, busy_timeout_seconds)
            try:
                with reader.begin() as connection:
                    is_current = is_up_to_date(connection, file)
            except BaseException:
                reader.dispose()
                raise
        if not is_current:
            reader.dispose()
            cls.open(file, busy_timeout_seconds=busy_timeout_seconds).close()
            return cls.open_to_read(file, busy_timeout_seconds=busy_timeout_seconds)
        return cls(file, reader, None)

    def close(self) -> None:
        """Close all connections; the last writer's log is then folded into the file."""
        self._reader.dispose()
        if self._writer is not None:
            self._writer.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.close()

    # Writing ------------------------------------------------------------------------------

    def begin_run(
        self,
        setup: Setup,
        *,
        clock: Clock,
        kind: RunKind = RunKind.MEASURED,
        serial_number: str,
        operator: str = "",
        station: str = "",
        utc_offset_seconds: int = 0,
        seed: int | None = None,
        notes: str = "",
        run_id: uuid.UUID | None = None,
    ) -> RunWriter:
        """Keep that a run begins now, and return its writer.

        Parameters
        ----------
        setup : the fully resolved descriptions, kept whole with their hash.
        clock : stamps the run and its events.
        serial_number : of the board; utc_offset_seconds : local time minus UTC.
        seed : of a rehearsal's random numbers; run_id : a new random one when None.

        Raises
        ------
        RecordError : the database cannot take it.
        """
        text = setup_to_json(setup)
        identity = str(run_id or uuid.uuid4())
        row = {
            "id": identity,
            "kind": kind.value,
            "started_wall": clock.wall(),
            "started_monotonic": clock.now(),
            "utc_offset_seconds": utc_offset_seconds,
            "serial_number": serial_number,
            "operator": operator,
            "station": station,
            "board_name": setup.board.name,
            "board_revision": setup.board.revision,
            "plan_name": setup.plan.name,
            "bench_name": setup.bench.name,
            "software_version": version("tapproof"),
            "python_version": platform.python_version(),
            "platform": platform.platform(),
            "setup": text,
            "setup_sha256": hashlib.sha256(text.encode()).hexdigest(),
            "seed": seed,
            "notes": notes,
        }
        with self._writing("begin a run") as connection:
            key = connection.execute(insert(run_table).values(row)).inserted_primary_key
        return self._writer_of(int(key[0]) if key else 0, identity, setup, clock)

    def resume_run(self, run_id: str, clock: Clock) -> RunWriter:
        """A writer that adds to a run which said nothing about its end.

        Raises
        ------
        RecordError : no such run, or it has ended.
        """
        head = self.header(run_id)
        if head.state is not RunState.STOPPED:
            raise RecordError(
                f"{self.path}: run {head.short_id}: expected a run without an end, this one"
                f" is {head.state.value}; begin a new run"
            )
        return self._writer_of(self._number(run_id), run_id, self.setup(run_id), clock)

    def add_judgement(
        self, run_id: str, judgement: Judgement, plan: PlanDescription, made_wall: float
    ) -> JudgementRecord:
        """Keep that a run was judged.

        Parameters
        ----------
        plan : by which it was judged; made_wall : when, seconds since the Unix epoch.

        Raises
        ------
        RecordError : no such run, or the database cannot take it.
        """
        table = judgement_table
        number = self._number(run_id)
        with self._writing("keep a judgement") as connection:
            highest = select(func.max(table.c.ordinal)).where(table.c.run == number)
            last = connection.execute(highest).scalar()
            record = JudgementRecord(
                ordinal=0 if last is None else last + 1,
                made_wall=made_wall,
                plan_name=plan.name,
                plan_sha256=plan_sha256(plan),
                verdict=judgement.verdict(),
                counts=Counter(finding.verdict.value for finding in judgement.rows()),
                software_version=version("tapproof"),
            )
            connection.execute(
                insert(table).values(
                    run=number,
                    ordinal=record.ordinal,
                    made_wall=record.made_wall,
                    plan_name=record.plan_name,
                    plan_sha256=record.plan_sha256,
                    verdict=record.verdict.value,
                    counts=json_text(record.counts),
                    software_version=record.software_version,
                )
            )
        return record

    # Reading ------------------------------------------------------------------------------

    def runs(self) -> list[RunSummary]:
        """A summary of every run, newest first."""
        with self._reading("list the runs") as connection:
            return reading.summaries(connection)

    def find_run(self, wanted: str) -> str:
        """The id of the run meant by "latest", an id or the beginning of one.

        Raises
        ------
        RecordError : none or several are meant; the message lists candidates.
        """
        with self._reading("find a run") as connection:
            return reading.find_run(connection, wanted, self.path)

    def header(self, run_id: str) -> RunHeader:
        """Everything about a run besides its points, events and judgements.

        Raises
        ------
        RecordError : no such run, or its setup was altered.
        """
        with self._reading("read a run") as connection:
            return reading.header(connection, run_id, self.path)

    def setup(self, run_id: str) -> Setup:
        """The setup that a run was made with.

        Raises
        ------
        RecordError : no such run, or this version cannot read its setup.
        """
        head = self.header(run_id)
        try:
            return setup_from_json(head.setup_json)
        except (ValueError, KeyError) as error:
            raise RecordError(
                f"{self.path}: run {head.short_id}: expected a setup this version can read,"
                f" got that of version {head.software_version}: {error}"
            ) from error

    def points(self, run_id: str) -> tuple[PointRecord, ...]:
        """The points of a run in the order they were acquired, with their observations."""
        with self._reading("read points") as connection:
            number = reading.run_number(connection, run_id, self.path)
            return reading.points(connection, number)

    def observations(self, *run_ids: str) -> Observations:
        """The observations of some runs as columns; `run` there is the place of the argument.

        Raises
        ------
        RecordError : no such run, or the runs are not of one plan.
        """
        with self._reading("read observations") as connection:
            numbers = [reading.run_number(connection, i, self.path) for i in run_ids]
            return reading.observations(connection, numbers)

    def events(self, run_id: str) -> tuple[Event, ...]:
        """The events of a run in order."""
        with self._reading("read events") as connection:
            return reading.events(connection, reading.run_number(connection, run_id, self.path))

    def judgements(self, run_id: str) -> tuple[JudgementRecord, ...]:
        """The judgements of a run, oldest first."""
        with self._reading("read judgements") as connection:
            number = reading.run_number(connection, run_id, self.path)
            return reading.judgements(connection, number)

    @contextmanager
    def reading_run(self, run_id: str) -> Iterator[tuple[Connection, int]]:
        """A connection that cannot write and the run's number, for `harness.records` itself."""
        with self._reading("read a run") as connection:
            yield connection, reading.run_number(connection, run_id, self.path)

    # Parts --------------------------------------------------------------------------------

    def _number(self, run_id: str) -> int:
        with self._reading("find a run") as connection:
            return reading.run_number(connection, run_id, self.path)

    def _writer_of(self, number: int, run_id: str, setup: Setup, clock: Clock) -> RunWriter:
        kinds = [settings.kind for settings in setup.plan.check]
        return RunWriter(self._writing_engine(), self.path, number, run_id, kinds, clock)

    def _writing_engine(self) -> Engine:
        if self._writer is None:
            raise MisuseError(f"{self.path}: expected records opened to write, got a reader")
        return self._writer

    @contextmanager
    def _writing(self, doing: str) -> Iterator[Connection]:
        engine = self._writing_engine()
        with explained_errors(self.path, doing), engine.begin() as connection:
            yield connection

    @contextmanager
    def _reading(self, doing: str) -> Iterator[Connection]:
        with explained_errors(self.path, doing), self._reader.begin() as connection:
            yield connection


def plan_sha256(plan: PlanDescription) -> str:
    """SHA-256 of a plan's canonical JSON (sorted keys), as kept with a judgement."""
    plain = TypeAdapter(PlanDescription).dump_python(plan, mode="json")
    text = json.dumps(plain, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()
