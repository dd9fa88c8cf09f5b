"""How many frames and readings a point gets, and the meter's integration time.

With a target uncertainty the plan's own figures are the least, and frames and cycles follow
from declared noise; without one they are taken as written. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.checks import cell_budget
from harness.checks.board_budget import Scatter
from harness.checks.reference import MeterOnBench, meter_of
from harness.checks.reference_budget import stated_noise
from harness.descriptions.setup import Setup
from harness.metrology.budget import Budget
from harness.metrology.planning import choose_integration, samples_needed
from harness.metrology.resolution import residual_resolution_uncertainty
from harness.observation import FloatArray

# Share of the target's standard uncertainty that the meter's own noise and resolution may
# take: a tenth costs half a percent of the whole in quadrature.
METER_SHARE = 0.1

# U = 2 u is near enough to turn a target into an allowance for the meter's integration time.
_ROUGH_COVERAGE_FACTOR = 2.0


@dataclass(frozen=True)
class Effort:
    """What to take at one point; note says why a target is out of reach, else empty."""

    frames: int
    readings: int
    power_line_cycles: float
    note: str = ""


def cell_effort(setup: Setup, highest_volts: float, points: int) -> Effort:
    """The effort for a cell-voltage point.

    Parameters
    ----------
    highest_volts : the highest cell voltage of the check; the budget is largest there.
    points : points of the check, over which the scatter of a channel will be pooled.
    """
    stated = setup.plan.effort
    plain = Effort(stated.frames, stated.readings, stated.power_line_cycles)
    target, meter = stated.target_uncertainty_volts, meter_of(setup)
    if target is None or meter is None:
        return plain
    cycles = _cycles(setup, meter, highest_volts, target)
    scatter = declared_scatter(setup)
    needed = samples_needed(
        target,
        _expected_others(setup, meter, highest_volts, cycles),
        scatter,
        degrees_of_freedom=float(max(points, 1) * (stated.frames - 1)),
        fewest=stated.frames,
        most=max(stated.most_frames, stated.frames),
        probability=setup.plan.decision.coverage_probability,
    )
    if needed.count is not None:
        return Effort(needed.count, stated.readings, cycles)
    frames = max(stated.most_frames, stated.frames)
    note = (
        f"target_uncertainty_volts: {target * 1e3:.3g} mV is out of reach; {frames} frames give "
        f"{needed.expanded_uncertainty * 1e3:.3g} mV, mostly {needed.dominant}: {needed.reduce_by}"
    )
    return Effort(frames, stated.readings, cycles, note)


def declared_scatter(setup: Setup) -> float:
    """Standard deviation of one frame of a cell channel by its declared noise and step, volts.

    sqrt(sigma^2 + q^2/12 - u_res^2), see `harness.metrology.resolution`.
    """
    inputs = setup.board.cell_inputs
    step, noise = inputs.resolution_volts, inputs.noise_volts
    left = float(residual_resolution_uncertainty(step, noise))
    return float(np.sqrt(max(noise**2 + step**2 / 12 - left**2, 0.0)))


def _cycles(setup: Setup, meter: MeterOnBench, volts: float, target: float) -> float:
    """The shortest integration time that is good enough, at least the plan's."""
    stated = setup.plan.effort.power_line_cycles
    rows = [row for row in meter.model.integration if row.power_line_cycles >= stated]
    if not rows:
        return stated
    span = cell_budget.meter_use(meter, _one(volts), _one(volts), stated).used[0].range_value
    chosen = choose_integration(
        [row.power_line_cycles for row in rows],
        [row.noise_ppm_of_range * 1e-6 * span for row in rows],
        [row.resolution_ppm_of_range * 1e-6 * span for row in rows],
        METER_SHARE * target / _ROUGH_COVERAGE_FACTOR,
    )
    return max(stated, rows[-1 if chosen is None else chosen].power_line_cycles)


def _expected_others(setup: Setup, meter: MeterOnBench, volts: float, cycles: float) -> Budget:
    """The budget to expect at `volts` without the board's repeatability."""
    cells = range(1, setup.board.cells + 1)
    readings = np.full(len(cells), volts)
    use = cell_budget.meter_use(meter, readings, readings, cycles)
    count = np.full(len(cells), float(setup.plan.effort.readings))
    change = stated_noise(use) * np.sqrt(2.0 / count)
    parts = cell_budget.reference_parts(use, setup, cells, count, None, change)
    still = np.zeros(len(cells))
    scatter = Scatter(
        deviation=still,
        freedom=still + np.inf,
        effective=still + 1.0,
        dither=still + declared_scatter(setup),
    )
    decay = still + _expected_decay(setup)
    budget_volts = setup.plan.settling.budget_volts
    return cell_budget.cell_budget(parts, scatter, decay, setup, budget_volts)


def _expected_decay(setup: Setup) -> float:
    """`board_budget.mean_decay` of the plan's fewest frames at the declared refresh period."""
    seconds = np.arange(setup.plan.effort.frames) * setup.board.refresh_seconds
    tau = setup.board.cell_inputs.filter_time_constant_seconds
    share = np.exp(-seconds / tau) if tau > 0 else np.where(seconds > 0, 0.0, 1.0)
    return float(np.mean(share))


def _one(volts: float) -> FloatArray:
    return np.array([volts], dtype=np.float64)
