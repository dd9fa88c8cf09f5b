"""The whole budget of cell errors, for judging and for planning alike.

It knows neither points nor limits: readings, counts and scatter come in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from harness.checks import board_budget, reference_budget
from harness.checks.board_budget import Scatter
from harness.checks.reference import MeterOnBench
from harness.checks.reference_budget import MeterUse
from harness.checks.samples import BoolArray, Samples, Visits
from harness.descriptions.setup import Setup
from harness.metrology.budget import Budget, Contribution
from harness.metrology.repeatability import group_statistics, pool
from harness.observation import FloatArray


@dataclass(frozen=True)
class ReadingScatter:
    """Type A scatter of one meter reading, shape (n,); NaN where readings were not repeated."""

    deviation: FloatArray
    freedom: FloatArray


def cell_paths(setup: Setup, cells: Sequence[int]) -> tuple[tuple[str, ...], ...]:
    """Relays of the meter's path to each of `cells`; empty where the bench declares none."""
    paths = setup.bench.paths.meter_at_cell
    return tuple(paths[cell - 1] if cell <= len(paths) else () for cell in cells)


def reading_scatter(
    reference: Samples, visits: Visits, is_bracket: BoolArray | None = None
) -> ReadingScatter:
    """Pool the scatter of repeated meter readings over a run, the bracket left out.

    Where the first cell only was read twice, at both ends of the scan, that is drift and not
    scatter, and everything is NaN.

    Parameters
    ----------
    reference : shape (p, c, m). is_bracket : same shape, None when nothing was read again.
    """
    shape = reference.values.shape
    count = shape[0] * shape[1]
    if shape[2] == 0:
        nothing = np.full(count, np.nan)
        return ReadingScatter(nothing, nothing)
    taken = reference.is_present if is_bracket is None else reference.is_present & ~is_bracket
    codes = np.repeat(np.arange(count), taken.reshape(count, -1).sum(axis=1))
    groups = group_statistics(reference.values[taken], codes, count)
    run = np.repeat(visits.run_index, shape[1])
    pooled = pool(groups, run, len(visits.runs))
    is_seen = pooled.degrees_of_freedom > 0
    return ReadingScatter(
        np.where(is_seen, pooled.standard_deviation, np.nan),
        np.where(is_seen, pooled.degrees_of_freedom, np.nan),
    )


def meter_use(
    meter: MeterOnBench, readings: FloatArray, largest: FloatArray, power_line_cycles: float
) -> MeterUse:
    """Voltage readings of shape (n,), in the ranges chosen for `largest`."""
    return MeterUse(
        meter, meter.model.voltage_ranges, readings, largest, power_line_cycles, unit="V"
    )


def reference_parts(
    use: MeterUse,
    setup: Setup,
    cells: Sequence[int],
    count: FloatArray,
    scatter: ReadingScatter | None,
    change: FloatArray,
) -> tuple[Contribution, ...]:
    """What the reference adds to each error; all arrays of shape (n,), n a multiple of cells.

    count : readings behind each reference. change : drift of the scan.
    """
    copies = len(use.reading) // max(len(cells), 1)
    return (
        reference_budget.meter_accuracy(use),
        reference_budget.meter_resolution(use),
        reference_budget.meter_noise(
            use,
            count,
            None if scatter is None else scatter.deviation,
            None if scatter is None else scatter.freedom,
        ),
        reference_budget.contact_drop(setup, cells, copies),
        reference_budget.relay_emf(setup, cell_paths(setup, cells), copies),
        reference_budget.loading(use, reference_budget.source_ohms(setup)),
        reference_budget.drift(change),
    )


def cell_budget(
    reference: tuple[Contribution, ...],
    scatter: Scatter,
    decay: FloatArray,
    setup: Setup,
    settling_volts: float | FloatArray,
) -> Budget:
    """The reference's contributions and the board's own.

    Parameters
    ----------
    decay : as `board_budget.mean_decay`. settling_volts : the settling budget that the points
        were measured with, scalar or shape (n,).
    """
    inputs = setup.board.cell_inputs
    return Budget(
        (
            *reference,
            board_budget.repeatability(scatter),
            board_budget.resolution(scatter, inputs.resolution_volts, "V"),
            board_budget.settling(settling_volts, decay, "V"),
        )
    )
