"""The budget of a cell error is honest: its 95 % intervals hold 95 % of made-up errors.

Made-up benches: the meter's error is one draw a bench inside its specification, everything
else is drawn inside its bound for every channel and point. No sockets: only judging is tested.
"""

from __future__ import annotations

import numpy as np
import pytest
from checks_builder import CELLS, board, cell_inputs, setup

from harness.checks.cell_accuracy import CellAccuracyCheck
from harness.descriptions.plan import CellAccuracySettings, NoiseSettings
from harness.observation import FloatArray, Observations, Quantity, Source

VOLTS = np.array([2.5, 2.8, 3.0, 3.3, 3.65])
RUNS = 400
STEP = 0.001
SETTLING = 0.0002
REFRESH_SECONDS, TIME_CONSTANT_SECONDS = 0.05, 0.04
# What the contacts of each cell may drop: 0.02 ohm, with the board's 10 mA at the end taps.
CONTACT_VOLTS = np.where(np.isin(np.arange(CELLS), (0, CELLS - 1)), 0.02 * 0.01, 0.0)
PLAN = CellAccuracySettings(
    kind="cell-accuracy", points_volts=tuple(VOLTS.tolist()), directions=("up",)
)


def rows(source: Source, values: FloatArray) -> dict[str, np.ndarray]:
    run, step, channel, sequence = (index.reshape(-1) for index in np.indices(values.shape))
    return {
        "run": run,
        "check": 0 * run,
        "step": step,
        "source": 0 * run + int(source),
        "quantity": 0 * run + int(Quantity.CELL_VOLTAGE),
        "channel": channel + 1,
        "sequence": sequence,
        "value": values.reshape(-1),
        # The second reading of the first cell is the bracket: after all other cells.
        "monotonic": (channel + CELLS * sequence).astype(float),
    }


def made_up(noise: float, frames: int, seed: int) -> tuple[Observations, FloatArray]:
    """Observations and the error injected in each (run, step, channel)."""
    rng = np.random.default_rng(seed)
    shape = (RUNS, len(VOLTS), CELLS, 1)
    true = VOLTS[None, :, None, None] + rng.uniform(-0.002, 0.002, shape)
    injected = true * rng.uniform(-1e-3, 1e-3, (RUNS, 1, CELLS, 1))
    tail = np.exp(-np.arange(frames) * REFRESH_SECONDS / TIME_CONSTANT_SECONDS)
    settling = rng.uniform(-SETTLING, SETTLING, shape) * tail
    frame = true + injected + settling + rng.normal(0, noise, (*shape[:3], frames))
    share = rng.uniform(-1, 1, (RUNS, 1, 1, 1))
    readings = true + share * (35e-6 * true + 5e-5) + rng.normal(0, 5e-6, (*shape[:3], 2))
    readings += CONTACT_VOLTS[:, None] * rng.uniform(-1, 1, (RUNS, 1, CELLS, 1))
    first, second = rows(Source.REFERENCE, readings[..., :1]), rows(Source.REFERENCE, readings)
    again = (second["channel"] == 1) & (second["sequence"] == 1)
    reported = rows(Source.BOARD, np.round(frame / STEP) * STEP)
    reported["monotonic"] = reported["sequence"] * REFRESH_SECONDS
    parts = [
        reported,
        first,
        {name: column[again] for name, column in second.items()},
    ]
    columns = {name: np.concatenate([p[name] for p in parts]) for name in first}
    labels = {(0, i): {"nominal_volts": v, "direction": "up"} for i, v in enumerate(VOLTS)}
    return Observations(**columns, labels=labels), injected.reshape(-1)


