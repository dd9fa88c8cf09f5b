"""A whole run: kept from the first moment, off before its end is written, whatever happens."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from fake_bench import FakeBench, opened
from twin_runs import setup_of, with_checks

from harness.bench.stopping import StopRequested
from harness.descriptions.plan import CellAccuracySettings, MappingSettings
from harness.descriptions.setup import Setup
from harness.errors import BoardError, InstrumentError, SafetyError
from harness.records.run_header import RunKind, RunState
from harness.records.store import Store
from harness.records.writing import RunWriter
from harness.run.conduct import RunIdentity, conduct, points_planned
from harness.run.executor import RunTiming
from harness.run.progress import Noted, ProgressEvent

SWEEP = CellAccuracySettings(
    kind="cell-accuracy", points_volts=(2.5, 2.8, 3.1, 3.4, 3.6), directions=("up",)
)
IDENTITY = RunIdentity(serial_number="H-3", operator="J. on watch", kind=RunKind.REHEARSED, seed=4)


@pytest.fixture
def setup() -> Setup:
    """Mapping, which the ladder cannot do, and a sweep of five points."""
    return with_checks(setup_of("narrowboat-ladder"), MappingSettings(kind="mapping"), SWEEP)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store."""
    with Store.open(tmp_path / "records.sqlite") as empty:
        yield empty


Conducted = Callable[..., tuple[str, RunTiming]]


@pytest.fixture
def run(setup: Setup, store: Store) -> Conducted:
    """Conducts the plan on a fake bench."""

    def conducted(
        bench: FakeBench | None = None, announce: Callable[[str], None] = lambda name: None
    ) -> tuple[str, RunTiming]:
        a_bench = bench or FakeBench(setup)
        return conduct(
            setup,
            store,
            a_bench.clock,
            IDENTITY,
            lambda event: None,
            lambda *_: opened(a_bench),  # type: ignore[arg-type, return-value]
            announce,
        )

    return conducted


def test_a_finished_run_says_so(run: Conducted, store: Store) -> None:
    run_id, _ = run()
    (kept,) = store.runs()
    assert (run_id, RunState.FINISHED, 5) == (kept.id, kept.state, kept.points)


def test_who_measured_what_is_kept(run: Conducted, store: Store) -> None:
    header = store.header(run()[0])
    assert ("H-3", "J. on watch", RunKind.REHEARSED, 4) == (
        header.serial_number,
        header.operator,
        header.kind,
        header.seed,
    )


def test_who_answered_is_kept_for_every_instrument(run: Conducted, store: Store) -> None:
    """Also of those that answered nothing."""
    told = {i.name: i.identity for i in store.header(run()[0]).instruments}
    expected = {"meter": "invented,meter,1,2", "supply": "", "decade": "", "relays": ""}
    assert expected == told


def test_timing_and_link_are_kept(run: Conducted, store: Store) -> None:
    run_id, timing = run()
    events = {event.kind: event for event in store.events(run_id)}
    assert timing.floor_seconds == pytest.approx(events["timing"].data["floor_seconds"])
    assert {"good": 7} == events["link statistics"].data


def test_what_was_not_run_is_kept_with_its_check(run: Conducted, store: Store) -> None:
    (event,) = [e for e in store.events(run()[0]) if e.kind == "not run"]
    assert "this bench lacks individual cell set-points" == event.text
    assert {"check_index": 0} == event.data


def test_the_run_is_named_before_the_bench_is_opened(run: Conducted, setup: Setup) -> None:
    """So that a run which fails on opening can be named too."""
    bench = FakeBench(setup)
    run_id, _ = run(bench, announce=bench.calls.append)
    assert [run_id, "opened"] == bench.calls[:2]


ERRORS = [
    InstrumentError("meter: silent"),
    BoardError("board: unplugged"),
    SafetyError("supply: constant current"),
    StopRequested("SIGTERM"),
    ZeroDivisionError("a defect"),
]


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: type(error).__name__)
def test_whatever_ends_a_run_is_raised_and_kept(
    error: BaseException, run: Conducted, store: Store, setup: Setup
) -> None:
    """The third point fails: two are kept, outputs are proved off, the reason is written."""
    bench = FakeBench(setup, error=error, fails_at=2)
    with pytest.raises(type(error)) as raised:
        run(bench)
    assert raised.value is error
    (kept,) = store.runs()
    assert (RunState.ABORTED, 2) == (kept.state, kept.points)
    assert str(error) in store.header(kept.id).end_reason
    assert "proved off" in bench.calls


def test_outputs_are_off_before_the_end_is_written(
    run: Conducted, setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = FakeBench(setup, error=BoardError("board: unplugged"), fails_at=0)
    monkeypatch.setattr(RunWriter, "finish", lambda *words: bench.calls.append("end written"))
    with pytest.raises(BoardError):
        run(bench)
    assert "end written" == bench.calls[-1]
    assert "proved off" == bench.calls[-2]


def test_a_bench_that_cannot_be_opened_leaves_an_aborted_run(setup: Setup, store: Store) -> None:
    def nothing_there(*_: Any) -> Any:
        raise InstrumentError("relays: expected an instrument there, got silence")

    bench = FakeBench(setup)
    with pytest.raises(InstrumentError):
        conduct(setup, store, bench.clock, IDENTITY, lambda event: None, nothing_there)
    (kept,) = store.runs()
    assert (RunState.ABORTED, 0) == (kept.state, kept.points)


def test_what_the_bench_tells_is_kept_and_shown(setup: Setup, store: Store) -> None:
    events: list[ProgressEvent] = []
    bench = FakeBench(setup)

    def open_bench(a_setup: Setup, clock: Any, tell: Any) -> Any:
        tell("outputs on", "0 V, then outputs on", {"channels": 1})
        return opened(bench)

    run_id, _ = conduct(setup, store, bench.clock, IDENTITY, events.append, open_bench)
    assert Noted("outputs on", "0 V, then outputs on") in events
    (kept,) = [e for e in store.events(run_id) if e.kind == "outputs on"]
    assert {"channels": 1} == kept.data


def test_points_planned_are_those_that_the_bench_can_do(setup: Setup) -> None:
    assert 5 == points_planned(setup)
