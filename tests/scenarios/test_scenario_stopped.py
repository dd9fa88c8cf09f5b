"""A run that is killed or interrupted keeps every point and says where it stopped."""

from __future__ import annotations

import json
import re
import signal
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from command_line import TAPPROOF, Said, described_by, environment, tapproof

SWEEP_THEN_NOISE = """
name = "Sweep then noise"
[effort]
frames = 3
power_line_cycles = 0.2
[[check]]
kind = "cell-accuracy"
points_volts = [2.50, 2.80, 3.10, 3.40, 3.65]
directions = ["up"]
[[check]]
kind = "noise"
frames = 640
"""
STOPPED_IN = re.compile(r"^\w+ (aborted|stopped) after cell-accuracy point 5$", re.MULTILINE)

StopRun = Callable[[signal.Signals], Said]


@pytest.fixture
def stop_run(tmp_path: Path) -> StopRun:
    """Start a run and send it a signal when its second check, a long one, has begun."""
    plan = tmp_path / "plan.toml"
    plan.write_text(SWEEP_THEN_NOISE)
    words = ("rehearse", *described_by(plan=plan), "--speed", "8", "--results", str(tmp_path))

    def stop(number: signal.Signals) -> Said:
        with subprocess.Popen(
            [str(TAPPROOF), *words],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            encoding="utf-8",
            env=environment(),
        ) as run:
            assert run.stderr is not None
            told = ""
            for line in run.stderr:
                told += line
                if line.startswith("noise:"):
                    run.send_signal(number)
                    break
            # Ends only when the simulated bench has ended too: it holds the same pipe.
            out, err = run.communicate(timeout=60)
        return Said(run.returncode, out, told + err)

    return stop


def test_a_killed_run_keeps_every_point(stop_run: StopRun, tmp_path: Path) -> None:
    """SIGKILL in the second check: the five points of the first are there and can be judged."""
    assert -signal.SIGKILL == stop_run(signal.SIGKILL).code
    (run,) = json.loads(tapproof("runs", "--results", tmp_path, "--json").out)["runs"]
    assert ("stopped", 5, None) == (run["state"], run["points"], run["verdict"])
    shown = tapproof("show", "latest", "--results", tmp_path, "--json")
    told = json.loads(shown.out)
    assert (4, "aborted") == (shown.code, told["verdict"])
    assert 60 == len(told["checks"][0]["findings"])
    assert STOPPED_IN.search(tapproof("runs", "--results", tmp_path).out)


def test_an_interrupted_run_is_proved_off(stop_run: StopRun, tmp_path: Path) -> None:
    """Outputs measured off, the reason recorded, the run named with the command that shows it."""
    said = stop_run(signal.SIGINT)
    assert (4, 0) == (said.code, said.out.count("ABORTED"))
    assert re.search(r"^outputs off, measured 0\.\d+ V at most$", said.err, re.MULTILINE)
    assert "stopped by SIGINT: outputs are off, every point acquired so far is kept" in said.err
    shown = tapproof("show", "latest", "--results", tmp_path)
    assert (4, "stopped by SIGINT") == (shown.code, shown.lines[-1].split(": ")[-1])
    assert said.err.splitlines()[-1].startswith("    tapproof show ")
