"""Budgets of stack comparisons: sums of cells, where the meter's gain error adds linearly.

The unknown error of one meter has the same value in every reading of a range, so it adds over
N cells with N and cancels between a sum and a reading in the same range (GUM 5.2.2, r = +1);
everything else adds in quadrature.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from harness.checks import board_budget, reference_budget
from harness.checks.board_budget import channel_pools, scatter_of
from harness.checks.cell_budget import ReadingScatter, cell_paths, meter_use, reading_scatter
from harness.checks.frame_correlation import Correlation
from harness.checks.reference import MeterOnBench, Scan
from harness.checks.reference_budget import MeterUse
from harness.checks.samples import Samples, Visits
from harness.checks.visiting import SETTLING_VOLTS
from harness.descriptions.setup import Setup
from harness.metrology.budget import Budget, Contribution, Shape
from harness.observation import FloatArray


@dataclass(frozen=True)
class StackEvidence:
    """Readings behind the comparisons at p visits to a stack of N cells.

    board_stack : shape (p, 1, m); board_cells : (p, N, m). reference_stack : (p, 1, m);
    reference_cells : (p, N, m) with its `scan`. nominal_cell_volts : shape (p,).
    record : what a noise check of each run tells of the correlation of frames.
    """

    setup: Setup
    meter: MeterOnBench
    visits: Visits
    board_stack: Samples
    board_cells: Samples
    reference_stack: Samples
    reference_cells: Samples
    scan: Scan
    nominal_cell_volts: FloatArray
    power_line_cycles: float
    record: Correlation | None = None

    @property
    def cells(self) -> int:
        """N."""
        return int(self.board_cells.values.shape[1])

    def stack_use(self) -> MeterUse:
        """The stack readings, shape (p,)."""
        reading = self.reference_stack.mean()[:, 0]
        return meter_use(
            self.meter, reading, self.nominal_cell_volts * self.cells, self.power_line_cycles
        )

    def cell_use(self) -> MeterUse:
        """The cell readings, shape (p * N,), visit by visit."""
        largest = np.repeat(self.nominal_cell_volts, self.cells)
        return meter_use(self.meter, self.scan.mean.reshape(-1), largest, self.power_line_cycles)

    def summed(self, values: FloatArray) -> FloatArray:
        """Sum over the cells of each visit of values of shape (p * N,): shape (p,)."""
        total: FloatArray = values.reshape(-1, self.cells).sum(axis=1)
        return total

    def in_quadrature(self, values: FloatArray) -> FloatArray:
        """Root of the sum of squares over the cells of each visit, shape (p,)."""
        return np.sqrt(self.summed(values**2))


def against_board(e: StackEvidence) -> Budget:
    """Board stack less the sum of the board's cells, frame by frame."""
    inputs = e.setup.board.cell_inputs
    return Budget(
        (
            _repeatability(e, difference_of_frames(e)),
            _stack_resolution(e),
            _cell_resolutions(e, inputs.resolution_volts),
            _settling(e),
        )
    )


def against_reference(e: StackEvidence, *, has_stack_path: bool) -> Budget:
    """Board stack less the reference: the stack's own reading, else the sum of cells."""
    reference = _stack_reference(e) if has_stack_path else _cells_reference(e)
    own = (_repeatability(e, e.board_stack), _stack_resolution(e), _settling(e))
    return Budget((*reference, *own))


def bench_sum(e: StackEvidence) -> Budget:
    """Sum of the reference cells less the reference stack: what the bench itself may differ by.

    Both are read at the same pins, so the drop in the contacts cancels, and a drift is one.
    """
    apart = ("meter accuracy", "lead and contact drop", "drift")
    parts = (*_cells_reference(e), *_stack_reference(e))
    return Budget(
        (
            _accuracy_of_difference(e),
            *(part for part in parts if part.name not in apart),
            _drift(e),
        )
    )


def difference_of_frames(e: StackEvidence) -> Samples:
    """Stack less the sum of cells in each frame, shape (p, 1, m)."""
    most = min(e.board_stack.values.shape[2], e.board_cells.values.shape[2])
    stack, cells = e.board_stack, e.board_cells
    present = stack.is_present[:, :, :most] & cells.is_present[:, :, :most].all(
        axis=1, keepdims=True
    )
    values = stack.values[:, :, :most] - cells.values[:, :, :most].sum(axis=1, keepdims=True)
    return Samples(np.where(present, values, np.nan), present, stack.monotonic[:, :, :most])


def interleaved(budgets: Sequence[Budget]) -> Budget:
    """One budget of budgets of shape (p,): entry v * j + i is entry v of budget i of j.

    A contribution that a budget does not have is 0 there. Contributions of one name must be of
    one shape and kind.
    """
    names = dict.fromkeys(c.name for budget in budgets for c in budget.contributions)
    return Budget(tuple(_interleave(name, budgets) for name in names))


def _interleave(name: str, budgets: Sequence[Budget]) -> Contribution:
    found = [next((c for c in b.contributions if c.name == name), None) for b in budgets]
    model = next(c for c in found if c is not None)
    size = len(model.standard_uncertainty)
    none, free = np.zeros(size), np.full(size, np.inf)
    u = [none if c is None else c.standard_uncertainty for c in found]
    nu = [free if c is None else c.degrees_of_freedom for c in found]
    return replace(
        model,
        standard_uncertainty=np.stack(u, axis=1).reshape(-1),
        degrees_of_freedom=np.stack(nu, axis=1).reshape(-1),
        source="; ".join(dict.fromkeys(c.source for c in found if c is not None)),
    )


