"""The physical floor of a run: the time no harness can go below on this bench and board.

Per point: the supply's ramp at its permitted slope, the settling that the declared time
constants need to reach the plan's budget, every relay operation, and the longer of all meter
apertures and all board refresh periods that the plan demands. Everything is computed from
the setup, so that the ratio of the time taken to the floor says what the harness itself costs.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harness.bench.source import channel_targets
from harness.checks.check import PlannedPoint
from harness.descriptions.instrument import DecadeModel, SwitchModel
from harness.descriptions.setup import Setup
from harness.metrology.settling import settled_after_ramp_seconds, time_to_settle_seconds


@dataclass(frozen=True)
class PointFloor:
    """The parts of one point's floor, seconds each."""

    ramp: float
    settling: float
    relays: float
    measuring: float

    @property
    def seconds(self) -> float:
        """Their sum."""
        return self.ramp + self.settling + self.relays + self.measuring


def run_floor(setup: Setup, points: Iterable[PlannedPoint]) -> tuple[PointFloor, ...]:
    """The floor of each point, visited in this order from 0 V with every relay open.

    Parameters
    ----------
    points : the points of all checks that this bench can run, in visiting order.
    """
    before: tuple[float, ...] = (0.0,) * setup.bench.wiring.cells
    temperature_before: tuple[int | None, float] = (None, math.inf)
    floors = []
    for point in points:
        cells = _cells_floor(setup, before, point)
        floors.append(_with_thermistor(setup, point, cells, temperature_before))
        before = point.cell_volts
        temperature_before = (point.thermistor, _ohms_of(point))
    return tuple(floors)


def floor_seconds(floors: Sequence[PointFloor]) -> float:
    """The floor of the whole run."""
    return sum(floor.seconds for floor in floors)


def _cells_floor(setup: Setup, before: Sequence[float], point: PlannedPoint) -> PointFloor:
    wiring, plan, inputs = setup.bench.wiring, setup.plan, setup.board.cell_inputs
    start, end = channel_targets(wiring, before), channel_targets(wiring, point.cell_volts)
    total = sum(abs(end[channel] - start[channel]) for channel in end)
    ramp = total / setup.bench.ceilings.ramp_volts_per_second
    step = max(abs(b - a) for a, b in zip(before, point.cell_volts, strict=True))
    tau = inputs.filter_time_constant_seconds
    settling = float(settled_after_ramp_seconds(step, ramp, tau, plan.settling.budget_volts))
    if step > 0:
        settling += wiring.settling_seconds
    paths = _paths_visited(point)
    aperture = paths * point.readings * point.power_line_cycles / setup.bench.line_frequency_hertz
    frames = 0 if point.thermistor is not None else point.frames
    return PointFloor(
        ramp=ramp,
        settling=settling,
        relays=paths * _relay_seconds(setup),
        measuring=max(aperture, frames * setup.board.refresh_seconds),
    )


def _paths_visited(point: PlannedPoint) -> int:
    """Meter paths of a point: its cells, the bracket on the first, the stack."""
    bracket = 1 if len(point.cells) > 1 else 0
    return len(point.cells) + bracket + (1 if point.with_stack else 0)


def _with_thermistor(
    setup: Setup, point: PlannedPoint, cells: PointFloor, before: tuple[int | None, float]
) -> PointFloor:
    """The point's floor with what injecting a resistance adds."""
    if point.thermistor is None:
        return cells
    ohms = _ohms_of(point)
    channel = setup.board.thermistors[point.thermistor - 1]
    budget = setup.plan.settling.budget_celsius
    curve = setup.curves[point.thermistor - 1]
    span = curve.highest_celsius - curve.lowest_celsius
    settling = float(time_to_settle_seconds(span, channel.filter_time_constant_seconds, budget))
    if before != (point.thermistor, ohms) and math.isfinite(ohms):
        settling += _decade_seconds(setup)
    has_meter_path = setup.bench.paths.meter_at_decade is not None and math.isfinite(ohms)
    relays = _relay_seconds(setup) * (2 if has_meter_path else 1)
    aperture = point.readings * point.power_line_cycles / setup.bench.line_frequency_hertz
    frames = point.frames * setup.board.refresh_seconds
    return PointFloor(
        ramp=cells.ramp,
        settling=max(cells.settling, settling),
        relays=cells.relays + relays,
        measuring=cells.measuring + max(frames, aperture if has_meter_path else 0.0),
    )


def _ohms_of(point: PlannedPoint) -> float:
    if point.thermistor is None:
        return math.inf
    return (point.thermistor_ohms or {}).get(point.thermistor, math.inf)


def _relay_seconds(setup: Setup) -> float:
    """One break-before-make move: the slowest card's release and operate times."""
    cards = [model for model in setup.models.values() if isinstance(model, SwitchModel)]
    return max((card.release_seconds + card.operate_seconds for card in cards), default=0.0)


def _decade_seconds(setup: Setup) -> float:
    decades = [model for model in setup.models.values() if isinstance(model, DecadeModel)]
    return max((decade.settling_seconds for decade in decades), default=0.0)
