"""Speed: time per board against the physical floor, and against a plain sequential script.

Both measure the same twin (its own process, clock at real time): twelve cells at seven
voltages upwards and back down, one after the other, and both results are judged by the same
budget. tapproof ramps the stack at the bench's permitted slope, which the script does not.
Claims, and the program fails when one does not hold:

* time taken is at most 1.10 of the physical floor computed from plan and descriptions, for
  the acceptance plan as a whole;
* the plain script (`peer_sequential.py`) needs at least 3 times as long, and tapproof's mean
  U is not larger than the script's;
* `tapproof demo` takes less than 30 s from call to end.

Usage: python tests/bench/bench_speed.py
"""

from __future__ import annotations

import dataclasses
import datetime
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from peer_sequential import PeerReading, measure

from harness.bench.opening import open_workbench
from harness.checks.judgement import judge_run
from harness.cli.exit_codes import ExitCode
from harness.descriptions.plan import CellAccuracySettings
from harness.descriptions.reading import read_setup
from harness.descriptions.setup import Setup
from harness.finding import Judgement
from harness.observation import Observation, PointRecord, Quantity, Source, tabulate
from harness.records.run_header import RunKind
from harness.records.store import Store
from harness.run.conduct import RunIdentity, conduct
from harness.run.executor import RunTiming
from harness.run.rejudge import judge_kept_run
from harness.simulator.process import TwinProcess

FIXTURES = Path(__file__).parents[2] / "fixtures"
POINTS_VOLTS = (2.5, 2.8, 3.0, 3.2, 3.35, 3.5, 3.65)
# The top is visited once, as by the check.
SWEEP = [(volts, "up") for volts in POINTS_VOLTS] + [
    (volts, "down") for volts in reversed(POINTS_VOLTS[:-1])
]
MOST_OF_FLOOR = 1.10
LEAST_OF_PEER = 3.0
DEMO_SECONDS = 30.0
# One more than the script averages, so that its ten meter readings a cell, against one here,
# do not give it the smaller U.
FRAMES = 11
TODAY = datetime.date(2026, 6, 1)


def fixture_setup(plan: str) -> Setup:
    """The narrowboat bench and board with a plan of the fixtures."""
    return read_setup(
        FIXTURES / "benches" / "narrowboat-series.toml",
        FIXTURES / "boards" / "heron.toml",
        FIXTURES / "plans" / f"{plan}.toml",
    )


def sweep_setup() -> Setup:
    """Seven voltages of every cell, upwards and back down."""
    setup = fixture_setup("acceptance")
    check = CellAccuracySettings(
        kind="cell-accuracy", points_volts=POINTS_VOLTS, directions=("up", "down")
    )
    effort = dataclasses.replace(setup.plan.effort, frames=FRAMES)
    plan = dataclasses.replace(setup.plan, check=(check,), effort=effort)
    return dataclasses.replace(setup, plan=plan)


def run_tapproof(setup: Setup, seed: int) -> tuple[Judgement, RunTiming]:
    """Measure a fresh twin at real time."""
    with (
        tempfile.TemporaryDirectory() as folder,
        TwinProcess(setup, seed=seed) as twin,
        Store.open(Path(folder) / "records.sqlite") as store,
    ):
        run_id, timing = conduct(
            twin.setup,
            store,
            twin.clock,
            RunIdentity(serial_number="H-0001", kind=RunKind.REHEARSED),
            lambda event: None,
            open_workbench,
        )
        return judge_kept_run(store, run_id).judgement, timing


def run_peer(setup: Setup, seed: int) -> tuple[Judgement, float]:
    """Measure the same twin by the plain script; judge its readings by the same budget."""
    with TwinProcess(setup, seed=seed) as twin:
        instruments = twin.setup.bench.instruments
        readings, taken = measure(
            instruments["supply"].resource,
            instruments["meter"].resource,
            instruments["relays"].resource,
            twin.setup.board.serial.port,
            [path[0] for path in setup.bench.paths.meter_at_cell],
            [volts for volts, _ in SWEEP],
            first_field=1,
            volts_per_count=0.001,
        )
    return judge_peer(setup, readings), taken


def judge_peer(setup: Setup, readings: list[PeerReading]) -> Judgement:
    """The script's readings as points of the same check."""
    points = []
    for step, (nominal, direction) in enumerate(SWEEP):
        seen = [
            Observation(source, Quantity.CELL_VOLTAGE, r.cell, i, value, 0.0, 0.0)
            for r in readings
            if r.visit == step
            for source, values in ((Source.BOARD, r.board), (Source.REFERENCE, r.reference))
            for i, value in enumerate(values)
        ]
        label = {"nominal_volts": nominal, "direction": direction}
        points.append(PointRecord(0, step, label, tuple(seen)))
    return judge_run(tabulate(points), setup, not_run={}, was_aborted=False, today=TODAY)


def mean_expanded(judgement: Judgement) -> float:
    """Mean U over all findings, volts."""
    return float(np.mean([f.expanded_uncertainty for f in judgement.rows()]))


def demo_seconds() -> float:
    """How long `tapproof demo` takes, start of the interpreter and report included."""
    with tempfile.TemporaryDirectory() as folder:
        began = time.monotonic()
        done = subprocess.run(
            [sys.executable, "-m", "harness.cli.main", "demo", "--results", folder],
            capture_output=True,
            check=False,
        )
        if done.returncode != ExitCode.FAIL:
            raise SystemExit(f"demo: expected exit code 1, got {done.returncode}")
        return time.monotonic() - began


def main() -> int:
    """Run all; returns the exit code."""
    demo = demo_seconds()
    print(f"demo: {demo:.1f} s (claim less than {DEMO_SECONDS:g} s)")
    _, whole = run_tapproof(fixture_setup("acceptance"), seed=1)
    print(
        f"acceptance plan: floor {whole.floor_seconds:.2f} s, taken {whole.taken_seconds:.2f} s, "
        f"ratio {whole.ratio:.3f} (claim at most {MOST_OF_FLOOR})"
    )
    setup = sweep_setup()
    ours, timing = run_tapproof(setup, seed=2)
    peers, peer_seconds = run_peer(setup, seed=2)
    times = peer_seconds / timing.taken_seconds
    our_u, peer_u = mean_expanded(ours), mean_expanded(peers)
    print(
        f"sweep: floor {timing.floor_seconds:.2f} s, taken {timing.taken_seconds:.2f} s, ratio "
        f"{timing.ratio:.3f}; plain script {peer_seconds:.2f} s, {times:.2f} times as long "
        f"(claim at least {LEAST_OF_PEER})"
    )
    print(f"mean U: tapproof {our_u * 1e3:.4f} mV, plain script {peer_u * 1e3:.4f} mV")
    holds = (
        demo < DEMO_SECONDS
        and whole.ratio <= MOST_OF_FLOOR
        and timing.ratio <= MOST_OF_FLOOR
        and times >= LEAST_OF_PEER
        and our_u <= peer_u
    )
    print("claims hold" if holds else "CLAIMS DO NOT HOLD")
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
