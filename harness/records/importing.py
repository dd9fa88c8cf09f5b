"""Observations measured elsewhere become a run that is judged like any other.

A table feeds one check of the plan. Its rows are grouped into points by what the check's
points are labelled with, and repeated rows are repeated readings. The table knows no times:
all observations carry the time of the import, and the run's kind says `imported`. The record
keeps each file's name, its SHA-256 and the declaration of its columns.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter

from harness.descriptions.faults import DescriptionFaults, Fault
from harness.descriptions.setup import Setup
from harness.descriptions.toml_text import as_toml
from harness.observation import LabelValue, Observation, PointRecord, Quantity, Source
from harness.records.import_columns import CellAccuracyImport, ThermistorAccuracyImport
from harness.records.import_table import (
    CountParser,
    NumberParser,
    Table,
    TableColumn,
    TableRow,
    WordParser,
    read_table,
)
from harness.records.run_header import InstrumentRecord, Outcome, RunKind
from harness.timebase import Clock

if TYPE_CHECKING:
    from harness.records.store import Store

Columns = CellAccuracyImport | ThermistorAccuracyImport
NOT_FED = "no imported table feeds this check"


@dataclass(frozen=True)
class ImportTable:
    """A file and what its columns are (`harness.records.import_columns`)."""

    path: Path
    columns: Columns


@dataclass(frozen=True)
class ImportedPoints:
    """The points that a table held, and the SHA-256 of the file's bytes."""

    table: ImportTable
    sha256: str
    points: tuple[PointRecord, ...]


def import_run(
    store: Store,
    setup: Setup,
    tables: Sequence[ImportTable],
    *,
    clock: Clock,
    serial_number: str,
    operator: str = "",
    station: str = "",
    utc_offset_seconds: int = 0,
    notes: str = "",
) -> str:
    """Keep the tables as one finished run; returns its id.

    Parameters
    ----------
    setup : the board, the plan, and the bench whose meter gave the reference values.
    tables : at least one; each feeds another check of the plan.

    Raises
    ------
    DescriptionFaults : all bad cells of all tables; nothing is kept then.
    RecordError : the records cannot take it.
    """
    imported = _read_all(tables, setup, clock)
    writer = store.begin_run(
        setup,
        clock=clock,
        kind=RunKind.IMPORTED,
        serial_number=serial_number,
        operator=operator,
        station=station,
        utc_offset_seconds=utc_offset_seconds,
        notes=notes,
    )
    for name, entry in setup.bench.instruments.items():
        writer.instrument(InstrumentRecord.of_entry(name, entry))
    fed = set()
    for found in imported:
        writer.event("imported", found.table.path.name, _provenance(found))
        for record in found.points:
            writer.point(record)
            fed.add(record.check)
    for index in range(len(setup.plan.check)):
        if index not in fed:
            writer.event("not run", NOT_FED, {"check_index": index})
    writer.finish(Outcome.FINISHED)
    return writer.run_id


def _read_all(tables: Sequence[ImportTable], setup: Setup, clock: Clock) -> list[ImportedPoints]:
    """What all tables hold; the faults of all of them are raised together."""
    imported: list[ImportedPoints] = []
    faults: list[Fault] = []
    fed: dict[int, Path] = {}
    for table in tables:
        try:
            found = read_points(table, setup, clock)
        except DescriptionFaults as error:
            faults += error.faults
            continue
        first = fed.setdefault(found.points[0].check, table.path)
        if first is not table.path:
            got = f"a second one beside {first}"
            faults.append(Fault(str(table.path), None, "", "one table for each check", got))
        imported.append(found)
    if faults:
        raise DescriptionFaults(faults)
    return imported


def read_points(table: ImportTable, setup: Setup, clock: Clock) -> ImportedPoints:
    """The points that a table holds, in order of appearance; steps count from 0.

    Cell accuracy: one point for each (nominal_volts, direction). Thermistor accuracy: one for
    each (thermistor, nominal_celsius).

    Raises
    ------
    DescriptionFaults : every bad cell; or the plan has no check for this table.
    """
    check, columns = _check_index(table, setup), table.columns
    if isinstance(columns, CellAccuracyImport):
        read = read_table(table.path, _cell_columns(columns, setup), columns.separator)
        points = _grouped(table, check, read, _cell_label, _cell_observations, clock)
    else:
        read = read_table(table.path, _thermistor_columns(columns, setup), columns.separator)
        points = _grouped(table, check, read, _thermistor_label, _thermistor_observations, clock)
    return ImportedPoints(table, read.sha256, points)


def _check_index(table: ImportTable, setup: Setup) -> int:
    """The index in the plan of the check that the table feeds."""
    wanted = table.columns
    kinds = [settings.kind for settings in setup.plan.check]
    places = [index for index, kind in enumerate(kinds) if kind == wanted.feeds]
    if len(places) >= wanted.occurrence:
        return places[wanted.occurrence - 1]
    count = f"{wanted.occurrence} checks" if wanted.occurrence > 1 else "a check"
    expected = f'a plan with {count} "{wanted.feeds}"'
    got = f"plan {as_toml(setup.plan.name)} with {', '.join(kinds)}"
    raise DescriptionFaults([Fault(str(table.path), None, "", expected, got)])