@pytest.mark.parametrize("noise", [0.0, 0.0001, 0.0003, 0.0005, 0.001])
@pytest.mark.parametrize("frames", [5, 12])
def test_95_of_100_intervals_hold_the_injected_error(noise, frames):
    inputs = cell_inputs(
        noise_volts=noise,
        resolution_volts=STEP,
        filter_time_constant_seconds=TIME_CONSTANT_SECONDS,
    )
    a_setup = setup(PLAN, board=board(cell_inputs=inputs), settling={"budget_volts": SETTLING})
    seen, injected = made_up(noise, frames, seed=11)
    findings = CellAccuracyCheck().judge(seen, a_setup, 0)
    covered = np.abs(findings.error - injected) <= findings.expanded_uncertainty
    assert 0.95 == pytest.approx(covered.mean(), abs=0.02)


# Boards whose firmware averages ------------------------------------------------------------

FILTERED_RUNS, FILTERED_POINTS, FILTERED_CELLS, RECORD_FRAMES = 100, 14, 12, 64
FILTERED_VOLTS = np.linspace(2.5, 3.65, FILTERED_POINTS)


def filtered(rng: np.random.Generator, shape: tuple[int, ...], rho: float) -> FloatArray:
    """Stationary first-order noise of unit variance along the last axis."""
    noise = rng.normal(size=shape)
    for i in range(1, shape[-1]):
        noise[..., i] = rho * noise[..., i - 1] + np.sqrt(1 - rho**2) * noise[..., i]
    return noise


def averaging_board(rho: float, frames: int, has_record: bool) -> tuple[Observations, FloatArray]:
    """As `made_up`, settled, with correlated frames and perhaps a noise check of 64 frames."""
    rng = np.random.default_rng(5)
    shape = (FILTERED_RUNS, FILTERED_POINTS, FILTERED_CELLS, 1)
    true = FILTERED_VOLTS[None, :, None, None] + rng.uniform(-0.002, 0.002, shape)
    injected = true * rng.uniform(-1e-3, 1e-3, (FILTERED_RUNS, 1, FILTERED_CELLS, 1))
    noise = 0.0005 * filtered(rng, (*shape[:3], frames), rho)
    board_values = np.round((true + injected + noise) / STEP) * STEP
    share = rng.uniform(-1, 1, (FILTERED_RUNS, 1, 1, 1))
    parts = [
        rows(Source.BOARD, board_values),
        rows(Source.REFERENCE, true + share * (35e-6 * true + 5e-5)),
    ]
    labels = {(0, i): {"nominal_volts": v} for i, v in enumerate(FILTERED_VOLTS.tolist())}
    if has_record:
        steady = 3.3 + rng.uniform(-0.001, 0.001, (FILTERED_RUNS, 1, FILTERED_CELLS, 1))
        long = steady + 0.0005 * filtered(rng, (*steady.shape[:3], RECORD_FRAMES), rho)
        record = rows(Source.BOARD, np.round(long / STEP) * STEP)
        parts.append({**record, "check": record["check"] + 1})
        labels[1, 0] = {"nominal_volts": 3.3}
    columns = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    return Observations(**columns, labels=labels), injected.reshape(-1)


@pytest.mark.parametrize("has_record", [False, True], ids=["alone", "with a noise check"])
@pytest.mark.parametrize("frames", [5, 12])
@pytest.mark.parametrize("rho", [0.0, 0.3, 0.6, 0.8])
def test_95_of_100_intervals_hold_the_error_of_a_board_that_averages(rho, frames, has_record):
    """Frames that repeat each other show less scatter than their mean has."""
    checks = [
        CellAccuracySettings(
            kind="cell-accuracy", points_volts=tuple(FILTERED_VOLTS.tolist()), directions=("up",)
        )
    ]
    if has_record:
        checks.append(NoiseSettings(kind="noise", frames=RECORD_FRAMES))
    inputs = cell_inputs(noise_volts=0.0005, resolution_volts=STEP)
    a_board = board(cells=FILTERED_CELLS, cell_inputs=inputs)
    a_setup = setup(*checks, board=a_board, settling={"budget_volts": 1e-6})
    seen, injected = averaging_board(rho, frames, has_record)
    findings = CellAccuracyCheck().judge(seen, a_setup, 0)
    covered = np.abs(findings.error - injected) <= findings.expanded_uncertainty
    assert 0.95 == pytest.approx(covered.mean(), abs=0.02)
