"""What ends a database's service ends in a clear error, and what was kept stays.

Permissions do not bind a superuser, so read-only places are made without them: a folder that
cannot be made because a file stands in its way, SQLite's own read-only connection, and for a
read-only file system the refusal (EROFS) that its `mkdir` gives.
"""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from records_samples import HandClock, small_point, small_setup
from writer_process import OBSERVATIONS_A_POINT, full_point

from harness.descriptions.setup import setup_to_json
from harness.errors import RecordError
from harness.records import database
from harness.records.run_header import Outcome, RunState
from harness.records.store import Store
from harness.records.writing import RunWriter

WRITER = Path(__file__).parent / "writer_process.py"


def begin(store: Store) -> RunWriter:
    return store.begin_run(small_setup(), clock=HandClock(), serial_number="H-0007")


@pytest.fixture
def setup_file(tmp_path: Path) -> Path:
    path = tmp_path / "setup.json"
    path.write_text(setup_to_json(small_setup()), "utf-8")
    return path


def start_writer(folder: Path, setup_file: Path, points: int) -> subprocess.Popen[str]:
    command = [sys.executable, str(WRITER), str(folder), str(setup_file), str(points)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


# Killed processes -------------------------------------------------------------------------


@pytest.mark.parametrize("after", [1, 7, 40])
def test_a_killed_run_keeps_every_point_it_reported(
    tmp_path: Path, setup_file: Path, after: int
) -> None:
    """SIGKILL while points are written: each reported point is there, and each is whole."""
    with start_writer(tmp_path / "results", setup_file, 100_000) as process:
        assert process.stdout is not None
        for line in process.stdout:
            if line == f"durable {after}\n":
                process.kill()
                break
        reported = after + sum(line.startswith("durable") for line in process.stdout)
    assert process.returncode == -9
    with Store.open_to_read(tmp_path / "results") as store:
        (summary,) = store.runs()
        points = store.points(summary.id)
    assert RunState.STOPPED is summary.state
    assert reported + 1 <= len(points)
    assert [full_point(step) for step in range(len(points))] == list(points)
    assert f"cell-accuracy point {len(points)} " in summary.last_point


def test_records_can_be_written_after_a_kill(tmp_path: Path, setup_file: Path) -> None:
    """The next run finds no lock and no damage, and the stopped one can be taken up."""
    with start_writer(tmp_path / "results", setup_file, 100_000) as process:
        assert process.stdout is not None
        next(line for line in process.stdout if line == "durable 3\n")
        process.kill()
    with Store.open(tmp_path / "results") as store:
        stopped = store.find_run("latest")
        begin(store).point(small_point(0))
        step = len(store.points(stopped))
        store.resume_run(stopped, HandClock()).point(full_point(step))
        assert (step + 1) * OBSERVATIONS_A_POINT == len(store.observations(stopped))
    assert integrity(tmp_path / "results" / "records.sqlite") == [("ok",)]


def integrity(path: Path) -> list[tuple[str]]:
    connection = sqlite3.connect(path)
    found = connection.execute("PRAGMA integrity_check").fetchall()
    broken = connection.execute("PRAGMA foreign_key_check").fetchall()
    connection.close()
    return found + broken


def test_two_processes_write_one_file(tmp_path: Path, setup_file: Path) -> None:
    """Both make the file at once, both write all their points, nothing is mixed or lost."""
    processes = [start_writer(tmp_path / "results", setup_file, 60) for _ in range(2)]
    for process in processes:
        process.communicate(timeout=60)
    assert [process.returncode for process in processes] == [0, 0]
    with Store.open_to_read(tmp_path / "results") as store:
        runs = store.runs()
        assert [run.points for run in runs] == [60, 60]
        assert [run.state for run in runs] == [RunState.FINISHED] * 2
        for run in runs:
            assert [full_point(step) for step in range(60)] == list(store.points(run.id))
    assert integrity(tmp_path / "results" / "records.sqlite") == [("ok",)]


# A disk that is full or refuses -----------------------------------------------------------


def keep_points_until_refused(writer: RunWriter) -> None:
    for step in range(100):
        writer.point(full_point(step))


def test_a_full_disk_is_told_and_keeps_what_was_kept(store: Store) -> None:
    """The database may grow by a few pages only: some points fit, then one does not."""
    writer = begin(store)
    with store._writing_engine().connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        # The pool hands this one connection out again for each point.
        connection.exec_driver_sql(f"PRAGMA max_page_count={pages + 40}")
    with pytest.raises(RecordError) as caught:
        keep_points_until_refused(writer)
    kept = len(store.points(writer.run_id))
    assert (
        f"{store.path}: cannot keep cell-accuracy point {kept + 1} (nominal_volts"
        " 3.141592653589793): the disk is full; free some space; every point kept so far is"
        " still there"
    ) == str(caught.value)
    assert kept > 0
    assert [full_point(step) for step in range(kept)] == list(store.points(writer.run_id))


def test_writing_goes_on_when_there_is_room_again(store: Store) -> None:
    """The same point, tried again, is whole."""
    writer = begin(store)
    with store._writing_engine().connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count=1")
    with pytest.raises(RecordError, match="the disk is full"):
        keep_points_until_refused(writer)
    step = len(store.points(writer.run_id))
    with store._writing_engine().connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count=100000")
    writer.point(full_point(step))
    writer.finish(Outcome.FINISHED)
    assert step + 1 == store.runs()[0].points


LIMITED_WRITER = """
import resource, runpy, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))
sys.argv = sys.argv[1:]
runpy.run_path(sys.argv[0], run_name="__main__")
"""


def test_a_file_size_limit_is_told(tmp_path: Path, setup_file: Path) -> None:
    """The system refuses to let the file grow (as with a quota): an error, and whole points."""
    limited = tmp_path / "limited.py"
    limited.write_text(LIMITED_WRITER, "utf-8")
    command = [sys.executable, limited, WRITER, tmp_path / "results", setup_file, "1000"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert "RecordError" in done.stderr.splitlines()[-1]
    assert "the disk refused to read or write; check the disk and its quota" in done.stderr
    reported = done.stdout.count("durable")
    with Store.open_to_read(tmp_path / "results") as store:
        points = store.points(store.find_run("latest"))
    assert 0 < reported == len(points)
    assert [full_point(step) for step in range(reported)] == list(points)


# Places that cannot be written ------------------------------------------------------------


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "results").write_text("not a folder", "utf-8")
    path = tmp_path / "results" / "deep" / "records.sqlite"
    with pytest.raises(RecordError) as caught:
        Store.open(path)
    assert (
        f"{path}: cannot open the records: Not a directory; check the folder, its permissions"
        " and the room on the disk"
    ) == str(caught.value)


def test_a_read_only_file_system_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """EROFS from making the folder, as a read-only medium gives it."""

    def refuse(path: Path, **_: object) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(path))

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(RecordError, match="cannot open the records: Read-only file system; check"):
        Store.open(tmp_path / "results")


