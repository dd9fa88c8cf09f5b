"""Everything that can be asked of the records; opens nothing and changes nothing.

Each function takes an open connection. Run ids are whole ids here; `find_run` turns what a
person types into one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from sqlalchemy import Connection, RowMapping, Select, func, select

from harness.errors import RecordError
from harness.metrology.decision import Verdict
from harness.observation import (
    FloatArray,
    IntArray,
    LabelValue,
    Observation,
    Observations,
    PointRecord,
    Quantity,
    Source,
)
from harness.records.run_header import (
    Event,
    InstrumentRecord,
    JudgementRecord,
    Outcome,
    RunHeader,
    RunKind,
    RunState,
    RunSummary,
    describe_point,
    short_id,
)
from harness.records.schema import event, instrument, judgement, observation, point, run

LATEST = "latest"
# A message that lists more candidates than this helps nobody.
_MOST_CANDIDATES = 8
_ROWS_A_FETCH = 50_000

_SOURCES = {source.name.lower(): int(source) for source in Source}
_QUANTITIES = {quantity.name.lower(): int(quantity) for quantity in Quantity}

# Runs -------------------------------------------------------------------------------------


def find_run(connection: Connection, wanted: str, place: object) -> str:
    """The id of the one run that `wanted` means: "latest", a whole id, or its beginning.

    Raises
    ------
    RecordError : no run, or more than one, is meant; the message lists candidates.
    """
    rows = connection.execute(select(run.c.id).order_by(run.c.number.desc()))
    ids = [str(row[0]) for row in rows]
    if not ids:
        raise RecordError(f"{place}: expected a run {wanted!r}, there are no runs; make one first")
    if wanted == LATEST:
        return ids[0]
    prefix = wanted.strip().lower()
    found = [i for i in ids if prefix and i.startswith(prefix)]
    if len(found) == 1:
        return found[0]
    if found:
        raise RecordError(
            f"{place}: expected the beginning of one run's id, got {wanted!r}, which begins"
            f" {len(found)}: {_listed(found)}; type more of it"
        )
    raise RecordError(
        f'{place}: expected a run id, its beginning or "{LATEST}", got {wanted!r}; newest first'
        f" there are {_listed(ids)}"
    )


def _listed(ids: Sequence[str]) -> str:
    shown = [short_id(i) for i in ids[:_MOST_CANDIDATES]]
    more = len(ids) - len(shown)
    return ", ".join(shown) + (f" and {more} more" if more else "")


def run_number(connection: Connection, run_id: str, place: object) -> int:
    """The local number of a run.

    Raises
    ------
    RecordError : there is no such run.
    """
    number = connection.execute(select(run.c.number).where(run.c.id == run_id)).scalar()
    if number is None:
        raise RecordError(f"{place}: expected the whole id of a run kept here, got {run_id!r}")
    return int(number)


def summaries(connection: Connection) -> list[RunSummary]:
    """One summary a run, newest first."""
    ends = _ends(connection)
    verdicts = _latest_verdicts(connection)
    points = _last_points(connection)
    # Without the setup, which is large and would be read for every run.
    wanted = [column for column in run.c if column.name != "setup"]
    rows = connection.execute(select(*wanted).order_by(run.c.number.desc())).mappings()
    return [
        RunSummary(
            id=row["id"],
            short_id=short_id(row["id"]),
            kind=RunKind(row["kind"]),
            started_wall=row["started_wall"],
            utc_offset_seconds=row["utc_offset_seconds"],
            serial_number=row["serial_number"],
            board_name=row["board_name"],
            plan_name=row["plan_name"],
            state=ends.get(row["number"], _NO_END)[0],
            verdict=verdicts.get(row["number"]),
            points=points.get(row["number"], (0, ""))[0],
            last_point=points.get(row["number"], (0, ""))[1],
        )
        for row in rows
    ]


_NO_END = (RunState.STOPPED, "")


def _ends(connection: Connection, number: int | None = None) -> dict[int, tuple[RunState, str]]:
    """State and reason of the runs that said how they ended, by run number."""
    kinds = [outcome.value for outcome in Outcome]
    query = select(event.c.run, event.c.kind, event.c.text).where(event.c.kind.in_(kinds))
    if number is not None:
        query = query.where(event.c.run == number)
    return {row.run: (RunState(row.kind), row.text) for row in connection.execute(query)}


def _latest_verdicts(connection: Connection) -> dict[int, Verdict]:
    query = select(judgement.c.run, judgement.c.verdict).order_by(judgement.c.ordinal)
    return {row.run: Verdict(row.verdict) for row in connection.execute(query)}


def _last_points(connection: Connection) -> dict[int, tuple[int, str]]:
    """Number of points and text of the last one, by run number."""
    last = (
        select(point.c.run, func.count().label("points"), func.max(point.c.ordinal).label("last"))
        .group_by(point.c.run)
        .subquery()
    )
    query = select(
        point.c.run, last.c.points, point.c.check_kind, point.c.step, point.c.label
    ).join(last, (point.c.run == last.c.run) & (point.c.ordinal == last.c.last))
    return {
        row.run: (row.points, describe_point(row.check_kind, row.step, json.loads(row.label)))
        for row in connection.execute(query)
    }


def header(connection: Connection, run_id: str, place: object) -> RunHeader:
    """All of a run's own row, its instruments and how it ended.

    Raises
    ------
    RecordError : no such run, or its setup is not what was written.
    """
    number = run_number(connection, run_id, place)
    row = connection.execute(select(run).where(run.c.number == number)).mappings().one()
    if hashlib.sha256(row["setup"].encode()).hexdigest() != row["setup_sha256"]:
        raise RecordError(
            f"{place}: run {short_id(run_id)}: expected the setup whose SHA-256 is"
            f" {row['setup_sha256']}, got another one; the record was altered, restore a backup"
        )
    state, reason = _ends(connection, number).get(number, _NO_END)
    same = (
        "id started_wall started_monotonic utc_offset_seconds serial_number operator station"
        " board_name board_revision plan_name bench_name software_version python_version"
        " platform setup_sha256 seed notes"
    )
    return RunHeader(
        short_id=short_id(run_id),
        kind=RunKind(row["kind"]),
        setup_json=row["setup"],
        state=state,
        end_reason=reason,
        instruments=instruments(connection, number),
        **{name: row[name] for name in same.split()},
    )


def instruments(connection: Connection, number: int) -> tuple[InstrumentRecord, ...]:
    """The instruments of a run, in the order they were kept."""
    rows = connection.execute(
        select(instrument).where(instrument.c.run == number).order_by(instrument.c.ordinal)
    ).mappings()
    return tuple(
        InstrumentRecord(
            name=row["name"],
            role=row["role"],
            resource=row["resource"],
            identity=row["identity"],
            serial=row["serial"],
            calibrated=row["calibrated"],
            due=row["due"],
            column=row["spec_column"],
            certificate=row["certificate"],
        )
        for row in rows
    )


def events(connection: Connection, number: int) -> tuple[Event, ...]:
    """The events of a run in order."""
    rows = connection.execute(
        select(event).where(event.c.run == number).order_by(event.c.ordinal)
    ).mappings()
    return tuple(
        Event(
            ordinal=row["ordinal"],
            wall=row["wall"],
            monotonic=row["monotonic"],
            kind=row["kind"],
            text=row["text"],
            data=json.loads(row["data"]),
        )
        for row in rows
    )


def judgements(connection: Connection, number: int) -> tuple[JudgementRecord, ...]:
    """The judgements of a run, oldest first."""
    rows = connection.execute(
        select(judgement).where(judgement.c.run == number).order_by(judgement.c.ordinal)
    ).mappings()
    return tuple(
        JudgementRecord(
            ordinal=row["ordinal"],
            made_wall=row["made_wall"],
            plan_name=row["plan_name"],
            plan_sha256=row["plan_sha256"],
            verdict=Verdict(row["verdict"]),
            counts=json.loads(row["counts"]),
            software_version=row["software_version"],
        )
        for row in rows
    )


# Points and observations ------------------------------------------------------------------


def point_rows(connection: Connection, number: int) -> Sequence[RowMapping]:
    """The rows of table `point` of a run, in the order they were written."""
    query = select(point).where(point.c.run == number).order_by(point.c.ordinal)
    return connection.execute(query).mappings().all()


def points(connection: Connection, number: int) -> tuple[PointRecord, ...]:
    """The points of a run with their observations, in the order they were written."""
    seen: dict[tuple[int, int], list[Observation]] = {}
    for row in connection.execute(observation_rows(number)):
        seen.setdefault((row.check_index, row.step), []).append(_observation(row))
    return tuple(
        PointRecord(
            check=row["check_index"],
            step=row["step"],
            label=json.loads(row["label"]),
            observations=tuple(seen.get((row["check_index"], row["step"]), ())),
            began_monotonic=row["began_monotonic"],
            ended_monotonic=row["ended_monotonic"],
            did_settle=row["did_settle"],
        )
        for row in point_rows(connection, number)
    )


def observation_rows(number: int) -> Select[Any]:
    """The query of all rows of table `observation` of a run, in their order."""
    table = observation.c
    return (
        select(observation)
        .where(table.run == number)
        .order_by(table.check_index, table.step, table.ordinal)
    )


def _observation(row: Any) -> Observation:
    return Observation(
        source=Source[row.source.upper()],
        quantity=Quantity[row.quantity.upper()],
        channel=row.channel,
        sequence=row.sequence,
        value=float("nan") if row.value is None else row.value,
        wall=row.wall,
        monotonic=row.monotonic,
        raw=row.raw,
    )


def observations(connection: Connection, numbers: Sequence[int]) -> Observations:
    """Columns of all observations of some runs; the `run` column is the place in `numbers`.

    Raises
    ------
    RecordError : the runs give one point different labels: they are not of one setup.
    """
    parts = [_columns(connection, number) for number in numbers]
    labels: dict[tuple[int, int], Mapping[str, LabelValue]] = {}
    unsettled: set[tuple[int, int, int]] = set()
    for place, number in enumerate(numbers):
        for row in point_rows(connection, number):
            key = (row["check_index"], row["step"])
            label = json.loads(row["label"])
            if labels.setdefault(key, label) != label:
                raise RecordError(
                    f"observations of {len(numbers)} runs: expected points of one plan, got"
                    f" {describe_point(row['check_kind'], row['step'], labels[key])} and"
                    f" {describe_point(row['check_kind'], row['step'], label)};"
                    " judge runs of different plans one by one"
                )
            if not row["did_settle"]:
                unsettled.add((place, *key))
    whole = {name: _joined([part[name] for part in parts], np.int64) for name in _WHOLE_COLUMNS}
    runs = [np.full(len(part["value"]), i, dtype=np.int64) for i, part in enumerate(parts)]
    return Observations(
        run=_joined(runs, np.int64),
        check=whole["check_index"],
        step=whole["step"],
        source=whole["source"],
        quantity=whole["quantity"],
        channel=whole["channel"],
        sequence=whole["sequence"],
        value=_joined([part["value"] for part in parts], np.float64),
        monotonic=_joined([part["monotonic"] for part in parts], np.float64),
        labels=labels,
        unsettled=frozenset(unsettled),
    )


_WHOLE_COLUMNS = ("check_index", "step", "source", "quantity", "channel", "sequence")
_FLOAT_COLUMNS = ("value", "monotonic")


def _joined(arrays: Sequence[Any], kind: type[np.int64] | type[np.float64]) -> Any:
    """The arrays end to end; an empty array of `kind` when there is none."""
    return np.concatenate(arrays) if arrays else np.zeros(0, dtype=kind)


def _columns(connection: Connection, number: int) -> dict[str, IntArray | FloatArray]:
    """The observations of one run as arrays, straight from the driver's tuples."""
    names = (*_WHOLE_COLUMNS, *_FLOAT_COLUMNS)
    query = observation_rows(number).with_only_columns(*(observation.c[n] for n in names))
    result = connection.execution_options(stream_results=True).execute(query)
    pieces: dict[str, list[Any]] = {name: [] for name in names}
    for rows in result.partitions(_ROWS_A_FETCH):
        for name, column in zip(names, zip(*rows, strict=True), strict=True):
            pieces[name].append(_array(name, column))
    return {
        name: _joined(piece, np.float64 if name in _FLOAT_COLUMNS else np.int64)
        for name, piece in pieces.items()
    }


def _array(name: str, column: tuple[Any, ...]) -> IntArray | FloatArray:
    """One column as an array; words become their numbers, NULL becomes NaN."""
    if name in _FLOAT_COLUMNS:
        return np.array(column, dtype=np.float64)
    numbers = {"source": _SOURCES, "quantity": _QUANTITIES}.get(name)
    values = column if numbers is None else map(numbers.__getitem__, column)
    return np.fromiter(values, dtype=np.int64, count=len(column))
