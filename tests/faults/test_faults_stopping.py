"""However a run ends, its outputs are off and measured off: normally, by an error, by a signal.

Runs that get signals are processes of their own; the twin lives in this one and sees what
became of its outputs.
"""

from __future__ import annotations

import dataclasses
import json
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fault_rig import Progress, assert_measured_off, assert_safe
from twin_runs import SPEED, TwinRun, setup_of

from harness.descriptions.setup import setup_to_json
from harness.records.run_header import RunState
from harness.records.store import Store
from harness.run.rejudge import judge_kept_run
from harness.simulator.settings import TwinSettings
from harness.simulator.twin import Twin
from harness.timebase import ScaledClock

SETUP = setup_of()
CEILINGS = SETUP.bench.ceilings
SCRIPT = Path(__file__).parent / "stopped_run.py"

# A run takes a second, and a process as long to start; a busy machine gets more.
ENOUGH_SECONDS = 60.0

# Signals are sent when this output goes on at the start, or off on the way out: in the middle.
MIDDLE_CHANNEL = 5


class WatchedRun:
    """A run in another process on a twin in this one."""

    def __init__(self, records: Path) -> None:
        self.records = records
        self.clock = ScaledClock(SPEED)
        self.twin = Twin(TwinSettings(SETUP, seed=3, clock=self.clock)).start()
        self.process: subprocess.Popen[str] | None = None
        self.reached = threading.Event()

    def when_switched(self, is_on: bool, act: Callable[[], None]) -> None:
        """Have `act` called, in the twin's thread, when the middle channel is switched so."""
        plant = self.twin.core.plant
        switch = plant.switch_output

        def switched(channel: int, now_on: bool, cause: str = "command") -> None:
            switch(channel, now_on, cause)
            if (channel, now_on) == (MIDDLE_CHANNEL, is_on) and cause == "command":
                act()

        plant.switch_output = switched  # type: ignore[method-assign]

    def send(self, *numbers: signal.Signals) -> None:
        """Send signals to the run's process."""
        assert self.process is not None
        for number in numbers:
            self.process.send_signal(number)

    def start(self) -> None:
        """Start the process and give it its order."""
        self.process = subprocess.Popen(
            [sys.executable, str(SCRIPT)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            encoding="utf-8",
        )
        order = {
            "setup": setup_to_json(self.twin.attach(SETUP)),
            "clock": dataclasses.asdict(self.clock),
            "records": str(self.records),
        }
        assert self.process.stdin is not None
        self.process.stdin.write(json.dumps(order))
        self.process.stdin.close()

    def finished(self) -> tuple[int, str, TwinRun]:
        """Wait for the end; exit code, what was said, and what became of the run."""
        assert self.process is not None
        assert self.process.stdout is not None
        said = self.process.stdout.read().strip()
        code = self.process.wait(ENOUGH_SECONDS)
        with Store.open_to_read(self.records) as store:
            name = store.find_run("latest")
            run = TwinRun(
                judged=judge_kept_run(store, name),
                error=None,
                timing=None,
                events=store.events(name),
                points=len(store.points(name)),
                seen=self.twin.truth.summary(),
            )
        return code, said, run

    def close(self) -> None:
        """End what is still there."""
        if self.process is not None and self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        if self.process is not None and self.process.stdout is not None:
            self.process.stdout.close()
        self.twin.stop()


@pytest.fixture
def watched(tmp_path: Path) -> Iterator[WatchedRun]:
    run = WatchedRun(tmp_path / "records.sqlite")
    yield run
    run.close()


def assert_stopped(watched: WatchedRun, name: str) -> None:
    """Off, proved off, and the record says by what it was stopped."""
    code, said, run = watched.finished()
    assert (4, f"stopped by {name}") == (code, said)
    assert_safe(run, CEILINGS)
    assert_measured_off(run)
    assert RunState.ABORTED is run.judged.header.state
    assert f"stopped by {name}" == run.judged.header.end_reason


def at_volts(watched: WatchedRun, volts: float, act: Callable[[], None]) -> None:
    """Start, and call `act` once the stack has come to `volts`."""
    watched.start()
    pause = threading.Event()
    for _ in range(round(ENOUGH_SECONDS / 0.005)):
        if watched.twin.truth.summary().highest_total_volts > volts:
            return act()
        pause.wait(0.005)
    raise AssertionError(f"the stack never came to {volts} V")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_in_the_middle_of_a_run(number: signal.Signals, watched: WatchedRun) -> None:
    """Ctrl-C, a service manager's end, a closed terminal."""
    at_volts(watched, 35.0, lambda: watched.send(number))
    assert_stopped(watched, number.name)


def test_a_signal_while_outputs_are_being_switched_on(watched: WatchedRun) -> None:
    """Between the first output and the last."""
    watched.when_switched(True, lambda: watched.send(signal.SIGTERM))
    watched.start()
    assert_stopped(watched, "SIGTERM")


def test_more_signals_while_outputs_are_being_switched_off(watched: WatchedRun) -> None:
    """An impatient operator: the second Ctrl-C does not interrupt the proof of off."""
    watched.when_switched(False, lambda: watched.send(signal.SIGINT, signal.SIGTERM, signal.SIGHUP))
    at_volts(watched, 35.0, lambda: watched.send(signal.SIGINT))
    assert_stopped(watched, "SIGINT")


def test_the_first_signal_while_a_finished_run_is_switched_off(watched: WatchedRun) -> None:
    """It is held until outputs are measured off; all points are there."""
    watched.when_switched(False, lambda: watched.send(signal.SIGTERM))
    watched.start()
    assert_stopped(watched, "SIGTERM")


def test_a_run_that_is_left_alone_is_off_at_its_end(measure_on_twin) -> None:
    run = measure_on_twin(SETUP)
    assert run.error is None
    assert_safe(run, CEILINGS)
    assert_measured_off(run)
    assert tuple(range(1, 13)) == run.seen.outputs_ever_on


def test_a_defect_of_our_own_ends_as_safely(measure_on_twin) -> None:
    """An exception that nobody foresaw, in the middle of a check."""

    def stumble() -> None:
        raise ZeroDivisionError("a defect in a check")

    progress = Progress(act_after=2, act=stumble)
    run = measure_on_twin(SETUP, on_event=progress, expected=ZeroDivisionError)
    assert isinstance(run.error, ZeroDivisionError)
    assert_safe(run, CEILINGS)
    assert_measured_off(run)
    assert (2, RunState.ABORTED) == (run.points, run.judged.header.state)
    assert "a defect in a check" in run.judged.header.end_reason
