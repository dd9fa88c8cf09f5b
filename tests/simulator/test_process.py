"""A twin in a process of its own: starts, answers, ends with its parent's end of the pipe."""

from __future__ import annotations

import os
import socket
import subprocess
import sys

import pytest
from simulated_benches import PERFECT, fixture_setup

from harness.errors import DescriptionError, MisuseError
from harness.simulator.faults import Bleed, Faults
from harness.simulator.job import TwinJob, job_from_json, job_to_json
from harness.simulator.process import TwinProcess
from harness.simulator.summary import TwinSummary
from harness.timebase import ScaledClock


def test_it_serves_and_tells_and_ends() -> None:
    """Instruments answer at the addresses told; the summary comes; the process ends."""
    with TwinProcess(fixture_setup(), Faults(spread=PERFECT), seed=1, speed=20.0) as twin:
        _, host, port, _ = twin.setup.bench.instruments["meter"].resource.split("::")
        with socket.create_connection((host, int(port)), timeout=5) as link:
            link.sendall(b"*IDN?\n")
            assert b"generic-meter-6digit" in link.recv(200)
        assert isinstance(twin.summary(), TwinSummary)
        assert os.path.exists(twin.setup.board.serial.port)
        process = twin._process
        assert process is not None
    assert process.returncode == 0


def test_a_refused_job_says_why() -> None:
    """The twin's reason comes through as an error of the description."""
    with pytest.raises(DescriptionError, match=r"bleed\.cell: expected at most 12, got 13"):
        TwinProcess(fixture_setup(), Faults(bleed=(Bleed(cell=13),))).start()


def test_it_ends_when_its_input_closes() -> None:
    """Nobody needs to kill it: the end of its input is its end."""
    job = TwinJob(fixture_setup(), Faults(), 1, ScaledClock(1.0))
    done = subprocess.run(
        [sys.executable, "-m", "harness.simulator"],
        input=job_to_json(job) + "\n",
        capture_output=True,
        encoding="utf-8",
        timeout=30,
        check=False,
    )
    assert (0, "") == (done.returncode, done.stderr)
    assert '"resources"' in done.stdout


def test_nonsense_is_refused() -> None:
    """A line that is no job ends it with an error and without a traceback."""
    done = subprocess.run(
        [sys.executable, "-m", "harness.simulator"],
        input="nonsense\n",
        capture_output=True,
        encoding="utf-8",
        timeout=30,
        check=False,
    )
    assert (2, "") == (done.returncode, done.stderr)
    assert '"error"' in done.stdout


def test_a_job_survives_json() -> None:
    """Setup, faults, seed and clock come back the same."""
    job = TwinJob(fixture_setup(), Faults(spread=PERFECT), 5, ScaledClock(8.0, 12.5, 1.75e9))
    assert job == job_from_json(job_to_json(job))


def test_a_stopped_twin_has_no_summary() -> None:
    """It says that it is not running."""
    with pytest.raises(MisuseError, match="expected to be started"):
        TwinProcess(fixture_setup()).summary()
