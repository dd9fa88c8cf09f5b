"""Speed of judging: 1,000 boards x 12 channels x 7 points with their raw samples, in one call.

    python tests/bench/bench_judge.py

prints the median time of several calls, and exits with 1 when it is 2 s or more. Making the
observations is not timed; building the findings (verdicts, reasons, point names) is.
"""

from __future__ import annotations

import dataclasses
import statistics
import sys
import time
from pathlib import Path

import numpy as np

from harness.checks.judgement import judge_many, verdict_by_run
from harness.descriptions.plan import CellAccuracySettings, PlanDescription
from harness.descriptions.reading import read_setup
from harness.descriptions.setup import Setup
from harness.observation import Observations, Quantity, Source

BOARDS, CHANNELS, FRAMES = 1000, 12, 10
POINTS_VOLTS = (2.50, 2.80, 3.00, 3.20, 3.35, 3.50, 3.65)
LIMIT_SECONDS = 2.0
REPEATS = 5
FIXTURES = Path(__file__).parent.parent.parent / "fixtures"


def narrowboat() -> Setup:
    """The fixtures' series bench and board with a plan of seven points upwards."""
    read = read_setup(
        FIXTURES / "benches" / "narrowboat-series.toml",
        FIXTURES / "boards" / "heron.toml",
        FIXTURES / "plans" / "acceptance.toml",
    )
    check = CellAccuracySettings(
        kind="cell-accuracy", points_volts=POINTS_VOLTS, directions=("up",)
    )
    return dataclasses.replace(read, plan=PlanDescription(name="seven points", check=(check,)))


def observations(boards: int = BOARDS, seed: int = 1) -> Observations:
    """Raw samples as a run leaves them: frames of every channel, readings of every cell.

    The first cell is read again at the end of each scan.
    """
    generator = np.random.default_rng(seed)
    points = len(POINTS_VOLTS)
    error = generator.normal(0.0, 0.001, (boards, 1, CHANNELS, 1))
    true = np.array(POINTS_VOLTS)[None, :, None, None] + generator.normal(
        0, 2e-4, (boards, points, CHANNELS, 1)
    )
    noisy = true + error + generator.normal(0, 5e-4, (boards, points, CHANNELS, FRAMES))
    board = np.round(noisy, 3)
    meter = true + generator.normal(0, 5e-6, (boards, points, CHANNELS, 2))
    parts = [
        _rows(Source.BOARD, board, np.arange(FRAMES) * 0.05),
        _rows(Source.REFERENCE, meter[..., :1], np.zeros(1)),
        _rows(Source.REFERENCE, meter[:, :, :1, 1:], np.ones(1), first_sequence=1),
    ]
    columns = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    labels = {
        (0, step): {"nominal_volts": volts, "direction": "up", "power_line_cycles": 1.0}
        for step, volts in enumerate(POINTS_VOLTS)
    }
    return Observations(**columns, labels=labels)


def _rows(
    source: Source, values: np.ndarray, seconds: np.ndarray, first_sequence: int = 0
) -> dict[str, np.ndarray]:
    """Columns for values of shape (boards, points, channels, samples)."""
    run, step, channel, sequence = (index.reshape(-1) for index in np.indices(values.shape))
    return {
        "run": run,
        "check": np.zeros(values.size, dtype=np.int64),
        "step": step,
        "source": np.full(values.size, int(source)),
        "quantity": np.full(values.size, int(Quantity.CELL_VOLTAGE)),
        "channel": channel + 1,
        "sequence": sequence + first_sequence,
        "value": values.reshape(-1),
        "monotonic": seconds[sequence] + 0.01 * channel,
    }


def main() -> int:
    """Time the judging and print the figures."""
    setup, rows = narrowboat(), observations()
    taken = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        judged = judge_many(rows, setup)
        verdicts = verdict_by_run(rows, setup, judged)
        taken.append(time.perf_counter() - began)
    median = statistics.median(taken)
    print(f"{len(rows)} observations -> {len(judged[0])} findings of {len(verdicts)} boards")
    print(f"judged in {median:.2f} s (median of {REPEATS}, {min(taken):.2f} to {max(taken):.2f} s)")
    print(f"limit {LIMIT_SECONDS:g} s: {'inside' if median < LIMIT_SECONDS else 'NOT inside'}")
    return 0 if median < LIMIT_SECONDS else 1


if __name__ == "__main__":
    sys.exit(main())
