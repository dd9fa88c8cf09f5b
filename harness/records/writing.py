"""One run on its way into the records: each point is one transaction, durable on return.

A writer only adds. It decides nothing about what it is given, and keeps no point back: when
`point` returns, the point survives a killed process and a power cut.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, Table, func, insert, select

from harness.bench.stopping import signals_held
from harness.errors import MisuseError
from harness.observation import UNITS, Observation, PointRecord
from harness.records.database import explained_errors
from harness.records.run_header import InstrumentRecord, Outcome, describe_point
from harness.records.schema import event, instrument, observation, point
from harness.timebase import Clock

_OBSERVATION_COLUMNS = (
    "run",
    "check_index",
    "step",
    "ordinal",
    "sequence",
    "wall",
    "monotonic",
    "source",
    "quantity",
    "channel",
    "value",
    "unit",
    "raw",
)


def bulk_insert(
    connection: Connection,
    table: Table,
    columns: Sequence[str],
    rows: Sequence[tuple[Any, ...]],
) -> None:
    """Insert many rows by the driver's own `executemany`, inside the connection's transaction.

    Parameters
    ----------
    columns : names in the order of each row's values, which must already be what the driver
        takes (NULL as None). An empty `rows` does nothing.
    """
    if not rows:
        return
    statement = insert(table).compile(dialect=connection.dialect, column_keys=list(columns))
    if statement.positional:
        order = [columns.index(name) for name in statement.positiontup or columns]
        connection.exec_driver_sql(str(statement), [tuple(r[i] for i in order) for r in rows])
    else:
        connection.execute(insert(table), [dict(zip(columns, r, strict=True)) for r in rows])


def json_text(value: object) -> str:
    """JSON as kept in the records: exact, keys in the given order, no NaN.

    Raises
    ------
    MisuseError : the value cannot be written as JSON.
    """
    try:
        return json.dumps(value, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise MisuseError(f"record: expected values JSON can hold, got {value!r}") from error


class RunWriter:
    """Writes one run; got from `Store.begin_run` or `Store.resume_run`, used by one thread.

    Parameters
    ----------
    engine : of the store; place : the database, for messages.
    number, run_id : of the run; check_kinds : the plan's checks in order.
    clock : stamps events and relates monotonic to wall time.
    """

    def __init__(
        self,
        engine: Engine,
        place: object,
        number: int,
        run_id: str,
        check_kinds: Sequence[str],
        clock: Clock,
    ) -> None:
        self._engine = engine
        self._place = place
        self._number = number
        self.run_id = run_id
        self._check_kinds = tuple(check_kinds)
        self._clock = clock
        self._is_open = True

    def instrument(self, record: InstrumentRecord) -> None:
        """Keep what is known of one instrument; each name once a run.

        Raises
        ------
        RecordError : the database cannot take it.
        """
        with self._transaction(f"keep instrument {record.name!r}") as connection:
            connection.execute(
                insert(instrument).values(
                    run=self._number,
                    ordinal=_next_ordinal(connection, instrument, self._number),
                    name=record.name,
                    role=record.role,
                    resource=record.resource,
                    identity=record.identity,
                    serial=record.serial,
                    calibrated=record.calibrated,
                    due=record.due,
                    spec_column=record.column,
                    certificate=record.certificate,
                )
            )

    def event(self, kind: str, text: str, data: Mapping[str, object] | None = None) -> None:
        """Keep that something happened now.

        Raises
        ------
        RecordError : the database cannot take it.
        """
        if kind in {outcome.value for outcome in Outcome}:
            raise MisuseError(f"event {kind!r}: the end of a run is written by finish()")
        self._add_event(kind, text, data or {})

    def point(self, record: PointRecord) -> None:
        """Keep one whole point: all of it, durable on return, or nothing of it.

        Raises
        ------
        RecordError : the database cannot take it, or has this point already.
        MisuseError : the plan has no such check, or the run has ended.
        """
        if not 0 <= record.check < len(self._check_kinds):
            raise MisuseError(
                f"point: expected a check from 0 to {len(self._check_kinds) - 1},"
                f" got {record.check}"
            )
        kind = self._check_kinds[record.check]
        doing = f"keep {describe_point(kind, record.step, record.label)}"
        with self._transaction(doing) as connection:
            row = self._point_row(record, kind)
            row["ordinal"] = _next_ordinal(connection, point, self._number)
            connection.execute(insert(point).values(row))
            bulk_insert(
                connection, observation, _OBSERVATION_COLUMNS, self._observation_rows(record)
            )

    def finish(self, outcome: Outcome, reason: str = "") -> None:
        """Keep how the run ended; nothing can be added after.

        Raises
        ------
        RecordError : the database cannot take it; the run then reads as stopped.
        """
        self._add_event(outcome.value, reason, {})
        self._is_open = False

    def _point_row(self, record: PointRecord, kind: str) -> dict[str, object]:
        """The columns of table `point`, without the ordinal."""
        wall_at_zero = self._clock.wall() - self._clock.now()
        return {
            "run": self._number,
            "check_index": record.check,
            "step": record.step,
            "check_kind": kind,
            "label": json_text(dict(record.label)),
            "began_monotonic": record.began_monotonic,
            "ended_monotonic": record.ended_monotonic,
            "began_wall": wall_at_zero + record.began_monotonic,
            "ended_wall": wall_at_zero + record.ended_monotonic,
            "did_settle": record.did_settle,
        }

    def _observation_rows(self, record: PointRecord) -> list[tuple[Any, ...]]:
        """The rows of table `observation`, columns as `_OBSERVATION_COLUMNS`."""
        key = (self._number, record.check, record.step)
        return [(*key, i, *_own_columns(o)) for i, o in enumerate(record.observations)]

    def _add_event(self, kind: str, text: str, data: Mapping[str, object]) -> None:
        with self._transaction(f"keep the event {kind!r}") as connection:
            connection.execute(
                insert(event).values(
                    run=self._number,
                    ordinal=_next_ordinal(connection, event, self._number),
                    wall=self._clock.wall(),
                    monotonic=self._clock.now(),
                    kind=kind,
                    text=text,
                    data=json_text(dict(data)),
                )
            )

    @contextmanager
    def _transaction(self, doing: str) -> Iterator[Connection]:
        """One transaction: committed and on the disk, or as if it had never been.

        A stop is held back meanwhile: raised inside the driver it would leave the connection,
        and its lock, with the traceback, and the end of the run could not be written.
        """
        if not self._is_open:
            raise MisuseError(f"run {self.run_id}: cannot {doing}: the run has ended")
        with (
            signals_held(),
            explained_errors(self._place, doing),
            self._engine.begin() as connection,
        ):
            yield connection


def _own_columns(seen: Observation) -> tuple[Any, ...]:
    """The columns of one observation after its key, as the driver takes them.

    Whole numbers are made Python's own: the driver would keep numpy's as bytes.
    """
    return (
        int(seen.sequence),
        seen.wall,
        seen.monotonic,
        seen.source.name.lower(),
        seen.quantity.name.lower(),
        int(seen.channel),
        None if math.isnan(seen.value) else float(seen.value),
        UNITS[seen.quantity],
        seen.raw,
    )


def _next_ordinal(connection: Connection, table: Table, run: int) -> int:
    """One more than the highest ordinal of the run in `table`; the write lock is held."""
    highest = select(func.max(table.c.ordinal)).where(table.c.run == run)
    found = connection.execute(highest).scalar()
    return 0 if found is None else int(found) + 1
