"""One run as files that other programs read: CSV, Parquet and JSON.

Numbers are written with as many digits as bring back the same double; nothing is rounded, and
a missing value is an empty cell (null in Parquet). Every file is written beside its place and
renamed, so a file that is there is whole. Units stand in the column names; a value's own unit
stands beside it.
"""

from __future__ import annotations

import csv
import dataclasses
import datetime
import json
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from harness.records import reading
from harness.records.database import explained_errors
from harness.records.run_header import Event, RunHeader
from harness.records.schema import observation
from harness.records.store import Store

# Column of the file: column of table `observation`. The run and the check's kind come before.
_OBSERVATION_COLUMNS = {
    "check_index": "check_index",
    "step": "step",
    "sequence": "sequence",
    "wall_seconds": "wall",
    "monotonic_seconds": "monotonic",
    "source": "source",
    "quantity": "quantity",
    "channel": "channel",
    "value": "value",
    "unit": "unit",
    "raw": "raw",
}
_WHOLE_NUMBERS = ("check_index", "step", "sequence", "channel")
_FLOATING = ("wall_seconds", "monotonic_seconds", "value")


def export_run(store: Store, run_id: str, folder: Path) -> tuple[Path, ...]:
    """Write a run into `folder`, which is made as needed; existing files are replaced.

    Returns
    -------
    The files: `observations.csv`, `observations.parquet`, `points.csv`, `events.csv`,
    `setup.json` (the very text whose SHA-256 the record holds) and `run.json`.

    Raises
    ------
    RecordError : no such run, or the folder cannot be written.
    """
    head, events = store.header(run_id), store.events(run_id)
    with store.reading_run(run_id) as (connection, number):
        points = [dict(row) for row in reading.point_rows(connection, number)]
        wanted = [observation.c[name] for name in _OBSERVATION_COLUMNS.values()]
        query = reading.observation_rows(number).with_only_columns(*wanted)
        rows = [tuple(row) for row in connection.execute(query)]
    kinds = {row["check_index"]: row["check_kind"] for row in points}
    observed = [(run_id, kinds[row[0]], *row) for row in rows]
    names = ("run", "check", *_OBSERVATION_COLUMNS)
    with explained_errors(folder, "export the run"):
        folder.mkdir(parents=True, exist_ok=True)
        return (
            _write_csv(folder / "observations.csv", names, observed),
            _write_parquet(folder / "observations.parquet", names, observed),
            _write_csv(folder / "points.csv", *_points_table(run_id, points)),
            _write_csv(folder / "events.csv", *_events_table(run_id, events)),
            _write_text(folder / "setup.json", head.setup_json),
            _write_text(folder / "run.json", _header_json(head)),
        )


def _points_table(
    run_id: str, points: Sequence[dict[str, Any]]
) -> tuple[list[str], list[tuple[Any, ...]]]:
    """Column names and rows of `points.csv`; each label key is a column of its own."""
    labels = [json.loads(row["label"]) for row in points]
    keys = list(dict.fromkeys(key for label in labels for key in label))
    names = ["run", "check", "check_index", "step", *keys]
    names += ["began_wall_seconds", "ended_wall_seconds"]
    names += ["began_monotonic_seconds", "ended_monotonic_seconds", "did_settle"]
    rows = [
        (
            run_id,
            row["check_kind"],
            row["check_index"],
            row["step"],
            *(label.get(key) for key in keys),
            row["began_wall"],
            row["ended_wall"],
            row["began_monotonic"],
            row["ended_monotonic"],
            row["did_settle"],
        )
        for row, label in zip(points, labels, strict=True)
    ]
    return names, rows


def _events_table(run_id: str, events: Iterable[Event]) -> tuple[list[str], list[tuple[Any, ...]]]:
    """Column names and rows of `events.csv`; `data` is JSON."""
    names = ["run", "ordinal", "wall_seconds", "monotonic_seconds", "kind", "text", "data"]
    rows = [
        (run_id, e.ordinal, e.wall, e.monotonic, e.kind, e.text, json.dumps(dict(e.data)))
        for e in events
    ]
    return names, rows


def _header_json(head: RunHeader) -> str:
    """Everything of the run's header but the setup, which is a file of its own."""
    plain = dataclasses.asdict(head)
    del plain["setup_json"]
    return json.dumps(plain, indent=2, ensure_ascii=False, default=datetime.date.isoformat)


# Files ------------------------------------------------------------------------------------


def _write_csv(path: Path, names: Iterable[str], rows: Iterable[Sequence[Any]]) -> Path:
    """Comma-separated UTF-8 with a heading; floating numbers by `repr`, None as empty."""
    with _replacing(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as out:
        # The csv module writes a float by repr, so it comes back as the same double.
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(names)
        writer.writerows(rows)
    return path


def _write_text(path: Path, text: str) -> Path:
    """Exactly `text` as UTF-8, without a line end of its own."""
    with _replacing(path) as temporary:
        temporary.write_bytes(text.encode())
    return path


def _write_parquet(path: Path, names: Sequence[str], rows: Sequence[Sequence[Any]]) -> Path:
    """Parquet with plain types: words are strings, so that files of many runs join."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    types: dict[str, Callable[[], Any]] = dict.fromkeys(names, pa.string)
    types |= dict.fromkeys(_WHOLE_NUMBERS, pa.int64) | dict.fromkeys(_FLOATING, pa.float64)
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    table = pa.table(
        {name: pa.array(column, types[name]()) for name, column in zip(names, columns, strict=True)}
    )
    with _replacing(path) as temporary:
        pq.write_table(table, temporary, compression="zstd")
    return path


@contextmanager
def _replacing(path: Path) -> Iterator[Path]:
    """A temporary path beside `path` that takes its place at the end, on the disk and whole."""
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield temporary
        with temporary.open("rb+") as written:
            os.fsync(written.fileno())
        temporary.replace(path)
    finally:
        temporary.unlink(missing_ok=True)
