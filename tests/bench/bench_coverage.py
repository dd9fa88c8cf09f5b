"""Truth: are the stated 95 % intervals right 95 % of the time, and wrong accepts rare?

Every simulated bench draws its instruments' errors uniformly inside their specifications, one
draw a bench, and its board's small errors at random; the harness measures it through sockets
and a pseudo-terminal like any other. Two claims are checked, and the program fails when one
does not hold:

* coverage: |reported error - injected error| <= U in 95 +- 2 % of all channel-points;
* at the limit: of boards whose every error lies exactly on its limit, at most 2.5 % of
  channel-points are accepted (statement "pass").

Usage: python tests/bench/bench_coverage.py [--benches 400] [--speed 12] [--processes 2]
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from harness.bench.opening import open_workbench
from harness.descriptions.plan import CellAccuracySettings
from harness.descriptions.reading import read_setup
from harness.descriptions.setup import Setup
from harness.metrology.decision import Verdict
from harness.records.run_header import RunKind
from harness.records.store import Store
from harness.run.conduct import RunIdentity, conduct
from harness.run.rejudge import judge_kept_run
from harness.simulator.faults import CellFault, Faults, Spread
from harness.simulator.settings import TwinSettings
from harness.simulator.twin import Twin
from harness.timebase import ScaledClock

FIXTURES = Path(__file__).parents[2] / "fixtures"
POINTS_VOLTS = (2.5, 2.8, 3.1, 3.4, 3.65)
COVERAGE, COVERAGE_TOLERANCE = 0.95, 0.02
MOST_WRONG_ACCEPTS = 0.025


@dataclass(frozen=True)
class BenchResult:
    """Of one simulated bench: channel-points, those inside U, those accepted."""

    points: int
    covered: int
    accepted: int
    largest_ratio: float


def coverage_setup() -> Setup:
    """The narrowboat bench and board with a five-point cell-accuracy plan."""
    setup = read_setup(
        FIXTURES / "benches" / "narrowboat-series.toml",
        FIXTURES / "boards" / "heron.toml",
        FIXTURES / "plans" / "quick.toml",
    )
    check = CellAccuracySettings(
        kind="cell-accuracy", points_volts=POINTS_VOLTS, directions=("up",)
    )
    effort = dataclasses.replace(setup.plan.effort, frames=5, power_line_cycles=1.0)
    plan = dataclasses.replace(setup.plan, check=(check,), effort=effort)
    return dataclasses.replace(setup, plan=plan)


def faults_of(is_at_limit: bool, setup: Setup, seed: int) -> Faults:
    """Small random errors, or every channel exactly at its limit on either side."""
    if not is_at_limit:
        return Faults()
    limit = setup.board.limits.cell_error_volts
    signs = np.random.default_rng(seed).choice((-1.0, 1.0), setup.board.cells)
    return Faults(
        spread=Spread(offset_volts=0.0, gain=0.0),
        cell=tuple(
            CellFault(cell=cell, offset_volts=float(sign * limit))
            for cell, sign in enumerate(signs, start=1)
        ),
    )


def measure_one(seed: int, is_at_limit: bool, speed: float) -> BenchResult:
    """Measure one simulated bench and compare with its truth."""
    setup = coverage_setup()
    clock = ScaledClock(speed)
    faults = faults_of(is_at_limit, setup, seed)
    with (
        tempfile.TemporaryDirectory() as folder,
        Twin(TwinSettings(setup, faults, seed=seed, clock=clock)) as twin,
        Store.open(Path(folder) / "records.sqlite") as store,
    ):
        run_id, _ = conduct(
            twin.attach(setup),
            store,
            clock,
            RunIdentity(serial_number=f"B-{seed}", kind=RunKind.REHEARSED),
            lambda event: None,
            open_workbench,
        )
        rows = list(judge_kept_run(store, run_id).judgement.rows())
        truth = twin.truth
        by_step: dict[int, np.ndarray] = {}
        for row in rows:
            by_step.setdefault(row.step, np.zeros(setup.board.cells))[row.channel - 1] = (
                row.reference
            )
        injected = {step: truth.cell_errors(volts) for step, volts in by_step.items()}
    misses = np.array([row.error - injected[row.step][row.channel - 1] for row in rows])
    expanded = np.array([row.expanded_uncertainty for row in rows])
    return BenchResult(
        points=len(rows),
        covered=int(np.sum(np.abs(misses) <= expanded)),
        accepted=sum(row.verdict is Verdict.PASS for row in rows),
        largest_ratio=float(np.max(np.abs(misses) / expanded)),
    )


def measure_many(
    seeds: range, is_at_limit: bool, speed: float, processes: int
) -> list[BenchResult]:
    """Measure one bench for each seed."""
    with ProcessPoolExecutor(processes) as pool:
        count = len(seeds)
        return list(pool.map(measure_one, seeds, [is_at_limit] * count, [speed] * count))


def main() -> int:
    """Run both parts; returns the exit code."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--benches", type=int, default=400)
    parser.add_argument("--speed", type=float, default=12.0)
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    began = time.monotonic()
    healthy = measure_many(range(options.benches), False, options.speed, options.processes)
    points = sum(result.points for result in healthy)
    coverage = sum(result.covered for result in healthy) / points
    print(
        f"coverage: {coverage:.4f} of {points} channel-points from {len(healthy)} benches "
        f"(claim {COVERAGE} +- {COVERAGE_TOLERANCE}), largest |miss|/U "
        f"{max(result.largest_ratio for result in healthy):.2f}"
    )
    first = options.benches
    limit = measure_many(range(first, 2 * first), True, options.speed, options.processes)
    points = sum(result.points for result in limit)
    accepts = sum(result.accepted for result in limit) / points
    print(
        f"at the limit: {accepts:.4f} of {points} channel-points accepted "
        f"(claim at most {MOST_WRONG_ACCEPTS})"
    )
    print(f"took {time.monotonic() - began:.0f} s")
    holds = abs(coverage - COVERAGE) <= COVERAGE_TOLERANCE and accepts <= MOST_WRONG_ACCEPTS
    print("claims hold" if holds else "CLAIMS DO NOT HOLD")
    return 0 if holds else 1


if __name__ == "__main__":
    sys.exit(main())
