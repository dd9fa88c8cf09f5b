"""Outputs are off at the end, wherever a stop comes and whatever else goes wrong on the way."""

from __future__ import annotations

import contextlib
import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from types import FrameType, ModuleType
from typing import Any

import memory_bench
import pytest
from memory_bench import MemoryBench

from harness.bench import opening, stopping, workbench
from harness.bench.opening import open_workbench
from harness.bench.stopping import StopRequested
from harness.errors import InstrumentError, OutputNotOffError, RecordError
from harness.instruments import driver, supply, switch, transport
from harness.run import conduct as conducting
from harness.run.conduct import RunIdentity, conduct
from harness.run.executor import RunTiming

CUT_OFF = (
    transport,
    supply,
    switch,
    driver,
    opening,
    workbench,
    stopping,
    conducting,
    contextlib,
)
Place = tuple[str, int, str]


@pytest.fixture(autouse=True)
def handlers_given_back() -> Iterator[None]:
    """A stop amid the giving back of handlers leaves some that the next test must not have."""
    before = {number: signal.getsignal(number) for number in stopping.STOPPING_SIGNALS}
    yield
    for number, handler in before.items():
        signal.signal(number, handler)


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> MemoryBench:
    return memory_bench.memory_bench(monkeypatch)


class FakeWriter:
    """A record that takes everything."""

    run_id = "r"

    def __init__(self) -> None:
        self.ends: list[str] = []

    def event(self, kind: str, text: str, data: Mapping[str, object] | None = None) -> None:
        """Kept nowhere."""

    def instrument(self, record: object) -> None:
        """Kept nowhere."""

    def finish(self, outcome: Any, reason: str = "") -> None:
        self.ends.append(f"{outcome.value}: {reason}")


class FakeStore:
    """Begins runs that take everything."""

    def __init__(self) -> None:
        self.writer = FakeWriter()

    def begin_run(self, *args: Any, **kwargs: Any) -> FakeWriter:
        return self.writer


def short_plan(setup: Any, open_bench: Any, log: Any, report: Any) -> RunTiming:
    """In place of a whole plan: cells up, relays closed, cells up again."""
    open_bench.set_cells((0.2, 0.3))
    open_bench._route(setup.bench.paths.meter_at_cell[0])
    open_bench.set_cells((0.3, 0.4))
    open_bench.confirm_source()
    return RunTiming(1.0, 1.0)


def left_over(bench: MemoryBench) -> str:
    """What is still on or closed, in words."""
    on, closed = sorted(bench.supply.on), sorted(bench.card.closed)
    return f"outputs {on} on, relays {closed} closed" if on or closed else ""


def run_short_plan(bench: MemoryBench, trace: Callable[..., Any]) -> str:
    """Conduct the short plan; returns what is left over when its caller hears of its end.

    Looked at while the error is still held: Python would close a bench that was left open
    when it forgets the error, and that may be much later.
    """
    before = sys.gettrace()
    sys.settrace(trace)
    try:
        conduct(
            bench.setup,
            FakeStore(),
            bench.clock,
            RunIdentity("x"),
            lambda event: None,
            open_workbench,
        )
    except (StopRequested, KeyboardInterrupt):  # the latter before there is a run to be stopped
        return left_over(bench)
    finally:
        sys.settrace(before)
    return left_over(bench)


class Tracing:
    """Counts entered functions and lines of one module; may send a stop at one of them."""

    def __init__(self, module: ModuleType, stop_at: int | None = None) -> None:
        self.places: list[Place] = []
        self._file = module.__file__
        self._stop_at = stop_at
        self._count = 0

    def __call__(self, frame: FrameType, event: str, arg: object) -> Any:
        if frame.f_code.co_filename != self._file:
            return None
        if event in ("call", "line"):
            if self._stop_at is None:
                self.places.append((frame.f_code.co_qualname, frame.f_lineno, event))
            elif self._count == self._stop_at:
                sys.settrace(None)
                signal.raise_signal(signal.SIGINT)
            self._count += 1
        return self


def first_and_last(places: list[Place]) -> list[int]:
    """The numbers of the first and the last time that each place was reached."""
    first = {place: n for n, place in reversed(list(enumerate(places)))}
    last = {place: n for n, place in enumerate(places)}
    return sorted({*first.values(), *last.values()})


