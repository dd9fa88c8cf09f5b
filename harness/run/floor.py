"""The physical floor of a run: the time no harness can go below on this bench and board.

Per point: the supply's ramp at its permitted slope, the settling that the declared time
constants need to reach the plan's budget, the operate time of each relay path, and the longer
of all meter apertures and all board refresh periods that the plan demands. Nothing that a
harness may overlap or choose is in it: no release of relays, no margin, no message. Everything
is computed from the setup, so that the ratio of the time taken to the floor says what the
harness itself costs.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from harness.bench.readiness import temperature_step
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
    cells_before: tuple[float, ...] = (0.0,) * setup.bench.wiring.cells
    point_before: PlannedPoint | None = None
    floors = []
    for point in points:
        floor = _cells_floor(setup, cells_before, point)
        if point.thermistor is not None:
            add = _fault_floor if point.watch_seconds else _resistance_floor
            floor = add(setup, point, floor, point_before)
        floors.append(floor)
        cells_before, point_before = point.cell_volts, point
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
    paths = len(point.cells) + (1 if point.with_stack else 0)
    again = 1 if point.with_bracket and paths else 0
    frames = 0 if point.thermistor is not None else point.frames
    return PointFloor(
        ramp=ramp,
        settling=settling,
        # Of a single path the relays stay closed until it is read again.
        relays=(paths + (again if paths > 1 else 0)) * _operate_seconds(setup),
        measuring=max(
            (paths + again) * _aperture_seconds(setup, point),
            frames * setup.board.refresh_seconds,
        ),
    )


def _aperture_seconds(setup: Setup, point: PlannedPoint) -> float:
    """The apertures of one path's readings."""
    return point.readings * point.power_line_cycles / setup.bench.line_frequency_hertz


def _resistance_floor(
    setup: Setup, point: PlannedPoint, cells: PointFloor, before: PlannedPoint | None
) -> PointFloor:
    """The point's floor with what injecting and measuring a resistance adds."""
    thermistor, ohms = point.thermistor or 0, _ohms_of(point)
    channel = setup.board.thermistors[thermistor - 1]
    is_metered = setup.bench.paths.meter_at_decade is not None and math.isfinite(ohms)
    # To measure the decade it is taken off the board, whose input is open until it returns.
    stood = math.inf
    if before is not None and before.thermistor == thermistor and not is_metered:
        stood = _ohms_of(before)
    step = temperature_step(setup.curves[thermistor - 1], stood, ohms)
    settling = float(
        time_to_settle_seconds(
            step, channel.filter_time_constant_seconds, setup.plan.settling.budget_celsius
        )
    )
    if math.isfinite(ohms) and (before is None or _ohms_of(before) != ohms):
        settling += _decade_seconds(setup)
    frames = point.frames * setup.board.refresh_seconds
    aperture = _aperture_seconds(setup, point) if is_metered else 0.0
    return PointFloor(
        ramp=cells.ramp,
        settling=max(cells.settling, settling),
        relays=cells.relays + (2 if is_metered else 1) * _operate_seconds(setup),
        measuring=cells.measuring + max(frames, aperture),
    )


def _fault_floor(
    setup: Setup, point: PlannedPoint, cells: PointFloor, before: PlannedPoint | None
) -> PointFloor:
    """The point's floor with a sane resistance, then the fault, each told by its frames.

    What is watched is what the board tells, not a value that settles: no filter is waited for.
    """
    moves = 2 if math.isfinite(_ohms_of(point)) else 1
    return PointFloor(
        ramp=cells.ramp,
        settling=max(cells.settling, moves * _decade_seconds(setup)),
        relays=cells.relays + 2 * _operate_seconds(setup),
        measuring=cells.measuring + 2 * point.frames * setup.board.refresh_seconds,
    )


def _ohms_of(point: PlannedPoint) -> float:
    if point.thermistor is None:
        return math.inf
    return (point.thermistor_ohms or {}).get(point.thermistor, math.inf)


def _operate_seconds(setup: Setup) -> float:
    """One path closed: the slowest card's operate time."""
    cards = [model for model in setup.models.values() if isinstance(model, SwitchModel)]
    return max((card.operate_seconds for card in cards), default=0.0)


def _decade_seconds(setup: Setup) -> float:
    decades = [model for model in setup.models.values() if isinstance(model, DecadeModel)]
    return max((decade.settling_seconds for decade in decades), default=0.0)
