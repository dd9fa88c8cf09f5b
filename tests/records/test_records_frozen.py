"""Records of every released schema can still be read; each has a frozen sample here."""

from __future__ import annotations

import datetime
import math
import shutil
from pathlib import Path

import pytest
from records_samples import small_point

from harness.metrology.decision import Verdict
from harness.records.run_header import RunKind, RunState
from harness.records.schema import HEAD_REVISION
from harness.records.store import Store

FROZEN = Path(__file__).parent / "frozen"
FINISHED = "0f8fad5b-d9cb-469f-a165-70867728950e"


@pytest.fixture
def sample(tmp_path: Path) -> Path:
    return Path(shutil.copyfile(FROZEN / "0001.sqlite", tmp_path / "records.sqlite"))


def test_every_schema_has_a_sample() -> None:
    """The newest one too: a release freezes it."""
    expected = [f"{i:04}.sqlite" for i in range(1, int(HEAD_REVISION) + 1)]
    assert expected == sorted(path.name for path in FROZEN.glob("*.sqlite"))


def test_schema_0001_lists_its_runs(sample: Path) -> None:
    """One finished and judged, one stopped."""
    with Store.open_to_read(sample) as store:
        stopped, finished = store.runs()
    assert (
        stopped.short_id,
        stopped.kind,
        stopped.state,
        stopped.points,
        stopped.verdict,
    ) == ("7c9e6679", RunKind.REHEARSED, RunState.STOPPED, 1, None)
    assert (
        finished.short_id,
        finished.kind,
        finished.state,
        finished.points,
        finished.verdict,
    ) == ("0f8fad5b", RunKind.MEASURED, RunState.FINISHED, 4, Verdict.NOT_RUN)
    assert finished.last_point == "cell-accuracy point 4 (nominal_volts 2.8, direction up)"


def test_schema_0001_gives_its_observations(sample: Path) -> None:
    """Bit for bit what was kept."""
    with Store.open_to_read(sample) as store:
        kept = store.points(FINISHED)
        columns = store.observations(FINISHED)
    assert repr(tuple(small_point(step) for step in range(4))) == repr(kept)
    assert len(columns) == 24
    assert sum(map(math.isnan, columns.value)) == 4


def test_schema_0001_gives_its_header_and_setup(sample: Path) -> None:
    """The setup of then is one that today's code understands."""
    with Store.open_to_read(sample) as store:
        head, setup = store.header(FINISHED), store.setup(FINISHED)
        (retry, end) = store.events(FINISHED)
    assert (
        head.serial_number,
        head.operator,
        head.utc_offset_seconds,
        head.seed,
    ) == ("H-0007", "mw", 3600, 7)
    assert datetime.date(2026, 2, 1) == head.instruments[0].calibrated
    assert (setup.board.name, setup.board.cells, setup.plan.name) == ("Heron", 2, "arrival")
    assert (retry.data, end.kind) == ({"attempt": 1}, "finished")


def test_schema_0001_can_be_added_to(sample: Path) -> None:
    """Opening to write brings it up to date and changes nothing that was there."""
    with Store.open(sample) as store:
        assert len(store.runs()) == 2
        assert len(store.points(FINISHED)) == 4