@pytest.mark.parametrize("module", CUT_OFF, ids=lambda module: module.__name__)
def test_a_stop_at_any_line_leaves_every_output_off(
    monkeypatch: pytest.MonkeyPatch, module: ModuleType
) -> None:
    """Python hands signals over at entries of functions and in loops: any line, to be sure."""
    monkeypatch.setattr(conducting, "run_plan", short_plan)
    whole, bench = Tracing(module), memory_bench.memory_bench(monkeypatch)
    assert "" == run_short_plan(bench, whole)
    assert (2, True) == (bench.supply.highest_on, len(whole.places) > 10)
    found = []
    for number in first_and_last(whole.places):
        over = run_short_plan(memory_bench.memory_bench(monkeypatch), Tracing(module, number))
        if over:
            found.append((*whole.places[number], over))
    assert [] == found


def failing_with(error: Exception) -> Callable[..., None]:
    def fail(*args: object) -> None:
        raise error

    return fail


def leave_with(bench: MemoryBench, report: Callable[..., None]) -> None:
    """Open, energise, close relays, and leave with a fault of an instrument."""
    with open_workbench(bench.setup, bench.clock, report) as opened:
        opened.set_cells((0.2, 0.3))
        opened._route(bench.setup.bench.paths.meter_at_cell[0])
        assert bench.card.closed
        raise InstrumentError("meter: silent")


def report_but_on_leaving(error: Exception) -> Callable[..., None]:
    """A face or record that fails once the bench is being left."""

    def report(kind: str, text: str, data: Mapping[str, object]) -> None:
        if kind != "outputs on":
            raise error

    return report


TROUBLES = [BrokenPipeError("screen gone"), OSError(5, "terminal gone"), RecordError("disk full")]


@pytest.mark.parametrize("trouble", TROUBLES, ids=repr)
def test_telling_that_an_output_is_not_off_may_fail_and_hides_nothing(
    bench: MemoryBench, trouble: Exception
) -> None:
    bench.supply.is_stuck = True
    with pytest.raises(OutputNotOffError, match="switch off by hand") as caught:
        leave_with(bench, report_but_on_leaving(trouble))
    assert [f"'output not off' could not be told everywhere: {trouble}"] == caught.value.__notes__
    assert "meter: silent" == str(caught.value.__context__)


@pytest.mark.parametrize("trouble", TROUBLES, ids=repr)
def test_telling_that_outputs_are_off_may_fail_and_hides_nothing(
    bench: MemoryBench, trouble: Exception
) -> None:
    with pytest.raises(InstrumentError, match="meter: silent"):
        leave_with(bench, report_but_on_leaving(trouble))
    assert (set(), set()) == (bench.supply.on, bench.card.closed)


def test_relays_open_under_an_output_that_stays_up(bench: MemoryBench) -> None:
    bench.supply.is_stuck = True
    with pytest.raises(OutputNotOffError):
        leave_with(bench, lambda *event: None)
    assert set() == bench.card.closed


@pytest.mark.parametrize("error", [ZeroDivisionError("x"), InstrumentError("x"), MemoryError("x")])
def test_what_is_no_proof_of_off_means_by_hand(
    bench: MemoryBench, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    monkeypatch.setattr(supply.Supply, "safe_off", failing_with(error))
    with pytest.raises(OutputNotOffError) as caught:
        leave_with(bench, lambda *event: None)
    resource = bench.setup.bench.instruments["supply"].resource
    assert str(caught.value) == (
        f"supply ({resource}): expected every output switched off and measured off, got "
        f"{type(error).__name__}: x; switch off by hand, and measure before touching anything"
    )
    assert set() == bench.card.closed


def test_a_fault_between_the_first_and_the_last_output_leaves_none_on(
    bench: MemoryBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    switch_on = supply.Supply.output_on

    def fail_at_second(self: supply.Supply, channel: int) -> None:
        switch_on(self, channel)
        if channel == 2:
            raise InstrumentError("second channel")

    monkeypatch.setattr(supply.Supply, "output_on", fail_at_second)
    with pytest.raises(InstrumentError, match="second channel"):
        leave_with(bench, lambda *event: None)
    assert (2, set()) == (bench.supply.highest_on, bench.supply.on)


def test_a_port_that_cannot_be_opened_leaves_nothing_on(
    bench: MemoryBench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(opening, "BoardLink", failing_with(OSError("no port")))
    with pytest.raises(OSError, match="no port"):
        leave_with(bench, lambda *event: None)
    assert (0, set()) == (bench.supply.highest_on, bench.card.closed)