def test_a_file_that_cannot_be_opened_is_told(tmp_path: Path) -> None:
    """A folder stands where the file should be."""
    (tmp_path / "records.sqlite").mkdir()
    with pytest.raises(RecordError) as caught:
        Store.open(tmp_path)
    assert (
        f"{tmp_path}/records.sqlite: cannot open the records: the file cannot be opened; check"
        " that the folder exists and that you may write there"
    ) == str(caught.value)


def test_a_read_only_file_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, store: Store
) -> None:
    """SQLite says so when it opens the file without the right to write (the driver is told)."""
    begin(store)
    real = database.sqlite3.connect

    def connect(name: str, **settings: object) -> sqlite3.Connection:
        return real(name.replace("mode=rwc", "mode=ro"), **settings)  # type: ignore[call-overload,no-any-return]

    monkeypatch.setattr(database.sqlite3, "connect", connect)
    with Store.open(store.path) as read_only, pytest.raises(RecordError) as caught:
        begin(read_only)
    assert (
        f"{store.path}: cannot begin a run: the file or its folder is read-only; make both"
        " writable or choose another results folder"
    ) == str(caught.value)


def test_records_on_a_read_only_medium_can_be_read(
    tmp_path: Path, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the right to write beside the file it is read as it stands."""
    writer = begin(store)
    writer.point(small_point(0))
    store.close()
    copy = tmp_path / "medium" / "records.sqlite"
    copy.parent.mkdir()
    shutil.copyfile(store.path, copy)
    monkeypatch.setattr(database.os, "access", lambda path, mode: False)
    with Store.open_to_read(copy) as reader:
        assert len(reader.points(writer.run_id)) == 1
    assert [entry.name for entry in copy.parent.iterdir()] == ["records.sqlite"]


# Other hands ------------------------------------------------------------------------------


def test_a_database_locked_by_another_process_is_told(tmp_path: Path) -> None:
    """The lock is held from outside for longer than we wait."""
    Store.open(tmp_path).close()
    hold = (
        "import sqlite3, sys\n"
        "connection = sqlite3.connect(sys.argv[1], isolation_level=None)\n"
        "connection.execute('BEGIN IMMEDIATE')\n"
        "print('held', flush=True)\n"
        "sys.stdin.read()\n"
    )
    path = tmp_path / "records.sqlite"
    with subprocess.Popen(
        [sys.executable, "-c", hold, str(path)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == "held\n"
        with pytest.raises(RecordError) as caught:
            Store.open(tmp_path, busy_timeout_seconds=0.05)
        with Store.open_to_read(tmp_path) as reader:
            assert reader.runs() == []
        holder.communicate("")
    assert (
        f"{path}: cannot open the records: another process holds it locked; end the other"
        " process or wait for it, then try again"
    ) == str(caught.value)


@pytest.mark.parametrize("opening", [Store.open, Store.open_to_read])
def test_a_file_that_is_no_database_is_told(tmp_path: Path, opening) -> None:  # type: ignore[no-untyped-def]
    """It stays as it is."""
    path = tmp_path / "notes.sqlite"
    path.write_text("shopping: tea, coal, diesel\n" * 100, "utf-8")
    with pytest.raises(RecordError, match="the file is no SQLite database; choose another file"):
        opening(path)
    assert path.read_text("utf-8").startswith("shopping")


class BusyOnce:
    """A cursor that finds the file busy until it has been asked `busy` times."""

    def __init__(self, busy: int) -> None:
        self.busy = busy
        self.asked = 0

    def execute(self, _: str) -> None:
        self.asked += 1
        if self.asked <= self.busy:
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorcode = sqlite3.SQLITE_BUSY
            raise error


def test_switching_the_log_on_waits_for_another_process() -> None:
    """SQLite itself gives up at once here when two processes are the first."""
    cursor = BusyOnce(busy=2)
    database._use_write_ahead_log(cursor, busy_timeout_seconds=60.0)
    assert cursor.asked == 3


def test_switching_the_log_on_does_not_wait_for_ever() -> None:
    """After the time-out the complaint is passed on."""
    with pytest.raises(sqlite3.OperationalError, match="database is locked"):
        database._use_write_ahead_log(BusyOnce(busy=1000), busy_timeout_seconds=0.0)


def test_an_empty_file_is_no_records_yet_and_becomes_some(tmp_path: Path) -> None:
    """Reading records of an older schema, here of none, brings them up to date first."""
    path = tmp_path / "records.sqlite"
    path.touch()
    with Store.open_to_read(path) as reader:
        assert reader.runs() == []


def test_missing_records_are_told(tmp_path: Path) -> None:
    """Reading never makes a file."""
    path = tmp_path / "records.sqlite"
    with pytest.raises(RecordError) as caught:
        Store.open_to_read(tmp_path)
    assert (
        f"{path}: expected records, there is no such file; make a run first or name another"
        " results folder"
    ) == str(caught.value)
    assert list(tmp_path.iterdir()) == []


def test_damaged_records_are_told(tmp_path: Path) -> None:
    """A page of rubbish in the middle."""
    with Store.open(tmp_path) as store:
        writer = begin(store)
        for step in range(5):
            writer.point(full_point(step))
    path = tmp_path / "records.sqlite"
    content = bytearray(path.read_bytes())
    content[8 * 4096 :] = b"\xff" * (len(content) - 8 * 4096)
    path.write_bytes(content)
    with (
        pytest.raises(RecordError, match="the database is damaged; keep a copy of it"),
        Store.open_to_read(path) as store,
    ):
        store.points(writer.run_id)


def test_a_complaint_without_a_code_is_repeated() -> None:
    """What is not known is quoted."""
    with (
        pytest.raises(RecordError, match=r"here: cannot look: the database says 'odd'; check"),
        database.explained_errors("here", "look"),
    ):
        raise sqlite3.ProgrammingError("odd")