def _repeatability(e: StackEvidence, samples: Samples) -> Contribution:
    inputs = e.setup.board.cell_inputs
    step = inputs.stack_resolution_volts
    noise = inputs.noise_volts * np.sqrt(e.cells + 1.0)
    scatter = scatter_of(samples, e.visits.run_index, step, float(noise), record=e.record)
    return board_budget.repeatability(scatter)


def _stack_resolution(e: StackEvidence) -> Contribution:
    inputs = e.setup.board.cell_inputs
    step = inputs.stack_resolution_volts
    scatter = scatter_of(e.board_stack, e.visits.run_index, step, inputs.noise_volts)
    return _named(board_budget.resolution(scatter, step, "V"), "board stack resolution")


def _cell_resolutions(e: StackEvidence, step: float) -> Contribution:
    """N rectangular parts of one size add up to a nearly normal one (GUM G.2)."""
    pools = channel_pools(e.visits, e.cells)
    scatter = scatter_of(e.board_cells, pools, step, e.setup.board.cell_inputs.noise_volts)
    one = board_budget.resolution(scatter, step, "V")
    return Contribution(
        name="board cell resolution",
        standard_uncertainty=e.in_quadrature(one.standard_uncertainty),
        shape=Shape.NORMAL,
        degrees_of_freedom=np.full(len(e.visits), np.inf),
        is_common=False,
        reduce_by=one.reduce_by,
        source=f"{e.cells} cells, {one.source}",
    )


def _settling(e: StackEvidence) -> Contribution:
    """Cells move together, so what each may still lack adds up over the stack."""
    budget = e.visits.numbers(SETTLING_VOLTS, e.setup.plan.settling.budget_volts)
    tau = e.setup.board.cell_inputs.filter_time_constant_seconds
    return board_budget.settling(budget * e.cells, board_budget.mean_decay(e.board_stack, tau), "V")


def _stack_reference(e: StackEvidence) -> tuple[Contribution, ...]:
    use = e.stack_use()
    count = e.reference_stack.count[:, 0].astype(np.float64)
    path = e.setup.bench.paths.meter_at_stack or ()
    size = len(e.visits)
    return (
        reference_budget.meter_accuracy(use),
        reference_budget.meter_resolution(use),
        reference_budget.meter_noise(use, count),
        reference_budget.stack_contact_drop(e.setup, size),
        reference_budget.relay_emf(e.setup, [path], size),
        reference_budget.loading(use, reference_budget.stack_source_ohms(e.setup)),
        _drift(e),
    )


def _cells_reference(e: StackEvidence) -> tuple[Contribution, ...]:
    """What the sum of the cell readings adds.

    Parts of each cell's own carry a name of their own: they add up to another shape than the
    like of them in a stack reading.
    """
    use = e.cell_use()
    count = e.scan.count.reshape(-1).astype(np.float64)
    scatter: ReadingScatter = reading_scatter(e.reference_cells, e.visits, e.scan.is_bracket)
    bound = e.summed(reference_budget.accuracy_bound(use))
    accuracy = reference_budget.accuracy_contribution(use, bound)
    noise = reference_budget.meter_noise(use, count, scatter.deviation, scatter.freedom)
    emf = reference_budget.relay_emf(
        e.setup, cell_paths(e.setup, range(1, e.cells + 1)), len(e.visits)
    )
    loading = reference_budget.loading(use, reference_budget.source_ohms(e.setup))
    return (
        replace(accuracy, source=f"sum of {e.cells} readings; {accuracy.source}"),
        _quadrature(e, reference_budget.meter_resolution(use)),
        _quadrature(e, noise),
        reference_budget.stack_contact_drop(e.setup, len(e.visits)),
        _quadrature(e, emf),
        replace(
            loading,
            name="loading of cells",
            standard_uncertainty=e.summed(loading.standard_uncertainty),
            degrees_of_freedom=np.full(len(e.visits), np.inf),
        ),
        _drift(e),
    )


def _quadrature(e: StackEvidence, part: Contribution) -> Contribution:
    """Independent parts of N cells as one; its degrees of freedom are those of the worst.

    N rectangular parts of like size add up to a nearly normal one (GUM G.2).
    """
    degrees = part.degrees_of_freedom.reshape(-1, e.cells).min(axis=1)
    is_bound = part.shape is Shape.RECTANGULAR and e.cells > 1
    return replace(
        part,
        name=f"{part.name} of cells",
        standard_uncertainty=e.in_quadrature(part.standard_uncertainty),
        shape=Shape.NORMAL if is_bound else part.shape,
        degrees_of_freedom=degrees,
    )


def _drift(e: StackEvidence) -> Contribution:
    """All cells are taken to drift as the first one did."""
    return reference_budget.drift(e.scan.drift * e.cells)


def _accuracy_of_difference(e: StackEvidence) -> Contribution:
    """The meter's accuracy in a sum less a reading of the same meter.

    In one range the part of reading cancels and N - 1 parts of range are left; ranges of their
    own are adjusted apart and taken as independent, the bounds in quadrature.
    """
    cells, stack = e.cell_use(), e.stack_use()
    zero = replace(stack, reading=np.zeros(len(stack.reading)))
    is_same = cells.places.reshape(-1, e.cells)[:, 0] == stack.places
    bound = np.where(
        is_same,
        (e.cells - 1) * reference_budget.accuracy_bound(zero),
        np.hypot(
            e.summed(reference_budget.accuracy_bound(cells)),
            reference_budget.accuracy_bound(stack),
        ),
    )
    return reference_budget.accuracy_contribution(stack, bound)


def _named(part: Contribution, name: str) -> Contribution:
    return replace(part, name=name)
