"""What a plan asks of a bench, before any output goes on: volts, amperes, watts, joules, time.

Pure: computed from the setup and the points that the plan will visit. `tapproof rehearse`
prints it and then runs the plan on the bench's own twin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from harness.bench.source import channel_targets
from harness.checks.check import PlannedPoint
from harness.checks.effort import cell_effort
from harness.descriptions.instrument import SupplyModel
from harness.descriptions.plan import CellAccuracySettings
from harness.descriptions.setup import Setup
from harness.run.floor import floor_seconds, run_floor

# The acceptance plan took 1.04 to 1.06 of its floor at real time on two cores.
EXPECTED_RATIO = 1.06


@dataclass(frozen=True)
class Demands:
    """The largest figures of a plan on a bench.

    cell_volts, stack_volts : highest set-points.
    expected_amperes : what the board and a ladder draw; limit_amperes : the current limit
        that will be programmed, per channel.
    power_watts : stack voltage times the current limit, the most that can be delivered.
    stored_joules : in the supply's output capacitors at the highest set-points,
        sum of C V^2 / 2 (textbook); outside the reach of any current limit.
    floor_seconds : the physical floor of the run; expected_seconds : what it will take.
    effort_notes : why a `target_uncertainty_volts` of the plan is out of reach, if it is.
    """

    cell_volts: float
    stack_volts: float
    expected_amperes: float
    limit_amperes: float
    power_watts: float
    stored_joules: float
    points: int
    floor_seconds: float
    expected_seconds: float
    effort_notes: tuple[str, ...]


def demands(setup: Setup, points: Sequence[PlannedPoint]) -> Demands:
    """The demands of visiting `points`; all zero when there is none."""
    stacks = [sum(point.cell_volts) for point in points] or [0.0]
    highest = max(stacks)
    limit = setup.bench.ceilings.channel_amperes
    floor = floor_seconds(run_floor(setup, points))
    return Demands(
        cell_volts=max((max(point.cell_volts) for point in points), default=0.0),
        stack_volts=highest,
        expected_amperes=_expected_amperes(setup, highest),
        limit_amperes=limit,
        power_watts=highest * limit,
        stored_joules=max((_stored_joules(setup, point) for point in points), default=0.0),
        points=len(points),
        floor_seconds=floor,
        expected_seconds=floor * EXPECTED_RATIO,
        effort_notes=_effort_notes(setup),
    )


def _effort_notes(setup: Setup) -> tuple[str, ...]:
    """What `harness.checks.effort` has to say of each cell-accuracy check's target."""
    notes = []
    for settings in setup.plan.check:
        if isinstance(settings, CellAccuracySettings):
            points = len(settings.points_volts) * len(settings.directions)
            notes.append(cell_effort(setup, max(settings.points_volts), points).note)
    return tuple(note for note in dict.fromkeys(notes) if note)


def _expected_amperes(setup: Setup, stack_volts: float) -> float:
    """Board supply current, and a ladder's own chain current at the highest stack voltage."""
    wiring = setup.bench.wiring
    chain = 0.0
    if wiring.topology == "ladder" and wiring.rung_ohms is not None:
        chain = stack_volts / (wiring.cells * wiring.rung_ohms)
    return chain + setup.board.cell_inputs.supply_amperes


def _stored_joules(setup: Setup, point: PlannedPoint) -> float:
    model = setup.models[setup.bench.wiring.supply]
    if not isinstance(model, SupplyModel):
        return 0.0
    targets = channel_targets(setup.bench.wiring, point.cell_volts)
    return sum(0.5 * model.output_farads * volts**2 for volts in targets.values())
