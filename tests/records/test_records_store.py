"""A store keeps runs, and answers about them."""

from __future__ import annotations

import hashlib
import math
import uuid
from pathlib import Path

import numpy as np
import pytest
from records_samples import WALL_AT_ZERO, HandClock, small_point, small_setup

from harness.descriptions.setup import Setup, setup_to_json
from harness.errors import MisuseError, RecordError
from harness.finding import CheckResult, Judgement
from harness.metrology.decision import Verdict
from harness.observation import PointRecord, Quantity, Source, tabulate
from harness.records.run_header import Outcome, RunKind, RunState
from harness.records.store import Store, plan_sha256, records_file
from harness.records.writing import RunWriter

COLUMNS = "run check step source quantity channel sequence value monotonic".split()  # noqa: SIM905


def begin(store: Store, **more: object) -> RunWriter:
    settings = {"clock": HandClock(), "serial_number": "H-0007"} | more
    return store.begin_run(small_setup(), **settings)  # type: ignore[arg-type]


def test_a_folder_holds_one_file_of_records(tmp_path: Path) -> None:
    """A folder, or a name without suffix, stands for the file in it."""
    assert tmp_path / "records.sqlite" == records_file(tmp_path)
    assert tmp_path / "new" / "records.sqlite" == records_file(tmp_path / "new")
    assert tmp_path / "my.sqlite" == records_file(tmp_path / "my.sqlite")


def test_folders_are_made(tmp_path: Path) -> None:
    """Opening to write makes what is missing."""
    Store.open(tmp_path / "a" / "b").close()
    assert (tmp_path / "a" / "b" / "records.sqlite").is_file()


def test_a_point_is_durable_when_point_returns(store: Store) -> None:
    """The log is flushed at each commit: full synchronous, write-ahead."""
    engine = store._writing_engine()
    with engine.connect() as connection:
        said = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("synchronous", "journal_mode", "foreign_keys")
        }
    assert said == {"synchronous": 2, "journal_mode": "wal", "foreign_keys": 1}


def test_points_come_back_as_they_were(store: Store) -> None:
    """Every value, label, time and raw text round-trips; no value stays no value."""
    writer = begin(store)
    kept = [small_point(step) for step in range(4)]
    for point in kept:
        writer.point(point)
    assert repr(tuple(kept)) == repr(store.points(writer.run_id))


def test_observations_equal_what_was_tabulated(store: Store) -> None:
    """Judging from the records sees exactly what judging from memory sees."""
    writer = begin(store)
    kept = [small_point(step) for step in range(4)]
    for point in kept:
        writer.point(point)
    direct, read = tabulate(kept), store.observations(writer.run_id)
    for column in COLUMNS:
        expected = getattr(direct, column)
        np.testing.assert_array_equal(expected, getattr(read, column), err_msg=column)
        assert expected.dtype == getattr(read, column).dtype
    assert direct.labels == read.labels
    assert frozenset({(0, 1, 2)}) == read.unsettled


def test_many_runs_lie_in_the_same_columns(store: Store) -> None:
    """The run column is the place among the runs asked for, in the order asked."""
    first, second = begin(store), begin(store)
    first.point(small_point(0, count=3))
    second.point(small_point(2, count=5))
    read = store.observations(second.run_id, first.run_id)
    assert read.run.tolist() == [0] * 5 + [1] * 3
    assert {(0, 1, 2)} == read.unsettled
    assert {(1, 0), (1, 2)} == set(read.labels)


def test_no_runs_give_empty_columns(store: Store) -> None:
    """Nothing asked for is nothing, not an error."""
    assert len(store.observations()) == 0
    assert len(store.observations(begin(store).run_id)) == 0


def test_runs_of_different_plans_do_not_mix(store: Store) -> None:
    """One step cannot mean two things in one table."""
    first, second = begin(store), begin(store)
    first.point(PointRecord(1, 0, {"nominal_volts": 2.5}, ()))
    second.point(PointRecord(1, 0, {"nominal_volts": 2.6}, ()))
    with pytest.raises(RecordError) as caught:
        store.observations(first.run_id, second.run_id)
    assert str(caught.value) == (
        "observations of 2 runs: expected points of one plan, got cell-accuracy point 1"
        " (nominal_volts 2.5) and cell-accuracy point 1 (nominal_volts 2.6); judge runs of"
        " different plans one by one"
    )


