"""Mapping and liveness: each channel reads its own cell, and only its own.

Step 0 gives every cell a value of its own. Then each cell is moved in turn, and only its
channel may follow. What a channel follows is told from board values and the moved cell's
reference; how accurately it follows is the business of `cell_accuracy`.
(Acceptance check "mapping and liveness": common practice, no source.)
"""

from __future__ import annotations

import numpy as np

from harness.bench.capabilities import Capability
from harness.checks.check import Bench, PlannedPoint
from harness.checks.mapping_evidence import gather_evidence, tolerance_of
from harness.checks.mapping_story import mapping_statements
from harness.checks.statements import Place, fact_findings
from harness.checks.visiting import every_cell, visit_cells
from harness.descriptions.plan import MappingSettings
from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.finding import Findings, no_numbers
from harness.observation import Observations, PointRecord

# Three frames a point: enough for a mean whose scatter is known; moves are hundreds of codes.
FRAMES = 3


class MappingCheck:
    """The `mapping` kind."""

    kind = "mapping"

    def needs(self, setup: Setup, index: int) -> frozenset[Capability]:
        """A supply, individual cells and a meter at every cell."""
        return frozenset(
            {Capability.CELL_SOURCE, Capability.INDIVIDUAL_CELLS, Capability.METER_AT_CELL}
        )

    def points(self, setup: Setup, index: int) -> tuple[PlannedPoint, ...]:
        """Step 0 with the base pattern, then one step a tested cell."""
        settings = _settings(setup, index)
        tested = every_cell(setup, settings.cells)
        base = base_pattern(setup, settings)
        cycles = setup.plan.effort.power_line_cycles
        first = PlannedPoint(
            step=0,
            label={"moved_cell": 0, "power_line_cycles": cycles},
            cell_volts=base,
            cells=every_cell(setup, None),
            frames=FRAMES,
            power_line_cycles=cycles,
        )
        moves = [
            self._move(setup, settings, step, cell, base) for step, cell in enumerate(tested, 1)
        ]
        return (first, *moves)

    def _move(
        self,
        setup: Setup,
        settings: MappingSettings,
        step: int,
        cell: int,
        base: tuple[float, ...],
    ) -> PlannedPoint:
        volts = moved_pattern(setup, settings, base, cell)
        return PlannedPoint(
            step=step,
            label={
                "moved_cell": cell,
                "nominal_volts": round(volts[cell - 1], 6),
                "power_line_cycles": setup.plan.effort.power_line_cycles,
            },
            cell_volts=volts,
            cells=(cell,),
            with_bracket=False,
            frames=FRAMES,
            power_line_cycles=setup.plan.effort.power_line_cycles,
        )

    def acquire(self, bench: Bench, point: PlannedPoint, index: int) -> PointRecord:
        """Set the pattern and measure: all references at step 0, then the moved cell's."""
        return visit_cells(bench, point, index)

    def judge(self, observations: Observations, setup: Setup, index: int) -> Findings:
        """One finding a run and tested cell: its channel follows it and nothing else."""
        tested = every_cell(setup, _settings(setup, index).cells)
        evidence = gather_evidence(observations, setup, index, tested)
        count = len(evidence.runs) * len(tested)
        own = np.array(tested, dtype=np.int64) - 1
        verdicts, reasons = mapping_statements(evidence, setup, tested)
        own_response = evidence.response[:, np.arange(len(tested)), own]
        tolerance = tolerance_of(evidence)[:, np.arange(len(tested)), own]
        place = Place(
            check=self.kind,
            check_index=index,
            subject="cell",
            unit="V",
            run=np.repeat(evidence.runs, len(tested)),
            step=evidence.step.reshape(count),
            channel=np.tile(np.array(tested, dtype=np.int64), len(evidence.runs)),
            point=tuple(f"cell {cell} moved" for cell in tested) * len(evidence.runs),
            nominal=no_numbers(count),
        )
        return fact_findings(
            place,
            indication=own_response.reshape(count),
            reference=evidence.moved.reshape(count),
            limit=tolerance.reshape(count),
            verdict=verdicts,
            reason=reasons,
        )


def _settings(setup: Setup, index: int) -> MappingSettings:
    settings = setup.plan.check[index]
    if not isinstance(settings, MappingSettings):
        raise MisuseError(f"check {index}: expected mapping, got {settings.kind}")
    return settings


def base_pattern(setup: Setup, settings: MappingSettings) -> tuple[float, ...]:
    """Step 0's cell voltages: equal spacing about the base, inside the board's range.

    On a ladder, whose cells can only be equal until one rung is shunted, all are at the base.
    """
    cells = setup.board.cells
    if setup.bench.wiring.topology == "ladder":
        return (settings.base_volts,) * cells
    lowest, highest = _range_volts(setup)
    half = (cells - 1) / 2
    room = min(settings.base_volts - lowest, highest - settings.base_volts)
    spacing = min(settings.spacing_volts, max(room, 0.0) / half) if half else 0.0
    return tuple(settings.base_volts + spacing * (k - half) for k in range(cells))


def moved_pattern(
    setup: Setup, settings: MappingSettings, base: tuple[float, ...], cell: int
) -> tuple[float, ...]:
    """`base` with `cell` moved up, or down where up would leave the board's range.

    On a ladder the rung of `cell` is shunted while the total stays: a rung of rho R among
    N - 1 of R takes V rho / (N - 1 + rho), the others V / (N - 1 + rho) (voltage divider).
    """
    wiring = setup.bench.wiring
    if wiring.topology == "ladder" and wiring.rung_shunt_ratio is not None:
        rho = wiring.rung_shunt_ratio / (1 + wiring.rung_shunt_ratio)
        share = sum(base) / (len(base) - 1 + rho)
        return tuple(share * (rho if k == cell else 1.0) for k in range(1, len(base) + 1))
    _, highest = _range_volts(setup)
    here = base[cell - 1]
    up = here + settings.move_volts
    target = up if up <= highest else here - settings.move_volts
    return tuple(target if k == cell else v for k, v in enumerate(base, 1))


def _range_volts(setup: Setup) -> tuple[float, float]:
    inputs = setup.board.cell_inputs
    return inputs.lowest_volts, min(inputs.highest_volts, setup.bench.ceilings.cell_volts)
