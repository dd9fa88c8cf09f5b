"""A results folder that is full or read-only: outputs off, and what was kept stays kept."""

from __future__ import annotations

import resource
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fault_rig import Progress, assert_safe, assert_told
from twin_runs import TwinRun, measure_once, setup_of

from harness.errors import RecordError, RecordLostError
from harness.metrology.decision import Verdict
from harness.records.run_header import RunState
from harness.records.store import Store
from harness.simulator.twin import Twin

SETUP = setup_of()
POINTS_BEFORE = 2


@pytest.fixture(autouse=True)
def file_size_limit() -> Iterator[None]:
    """Whatever a test does to the largest file size, it is as before afterwards."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, before)


def pragma(store: Store, statement: str) -> int:
    """Carry out a pragma on the connection that writes."""
    assert store._writer is not None
    with store._writer.connect() as connection:
        result = connection.exec_driver_sql(statement)
        return int(result.scalar() or 0) if result.returns_rows else 0


def fill_up(store: Store) -> None:
    """No page more than the database has now, as on a full disk."""
    pragma(store, f"PRAGMA max_page_count={pragma(store, 'PRAGMA page_count')}")


def refuse_growth(store: Store) -> None:
    """The system refuses every byte beyond what the log has now, as an exhausted quota does."""
    log = store.path.with_name(store.path.name + "-wal")
    _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (log.stat().st_size, hard))


def make_read_only(store: Store) -> None:
    """The database takes no writing any more, as on a medium that was remounted read-only."""
    pragma(store, "PRAGMA query_only=1")


@pytest.mark.parametrize(
    ("break_it", "matter", "advice"),
    [
        (fill_up, "the disk is full", "free some space"),
        (refuse_growth, "the disk refused to read or write", "check the disk and its quota"),
        (make_read_only, "the file or its folder is read-only", "make both writable"),
    ],
    ids=["disk full", "quota exhausted", "read-only"],
)
def test_records_that_can_no_longer_be_written_end_the_run(
    break_it: Callable[[Store], None], matter: str, advice: str, measure_on_twin
) -> None:
    """Outputs are proved off although that can no longer be recorded; points stay."""
    progress = Progress(act_after=POINTS_BEFORE)

    def watch(twin: Twin, store: Store) -> None:
        progress.act = lambda: break_it(store)

    run = measure_on_twin(SETUP, on_event=progress, watch=watch)
    assert_told(run.error, RecordLostError, "records.sqlite: cannot keep", matter, advice)
    assert_safe(run, SETUP.bench.ceilings)
    assert POINTS_BEFORE == progress.points == run.points
    assert Verdict.ABORTED == run.judged.judgement.verdict()
    assert_end_is_told(run)


def assert_end_is_told(run: TwinRun) -> None:
    """By the record when one more row still went in, else by a note on the error."""
    if run.judged.header.state is RunState.ABORTED:
        assert str(run.error) == run.judged.header.end_reason
        return
    assert RunState.STOPPED == run.judged.header.state
    assert run.error is not None
    (note,) = run.error.__notes__
    assert note.startswith("the end of the run could not be recorded either: ")


def test_a_results_folder_that_cannot_be_made_is_told_before_anything_is_opened(
    tmp_path: Path,
) -> None:
    """A file stands where the folder should be."""
    (tmp_path / "results").write_text("a file", encoding="utf-8")
    with pytest.raises(RecordError, match=r"results.*check the folder, its permissions"):
        measure_once(tmp_path / "results" / "records.sqlite", SETUP)