def test_a_header_holds_the_whole_setup(store: Store, setup: Setup, clock: HandClock) -> None:
    """Descriptions are kept resolved, with the hash of exactly that text."""
    identity = uuid.UUID("0f8fad5b-d9cb-469f-a165-70867728950e")
    store.begin_run(
        setup,
        clock=clock,
        kind=RunKind.REHEARSED,
        serial_number="H-0007",
        operator="mw",
        station="galley",
        utc_offset_seconds=3600,
        seed=2**40,
        notes="as found",
        run_id=identity,
    )
    head = store.header(str(identity))
    text = setup_to_json(setup)
    assert text == head.setup_json
    assert hashlib.sha256(text.encode()).hexdigest() == head.setup_sha256
    assert setup == store.setup(head.id)
    assert (
        head.short_id,
        head.kind,
        head.seed,
        head.notes,
    ) == ("0f8fad5b", RunKind.REHEARSED, 2**40, "as found")
    assert (
        head.operator,
        head.station,
        head.utc_offset_seconds,
        head.board_name,
        head.board_revision,
    ) == ("mw", "galley", 3600, "Heron", "B")
    assert (head.started_wall, head.started_monotonic) == (WALL_AT_ZERO + 100.0, 100.0)


def test_a_setup_that_was_altered_is_refused(store: Store) -> None:
    """The hash is checked at each reading."""
    writer = begin(store)
    with store._writing("alter") as connection:
        connection.exec_driver_sql("UPDATE run SET setup = setup || ' '")
    with pytest.raises(RecordError, match="the record was altered, restore a backup"):
        store.header(writer.run_id)


def test_a_setup_of_another_version_is_refused(store: Store) -> None:
    """A setup this version cannot read names the version that wrote it."""
    writer = begin(store)
    digest = hashlib.sha256(b"{}").hexdigest()
    with store._writing("alter") as connection:
        connection.exec_driver_sql(f"UPDATE run SET setup = '{{}}', setup_sha256 = '{digest}'")
    with pytest.raises(RecordError, match=r"expected a setup this version can read, got that of"):
        store.setup(writer.run_id)


@pytest.mark.parametrize("outcome", list(Outcome))
def test_how_a_run_ended_is_kept(store: Store, outcome: Outcome) -> None:
    """State and reason come from the event that ends the run."""
    writer = begin(store)
    writer.finish(outcome, "operator pressed Ctrl-C")
    head = store.header(writer.run_id)
    assert (RunState(outcome.value), "operator pressed Ctrl-C") == (head.state, head.end_reason)
    assert outcome.value == store.events(writer.run_id)[-1].kind
    assert [RunState(outcome.value)] == [summary.state for summary in store.runs()]


def test_a_run_without_an_end_was_stopped(store: Store) -> None:
    """Its summary tells the last whole point."""
    writer = begin(store)
    writer.point(small_point(4))
    writer.point(small_point(3))
    (summary,) = store.runs()
    assert (summary.state, summary.points) == (RunState.STOPPED, 2)
    assert summary.last_point == "cell-accuracy point 4 (nominal_volts 2.8, direction up)"


def test_runs_are_listed_newest_first(store: Store) -> None:
    """An empty run has no last point and no verdict."""
    first, second = begin(store, serial_number="H-0001"), begin(store, serial_number="H-0002")
    listed = store.runs()
    assert [second.run_id, first.run_id] == [summary.id for summary in listed]
    assert [summary.serial_number for summary in listed] == ["H-0002", "H-0001"]
    assert (
        listed[0].board_name,
        listed[0].plan_name,
        listed[0].points,
        listed[0].last_point,
        listed[0].verdict,
    ) == ("Heron", "arrival", 0, "", None)


IDS = [
    uuid.UUID("aaaa1111-0000-4000-8000-000000000001"),
    uuid.UUID("aaaa2222-0000-4000-8000-000000000002"),
    uuid.UUID("bbbb3333-0000-4000-8000-000000000003"),
]


@pytest.mark.parametrize(
    ("wanted", "place"),
    [("latest", 2), ("b", 2), ("AAAA1", 0), (str(IDS[1]), 1), (" aaaa2222 ", 1)],
)
def test_a_run_is_found_by_the_beginning_of_its_id(store: Store, wanted: str, place: int) -> None:
    """The shortest unique beginning will do, and "latest"."""
    for identity in IDS:
        begin(store, run_id=identity)
    assert str(IDS[place]) == store.find_run(wanted)


