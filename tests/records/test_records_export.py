"""An exported run holds the same numbers as the record, in files that are whole."""

from __future__ import annotations

import csv
import datetime
import hashlib
import json
import math
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from records_samples import HandClock, small_point, small_setup

from harness.errors import RecordError
from harness.observation import PointRecord
from harness.records.export import export_run
from harness.records.run_header import InstrumentRecord, Outcome
from harness.records.store import Store

FILES = [
    "observations.csv",
    "observations.parquet",
    "points.csv",
    "events.csv",
    "setup.json",
    "run.json",
]


@pytest.fixture
def run_id(store: Store) -> str:
    writer = store.begin_run(small_setup(), clock=HandClock(), serial_number="H-0007")
    writer.instrument(
        InstrumentRecord("dmm", "meter", "TCPIP::x", calibrated=datetime.date(2026, 2, 1))
    )
    for step in range(3):
        writer.point(small_point(step))
    writer.point(PointRecord(2, 0, {"thermistor": 1, "nominal_celsius": 25.0}, ()))
    writer.event("note", 'said "µ",\nthen went', {"n": 1})
    writer.finish(Outcome.FINISHED)
    return writer.run_id


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_file_is_written(store: Store, run_id: str, tmp_path: Path) -> None:
    """And no temporary one is left."""
    folder = tmp_path / "out" / "deep"
    assert [folder / name for name in FILES] == list(export_run(store, run_id, folder))
    assert sorted(FILES) == sorted(entry.name for entry in folder.iterdir())


def test_csv_brings_back_the_same_doubles(store: Store, run_id: str, tmp_path: Path) -> None:
    """repr round-trips; no value is an empty cell."""
    export_run(store, run_id, tmp_path)
    rows = table(tmp_path / "observations.csv")
    kept = [o for point in store.points(run_id) for o in point.observations]
    for row, seen in zip(rows, kept, strict=True):
        assert row["value"] == ("" if math.isnan(seen.value) else repr(seen.value))
        assert (seen.wall, seen.monotonic) == (
            float(row["wall_seconds"]),
            float(row["monotonic_seconds"]),
        )
        assert (seen.source.name.lower(), "V", seen.raw) == (
            row["source"],
            row["unit"],
            row["raw"],
        )


def test_columns_name_their_units(store: Store, run_id: str, tmp_path: Path) -> None:
    """The heading of the observations, in full."""
    export_run(store, run_id, tmp_path)
    heading = (tmp_path / "observations.csv").read_text("utf-8").splitlines()[0]
    assert heading == (
        "run,check,check_index,step,sequence,wall_seconds,monotonic_seconds,source,quantity,"
        "channel,value,unit,raw"
    )


def test_parquet_holds_what_csv_holds(store: Store, run_id: str, tmp_path: Path) -> None:
    """Same columns, same rows; whole numbers whole, words plain strings, holes null."""
    export_run(store, run_id, tmp_path)
    read = pq.read_table(tmp_path / "observations.parquet")
    rows = table(tmp_path / "observations.csv")
    assert list(rows[0]) == read.column_names
    types = {field.name: str(field.type) for field in read.schema}
    assert {"string", "int64", "double"} == set(types.values())
    assert (types["run"], types["channel"], types["value"]) == ("string", "int64", "double")
    for row, other in zip(rows, read.to_pylist(), strict=True):
        shown = {key: "" if value is None else str(value) for key, value in other.items()}
        assert row == shown


def test_points_have_a_column_for_each_label(store: Store, run_id: str, tmp_path: Path) -> None:
    """A point that lacks a label of another check leaves its cell empty."""
    export_run(store, run_id, tmp_path)
    rows = table(tmp_path / "points.csv")
    assert [row["nominal_volts"] for row in rows] == ["2.5", "2.6", "2.7", ""]
    assert [row["nominal_celsius"] for row in rows] == ["", "", "", "25.0"]
    assert [row["did_settle"] for row in rows] == ["True", "True", "False", "True"]
    assert [row["check"] for row in rows] == ["cell-accuracy"] * 3 + ["thermistor-accuracy"]


def test_events_keep_quotes_and_line_ends(store: Store, run_id: str, tmp_path: Path) -> None:
    """Text goes through CSV unharmed."""
    export_run(store, run_id, tmp_path)
    rows = table(tmp_path / "events.csv")
    assert (rows[0]["text"], json.loads(rows[0]["data"])) == ('said "µ",\nthen went', {"n": 1})
    assert [row["kind"] for row in rows] == ["note", "finished"]


def test_the_setup_file_has_the_kept_hash(store: Store, run_id: str, tmp_path: Path) -> None:
    """`sha256sum setup.json` proves it."""
    export_run(store, run_id, tmp_path)
    digest = hashlib.sha256((tmp_path / "setup.json").read_bytes()).hexdigest()
    assert store.header(run_id).setup_sha256 == digest
    assert digest == json.loads((tmp_path / "run.json").read_text("utf-8"))["setup_sha256"]


def test_the_header_file_names_instruments(store: Store, run_id: str, tmp_path: Path) -> None:
    """With their calibration dates."""
    export_run(store, run_id, tmp_path)
    head = json.loads((tmp_path / "run.json").read_text("utf-8"))
    assert (
        head["instruments"][0]["calibrated"],
        head["instruments"][0]["due"],
    ) == ("2026-02-01", None)
    assert head["state"] == "finished"


def test_an_empty_run_gives_empty_tables(store: Store, tmp_path: Path) -> None:
    """Headings and no rows, also in Parquet."""
    writer = store.begin_run(small_setup(), clock=HandClock(), serial_number="H-0007")
    export_run(store, writer.run_id, tmp_path)
    assert table(tmp_path / "observations.csv") == []
    assert pq.read_table(tmp_path / "observations.parquet").num_rows == 0


def test_a_failed_export_leaves_the_older_file(
    store: Store, run_id: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file is replaced only by a whole one."""
    old = tmp_path / "observations.csv"
    old.write_text("older", "utf-8")

    def refuse(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("harness.records.export.os.fsync", refuse)
    with pytest.raises(RecordError) as caught:
        export_run(store, run_id, tmp_path)
    assert (
        f"{tmp_path}: cannot export the run: No space left on device; check the folder, its"
        " permissions and the room on the disk"
    ) == str(caught.value)
    assert old.read_text("utf-8") == "older"
    assert list(tmp_path.glob(".*.part")) == []


def test_a_folder_that_cannot_be_made_is_told(store: Store, run_id: str, tmp_path: Path) -> None:
    """A file stands in its way."""
    (tmp_path / "out").write_text("", "utf-8")
    with pytest.raises(RecordError, match="cannot export the run: Not a directory"):
        export_run(store, run_id, tmp_path / "out" / "deep")
