"""Cell accuracy: the error of every cell channel at points over the range, up and down.

The reference of a cell is what the meter read at its pins while the board sampled; a set-point
is never one. (Acceptance check "accuracy over range": common practice, no source.)
"""

from __future__ import annotations

import numpy as np

from harness.bench.capabilities import Capability
from harness.checks.board_budget import channel_pools, mean_decay, scatter_of
from harness.checks.cell_budget import cell_budget, meter_use, reading_scatter, reference_parts
from harness.checks.check import Bench, PlannedPoint
from harness.checks.effort import cell_effort
from harness.checks.frame_correlation import Correlation, record_of_noise
from harness.checks.limits import limits_of
from harness.checks.reference import MeterOnBench, Scan, meter_of, scan_of
from harness.checks.samples import Samples, Visits, samples_of, visits_of
from harness.checks.statements import Place, error_findings
from harness.checks.usability import (
    board_override,
    implausible_reference,
    reference_override,
    unsettled_overrides,
)
from harness.checks.visiting import SETTLING_VOLTS, every_cell, visit_cells
from harness.descriptions.plan import CellAccuracySettings
from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.finding import Findings
from harness.metrology.budget import Budget
from harness.observation import FloatArray, Observations, PointRecord, Quantity, Source


class CellAccuracyCheck:
    """The `cell-accuracy` kind."""

    kind = "cell-accuracy"

    def needs(self, setup: Setup, index: int) -> frozenset[Capability]:
        """A supply and a meter at every cell."""
        return frozenset({Capability.CELL_SOURCE, Capability.METER_AT_CELL})

    def points(self, setup: Setup, index: int) -> tuple[PlannedPoint, ...]:
        """Every direction in turn; where one begins at the last one's end, not twice."""
        settings = _settings(setup, index)
        order = visiting_order(settings)
        effort = cell_effort(setup, max(settings.points_volts), len(order))
        cells = every_cell(setup, settings.cells)
        return tuple(
            PlannedPoint(
                step=step,
                label={
                    "nominal_volts": volts,
                    "direction": direction,
                    "power_line_cycles": effort.power_line_cycles,
                    SETTLING_VOLTS: setup.plan.settling.budget_volts,
                },
                cell_volts=(volts,) * setup.board.cells,
                cells=cells,
                frames=effort.frames,
                readings=effort.readings,
                power_line_cycles=effort.power_line_cycles,
            )
            for step, (volts, direction) in enumerate(order)
        )

    def acquire(self, bench: Bench, point: PlannedPoint, index: int) -> PointRecord:
        """Set all cells, measure the tested ones."""
        return visit_cells(bench, point, index)

    def judge(self, observations: Observations, setup: Setup, index: int) -> Findings:
        """One finding a run, point and tested cell."""
        cells = every_cell(setup, _settings(setup, index).cells)
        visits = visits_of(observations, index)
        quantity = Quantity.CELL_VOLTAGE
        board = samples_of(observations, visits, Source.BOARD, quantity, cells)
        reference = samples_of(observations, visits, Source.REFERENCE, quantity, cells)
        scan = scan_of(reference)
        count = len(visits) * len(cells)
        nominal = np.repeat(visits.numbers("nominal_volts"), len(cells))
        place = Place(
            check=self.kind,
            check_index=index,
            subject="cell",
            unit="V",
            run=np.repeat(visits.run, len(cells)),
            step=np.repeat(visits.step, len(cells)),
            channel=np.tile(np.array(cells, dtype=np.int64), len(visits)),
            point=_point_texts(visits, len(cells)),
            nominal=nominal,
        )
        return error_findings(
            place,
            indication=board.mean().reshape(count),
            reference=scan.mean.reshape(count),
            limit=np.full(count, limits_of(setup).cell_error_volts),
            budget=_budget(
                setup,
                visits,
                cells,
                board,
                reference,
                scan,
                record_of_noise(observations, setup, visits.runs),
            ),
            decision=setup.plan.decision,
            overrides=(
                board_override(board, cells, "channel"),
                reference_override(reference, cells, "cell"),
                implausible_reference(nominal, scan.mean.reshape(count), cells, setup),
                unsettled_overrides(visits, len(cells)),
            ),
        )


def _settings(setup: Setup, index: int) -> CellAccuracySettings:
    settings = setup.plan.check[index]
    if not isinstance(settings, CellAccuracySettings):
        raise MisuseError(f"check {index}: expected cell-accuracy, got {settings.kind}")
    return settings


def visiting_order(settings: CellAccuracySettings) -> tuple[tuple[float, str], ...]:
    """The (volts, direction) to visit: up ascending, down descending, no turning point twice."""
    order: list[tuple[float, str]] = []
    for direction in settings.directions:
        points = sorted(settings.points_volts, reverse=direction == "down")
        skip = 1 if order and order[-1][0] == points[0] else 0
        order += [(volts, direction) for volts in points[skip:]]
    return tuple(order)


def _point_texts(visits: Visits, channels: int) -> list[str]:
    """The point's name for each finding: "3.300 V up"."""
    texts = {}
    for step, label in zip(visits.step.tolist(), visits.labels, strict=True):
        if step not in texts:
            volts = label.get("nominal_volts", float("nan"))
            texts[step] = f"{float(volts):.3f} V {label.get('direction', '')}".rstrip()
    return [text for step in visits.step.tolist() for text in (texts[step],) * channels]


def _budget(
    setup: Setup,
    visits: Visits,
    cells: tuple[int, ...],
    board: Samples,
    reference: Samples,
    scan: Scan,
    record: Correlation | None,
) -> Budget:
    inputs = setup.board.cell_inputs
    pools = channel_pools(visits, len(cells))
    scatter = scatter_of(
        board,
        pools,
        inputs.resolution_volts,
        inputs.noise_volts,
        runs=np.repeat(visits.run_index, len(cells)),
        record=record,
    )
    use = meter_use(
        required_meter(setup),
        scan.mean.reshape(-1),
        np.repeat(_largest(visits, scan.mean), len(cells)),
        cycles_of(visits, setup),
    )
    parts = reference_parts(
        use,
        setup,
        cells,
        scan.count.reshape(-1).astype(np.float64),
        reading_scatter(reference, visits, scan.is_bracket),
        np.repeat(scan.drift, len(cells)),
    )
    decay = mean_decay(board, inputs.filter_time_constant_seconds)
    settling = visits.numbers(SETTLING_VOLTS, setup.plan.settling.budget_volts)
    return cell_budget(parts, scatter, decay, setup, np.repeat(settling, len(cells)))


def required_meter(setup: Setup) -> MeterOnBench:
    """The bench's meter.

    Raises
    ------
    MisuseError : the bench has none.
    """
    meter = meter_of(setup)
    if meter is None:
        raise MisuseError("bench: expected a meter to judge voltages by, got none")
    return meter


def cycles_of(visits: Visits, setup: Setup) -> float:
    """The integration time that the points were measured with; the plan's where none is kept.

    The shortest of all points when they differ, which claims the least.
    """
    kept = visits.numbers("power_line_cycles")
    known = kept[~np.isnan(kept)]
    return float(known.min()) if len(known) else setup.plan.effort.power_line_cycles


def _largest(visits: Visits, reference: FloatArray) -> FloatArray:
    """The value that chose the meter's range at each visit: the set-point, else the readings."""
    nominal = visits.numbers("nominal_volts")
    highest = np.where(np.isnan(reference), 0.0, np.abs(reference)).max(axis=1, initial=0.0)
    return np.where(np.isnan(nominal), highest, nominal)