@pytest.mark.parametrize(
    ("wanted", "text"),
    [
        (
            "aaaa",
            "expected the beginning of one run's id, got 'aaaa', which begins 2: aaaa2222,"
            " aaaa1111; type more of it",
        ),
        (
            "cccc",
            "expected a run id, its beginning or \"latest\", got 'cccc'; newest first there are"
            " bbbb3333, aaaa2222, aaaa1111",
        ),
        (
            "",
            "expected a run id, its beginning or \"latest\", got ''; newest first there are"
            " bbbb3333, aaaa2222, aaaa1111",
        ),
    ],
)
def test_an_unclear_run_lists_candidates(store: Store, wanted: str, text: str) -> None:
    """Ambiguous and unknown ids say what there is."""
    for identity in IDS:
        begin(store, run_id=identity)
    with pytest.raises(RecordError) as caught:
        store.find_run(wanted)
    assert f"{store.path}: {text}" == str(caught.value)


def test_a_long_list_of_candidates_is_cut(store: Store) -> None:
    """Eight candidates and the number of the others."""
    for _ in range(11):
        begin(store)
    with pytest.raises(RecordError, match=r"and 3 more$"):
        store.find_run("none such")


def test_without_runs_there_is_no_latest(store: Store) -> None:
    """It says to make one."""
    with pytest.raises(RecordError, match="there are no runs; make one first"):
        store.find_run("latest")


def test_questions_about_an_unknown_run_are_errors(store: Store) -> None:
    """Never an empty answer that looks like an empty run."""
    for ask in (store.header, store.points, store.observations, store.events, store.judgements):
        with pytest.raises(RecordError, match="expected the whole id of a run kept here"):
            ask("aaaa")


def test_judgements_are_added(store: Store, setup: Setup) -> None:
    """Each judgement is one more row; the summary shows the latest."""
    writer = begin(store)
    nothing = CheckResult("mapping", 0, False, None, "this bench lacks everything")
    store.add_judgement(writer.run_id, Judgement(()), setup.plan, made_wall=1.0)
    store.add_judgement(writer.run_id, Judgement((nothing,), was_aborted=True), setup.plan, 2.0)
    kept = store.judgements(writer.run_id)
    assert [(j.ordinal, j.verdict) for j in kept] == [(0, Verdict.NOT_RUN), (1, Verdict.ABORTED)]
    assert ("arrival", plan_sha256(setup.plan), 2.0, {}) == (
        kept[1].plan_name,
        kept[1].plan_sha256,
        kept[1].made_wall,
        kept[1].counts,
    )
    assert Verdict.ABORTED is store.runs()[0].verdict


def test_a_reader_cannot_write(tmp_path: Path) -> None:
    """Beginning a run on records opened to read is our own mistake."""
    Store.open(tmp_path).close()
    with Store.open_to_read(tmp_path) as reader, pytest.raises(MisuseError, match="got a reader"):
        begin(reader)


def test_reading_asks_the_database_for_a_connection_that_cannot_write(store: Store) -> None:
    """Even a store opened to write reads through a read-only connection."""
    with (
        pytest.raises(RecordError, match="the file or its folder is read-only"),
        store._reading("try to write") as connection,
    ):
        connection.exec_driver_sql("DELETE FROM run")


def test_a_reader_sees_points_while_the_writer_goes_on(store: Store) -> None:
    """Readers do not wait for the end of the run."""
    writer = begin(store)
    with Store.open_to_read(store.path) as reader:
        writer.point(small_point(0))
        assert len(reader.points(writer.run_id)) == 1
        writer.point(small_point(1))
        assert len(reader.points(writer.run_id)) == 2


def test_values_no_source_could_give_are_null_and_read_nan(store: Store) -> None:
    """Overload is a hole with its raw text, never a number."""
    writer = begin(store)
    writer.point(small_point(0))
    with store._reading("count") as connection:
        rows = connection.exec_driver_sql("SELECT raw FROM observation WHERE value IS NULL").all()
    assert rows == [("9.9E37",)]
    assert math.isnan(store.points(writer.run_id)[0].observations[-1].value)
    found = store.observations(writer.run_id).of(
        source=Source.REFERENCE, quantity=Quantity.CELL_VOLTAGE
    )
    assert int(np.isnan(found.value).sum()) == 1