# Columns of each form ---------------------------------------------------------------------


def _cell_columns(declared: CellAccuracyImport, setup: Setup) -> dict[str, TableColumn]:
    columns, mark = declared.columns, declared.decimal_mark
    inputs = setup.board.cell_inputs
    # A nominal outside the board's range is most likely in another unit than declared.
    bounds = (inputs.lowest_volts, inputs.highest_volts)
    nominal = NumberParser(columns.nominal_volts.unit, mark, bounds)
    found = {
        "cell": TableColumn(columns.cell.heading, CountParser(setup.board.cells)),
        "nominal_volts": TableColumn(columns.nominal_volts.heading, nominal),
        "board": TableColumn(
            columns.board_volts.heading, NumberParser(columns.board_volts.unit, mark)
        ),
        "reference": TableColumn(
            columns.reference_volts.heading, NumberParser(columns.reference_volts.unit, mark)
        ),
    }
    if columns.direction is not None:
        words = {columns.direction.up: "up", columns.direction.down: "down"}
        found["direction"] = TableColumn(columns.direction.heading, WordParser(words))
    return found


def _thermistor_columns(declared: ThermistorAccuracyImport, setup: Setup) -> dict[str, TableColumn]:
    columns, mark = declared.columns, declared.decimal_mark
    highest = len(setup.board.thermistors)
    return {
        "thermistor": TableColumn(columns.thermistor.heading, CountParser(highest)),
        "nominal_celsius": TableColumn(
            columns.nominal_celsius.heading, NumberParser(columns.nominal_celsius.unit, mark)
        ),
        "board": TableColumn(
            columns.board_celsius.heading, NumberParser(columns.board_celsius.unit, mark)
        ),
        "reference": TableColumn(
            columns.reference_ohms.heading,
            NumberParser(columns.reference_ohms.unit, mark, is_positive=True),
        ),
    }


# Rows to points ---------------------------------------------------------------------------

Label = dict[str, LabelValue]
Seen = tuple[Source, Quantity, int, float, str]


def _cell_label(row: TableRow) -> Label:
    return {
        "nominal_volts": row.values["nominal_volts"],
        "direction": row.values.get("direction", "up"),
    }


def _cell_observations(row: TableRow) -> Iterable[Seen]:
    return _pair(row, "cell", Quantity.CELL_VOLTAGE, Quantity.CELL_VOLTAGE)


def _thermistor_label(row: TableRow) -> Label:
    return {
        "nominal_celsius": row.values["nominal_celsius"],
        "thermistor": int(row.values["thermistor"]),
    }


def _thermistor_observations(row: TableRow) -> Iterable[Seen]:
    return _pair(row, "thermistor", Quantity.RESISTANCE, Quantity.TEMPERATURE)


def _pair(row: TableRow, channel: str, reference: Quantity, board: Quantity) -> Iterable[Seen]:
    """What the reference and the board said in one row."""
    number = int(row.values[channel])
    for key, source, quantity in (
        ("reference", Source.REFERENCE, reference),
        ("board", Source.BOARD, board),
    ):
        yield source, quantity, number, float(row.values[key]), row.texts[key]


def _grouped(
    table: ImportTable,
    check: int,
    read: Table,
    label_of: Callable[[TableRow], Label],
    seen_in: Callable[[TableRow], Iterable[Seen]],
    clock: Clock,
) -> tuple[PointRecord, ...]:
    """One point for each distinct label, in order of appearance."""
    cycles = table.columns.power_line_cycles
    known: Label = {} if cycles is None else {"power_line_cycles": cycles}
    groups: dict[tuple[LabelValue, ...], tuple[Label, list[Seen]]] = {}
    for row in read.rows:
        label = label_of(row)
        _, seen = groups.setdefault(tuple(label.values()), (label | known, []))
        seen.extend(seen_in(row))
    wall, now = clock.wall(), clock.now()
    return tuple(
        PointRecord(check, step, label, _numbered(seen, wall, now), now, now)
        for step, (label, seen) in enumerate(groups.values())
    )


def _numbered(seen: Iterable[Seen], wall: float, now: float) -> tuple[Observation, ...]:
    """Observations whose sequence counts the readings of each source and channel."""
    taken: dict[tuple[Source, int], int] = {}
    found = []
    for source, quantity, channel, value, text in seen:
        sequence = taken.get((source, channel), 0)
        taken[source, channel] = sequence + 1
        found.append(Observation(source, quantity, channel, sequence, value, wall, now, text))
    return tuple(found)


def _provenance(found: ImportedPoints) -> Mapping[str, object]:
    """What the record keeps about an imported file."""
    columns = found.table.columns
    plain: Any = TypeAdapter(type(columns)).dump_python(columns, mode="json")
    return {"sha256": found.sha256, "columns": plain}
