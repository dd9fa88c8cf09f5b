"""A second run on a bench that is in use: it is told by whom, and disturbs nothing."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest
from fault_rig import Progress, assert_safe, assert_told
from twin_runs import TwinRun, setup_of

from harness.bench.opening import open_workbench
from harness.descriptions.setup import Setup, setup_to_json
from harness.instruments.faults import BenchBusy
from harness.metrology.decision import Verdict
from harness.timebase import RealClock

SETUP = setup_of()

SECOND_RUN = """
import sys
from harness.bench.opening import open_workbench
from harness.descriptions.setup import setup_from_json
from harness.instruments.faults import BenchBusy
from harness.timebase import RealClock

setup = setup_from_json(sys.stdin.read())
try:
    with open_workbench(setup, RealClock(), lambda kind, text, data: None):
        print("opened")
except BenchBusy as busy:
    print(busy)
"""


def run_with_a_second(measure_on_twin, second) -> TwinRun:
    """Measure, and in the middle of it call `second` with the same setup."""
    attached: list[Setup] = []

    def remember(setup: Setup) -> Setup:
        attached.append(setup)
        return setup

    progress = Progress(act_after=2, act=lambda: second(attached[0]))
    return measure_on_twin(SETUP, on_event=progress, rewire=remember)


def assert_undisturbed(run: TwinRun) -> None:
    assert run.error is None
    assert Verdict.PASS == run.judged.judgement.verdict()
    assert_safe(run, SETUP.bench.ceilings)


def test_a_second_run_in_this_process_is_refused(measure_on_twin) -> None:
    said: list[BaseException] = []

    def second(setup: Setup) -> None:
        with (
            pytest.raises(BenchBusy) as caught,
            open_workbench(setup, RealClock(), lambda kind, text, data: None),
        ):
            pass
        said.append(caught.value)

    assert_undisturbed(run_with_a_second(measure_on_twin, second))
    assert_told(
        said[0],
        BenchBusy,
        "expected to have it alone",
        f"got it held by process {os.getpid()} since 20",
        "wait until that run has ended, or end it",
    )


def test_a_second_run_of_another_process_is_refused(measure_on_twin) -> None:
    """It names the resource and the process that holds it."""
    said: list[str] = []

    def second(setup: Setup) -> None:
        done = subprocess.run(
            [sys.executable, "-c", SECOND_RUN],
            input=setup_to_json(setup),
            capture_output=True,
            encoding="utf-8",
            check=True,
        )
        said.append(done.stdout)

    assert_undisturbed(run_with_a_second(measure_on_twin, second))
    assert ": expected to have it alone, got it held by process" in said[0]
    assert f"process {os.getpid()} since" in said[0]
    resource = said[0].split(": expected")[0]
    assert resource.startswith(("TCPIP::127.0.0.1::", "/dev/"))


def test_the_bench_is_free_again_after_a_run_that_failed(measure_on_twin) -> None:
    """Locks end with the run, however it ends."""
    first = measure_on_twin(SETUP, speed=8.0, on_event=Progress(act_after=1, act=_give_up))
    assert isinstance(first.error, GivenUp)
    assert_undisturbed(measure_on_twin(SETUP))


class GivenUp(BenchBusy):
    """Any error of the harness's own."""


def _give_up() -> None:
    raise GivenUp("somebody gave up")
