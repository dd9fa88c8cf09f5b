"""Stack total: the board's stack voltage against its own cells and against the reference.

Board against board shows a lying divider without any meter; board against reference is its
accuracy; reference cells against the reference stack says whether the bench is plausible
(swapped leads, scanner leakage and drift show there) and never blames the board.
(Acceptance check "stack total against sum of cells": common practice, no source.)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from harness.bench.capabilities import Capability, capabilities
from harness.checks.cell_accuracy import cycles_of, required_meter
from harness.checks.check import Bench, PlannedPoint
from harness.checks.effort import cell_effort
from harness.checks.frame_correlation import record_of_noise
from harness.checks.limits import limits_of
from harness.checks.reference import scan_of
from harness.checks.samples import BoolArray, Samples, samples_of, visits_of
from harness.checks.stack_budget import (
    StackEvidence,
    against_board,
    against_reference,
    bench_sum,
    interleaved,
)
from harness.checks.statements import Override, Place, error_findings, volts_text
from harness.checks.usability import unsettled_overrides
from harness.checks.visiting import SETTLING_VOLTS, every_cell, visit_cells
from harness.descriptions.plan import StackTotalSettings
from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.finding import Findings
from harness.metrology.budget import Budget, combine
from harness.metrology.decision import Verdict
from harness.observation import FloatArray, Observations, PointRecord, Quantity, Source

AGAINST_BOARD = "against board cells"
AGAINST_REFERENCE = "against reference"
AGAINST_REFERENCE_CELLS = "against reference cells"
BENCH = "reference cells against reference"


@dataclass(frozen=True)
class _Comparison:
    """One comparison at p visits; arrays of shape (p,). lacks : why entry v has no number."""

    name: str
    indication: FloatArray
    reference: FloatArray
    budget: Budget
    lacks: Callable[[int], str]


class StackTotalCheck:
    """The `stack-total` kind."""

    kind = "stack-total"

    def needs(self, setup: Setup, index: int) -> frozenset[Capability]:
        """A supply, and a meter at the stack or else at every cell."""
        has_stack = Capability.METER_AT_STACK in _has(setup)
        meter = Capability.METER_AT_STACK if has_stack else Capability.METER_AT_CELL
        return frozenset({Capability.CELL_SOURCE, meter})

    def points(self, setup: Setup, index: int) -> tuple[PlannedPoint, ...]:
        """Every point in the order written, all reference paths that the bench has."""
        settings, has = _settings(setup, index), _has(setup)
        volts = settings.points_volts
        effort = cell_effort(setup, max(volts), len(volts))
        return tuple(
            PlannedPoint(
                step=step,
                label={
                    "nominal_volts": v,
                    "power_line_cycles": effort.power_line_cycles,
                    SETTLING_VOLTS: setup.plan.settling.budget_volts,
                },
                cell_volts=(v,) * setup.board.cells,
                cells=every_cell(setup, None) if Capability.METER_AT_CELL in has else (),
                with_stack=Capability.METER_AT_STACK in has,
                frames=effort.frames,
                readings=effort.readings,
                power_line_cycles=effort.power_line_cycles,
            )
            for step, v in enumerate(volts)
        )

    def acquire(self, bench: Bench, point: PlannedPoint, index: int) -> PointRecord:
        """Set all cells, measure cells and stack."""
        return visit_cells(bench, point, index)

    def judge(self, observations: Observations, setup: Setup, index: int) -> Findings:
        """Two or three findings a run and point, one a comparison; channel is 0."""
        _settings(setup, index)
        evidence = _evidence(observations, setup, index)
        found = _comparisons(evidence)
        kinds, visits = len(found), evidence.visits
        nominal = evidence.nominal_cell_volts * evidence.cells
        budget = interleaved([c.budget for c in found])
        indication = _woven([c.indication for c in found])
        reference = _woven([c.reference for c in found])
        is_bench = np.tile([c.name == BENCH for c in found], len(visits))
        expanded = combine(budget, setup.plan.decision.coverage_probability).expanded_uncertainty
        limit = np.full(len(expanded), limits_of(setup).stack_error_volts)
        place = Place(
            check=self.kind,
            check_index=index,
            subject="stack",
            unit="V",
            run=np.repeat(visits.run, kinds),
            step=np.repeat(visits.step, kinds),
            channel=np.zeros(len(visits) * kinds, dtype=np.int64),
            point=[f"{v:.3f} V {c.name}" for v in nominal.tolist() for c in found],
            nominal=np.repeat(nominal, kinds),
        )
        return error_findings(
            place,
            indication=indication,
            reference=reference,
            limit=np.where(is_bench & np.isfinite(expanded), expanded, limit),
            budget=budget,
            decision=setup.plan.decision,
            overrides=(
                _lacking(found, np.isnan(indication - reference)),
                unsettled_overrides(visits, kinds),
                *_plausibility(is_bench, indication - reference, expanded),
            ),
        )


def _settings(setup: Setup, index: int) -> StackTotalSettings:
    settings = setup.plan.check[index]
    if not isinstance(settings, StackTotalSettings):
        raise MisuseError(f"check {index}: expected stack-total, got {settings.kind}")
    return settings


def _has(setup: Setup) -> frozenset[Capability]:
    return capabilities(setup.bench, setup.board.cells, len(setup.board.thermistors))


def _evidence(observations: Observations, setup: Setup, index: int) -> StackEvidence:
    visits = visits_of(observations, index)
    cells = every_cell(setup, None)

    def samples(source: Source, quantity: Quantity, channels: tuple[int, ...]) -> Samples:
        return samples_of(observations, visits, source, quantity, channels)

    reference_cells = samples(Source.REFERENCE, Quantity.CELL_VOLTAGE, cells)
    board_cells = samples(Source.BOARD, Quantity.CELL_VOLTAGE, cells)
    kept = visits.numbers("nominal_volts")
    seen = np.nan_to_num(board_cells.mean()).max(axis=1, initial=0.0)
    return StackEvidence(
        setup=setup,
        meter=required_meter(setup),
        visits=visits,
        board_stack=samples(Source.BOARD, Quantity.STACK_VOLTAGE, (0,)),
        board_cells=board_cells,
        reference_stack=samples(Source.REFERENCE, Quantity.STACK_VOLTAGE, (0,)),
        reference_cells=reference_cells,
        scan=scan_of(reference_cells),
        nominal_cell_volts=np.where(np.isnan(kept), seen, kept),
        power_line_cycles=cycles_of(visits, setup),
        record=record_of_noise(observations, setup, visits.runs),
    )


def _comparisons(e: StackEvidence) -> list[_Comparison]:
    """Board sum always; the reference as it was measured; the bench's own sum with both."""
    board_stack, board_sum = e.board_stack.mean()[:, 0], e.board_cells.mean().sum(axis=1)
    stack, cell_sum = e.reference_stack.mean()[:, 0], e.scan.mean.sum(axis=1)
    has_stack, has_cells = bool(e.reference_stack.count.any()), bool(e.scan.count.any())
    found = [
        _Comparison(
            AGAINST_BOARD, board_stack, board_sum, against_board(e), _board_lacks(e, cells=True)
        )
    ]
    use_stack = has_stack or not has_cells
    found.append(
        _Comparison(
            AGAINST_REFERENCE if use_stack else AGAINST_REFERENCE_CELLS,
            board_stack,
            stack if use_stack else cell_sum,
            against_reference(e, has_stack_path=use_stack),
            _either(_board_lacks(e, cells=False), _reference_lacks(e, stack=use_stack)),
        )
    )
    if has_stack and has_cells:
        lacks = _either(_reference_lacks(e, stack=True), _reference_lacks(e, stack=False))
        found.append(_Comparison(BENCH, cell_sum, stack, bench_sum(e), lacks))
    return found


def _board_lacks(e: StackEvidence, *, cells: bool) -> Callable[[int], str]:
    def reason(v: int) -> str:
        if not e.board_stack.is_usable[v, 0]:
            return "the board sent no stack voltage" + (
                "" if not e.board_stack.count[v, 0] else " in some frames"
            )
        bad = np.flatnonzero(~e.board_cells.is_usable[v] & cells)
        return f"the board sent no value for channel {bad[0] + 1}" if len(bad) else ""

    return reason


def _reference_lacks(e: StackEvidence, *, stack: bool) -> Callable[[int], str]:
    def reason(v: int) -> str:
        if stack:
            usable = bool(e.reference_stack.is_usable[v, 0])
            return "" if usable else "no usable reference reading of the stack"
        bad = np.flatnonzero(~e.reference_cells.is_usable[v])
        return f"no usable reference reading at cell {bad[0] + 1}" if len(bad) else ""

    return reason


def _either(first: Callable[[int], str], second: Callable[[int], str]) -> Callable[[int], str]:
    return lambda v: first(v) or second(v)


def _woven(columns: list[FloatArray]) -> FloatArray:
    woven: FloatArray = np.stack(columns, axis=1).reshape(-1)
    return woven


def _lacking(found: list[_Comparison], is_missing: BoolArray) -> Override:
    kinds = len(found)
    return Override(is_missing, Verdict.NOT_RUN, lambda i: found[i % kinds].lacks(i // kinds))


def _plausibility(
    is_bench: BoolArray, difference: FloatArray, expanded: FloatArray
) -> tuple[Override, Override]:
    """The bench's own sum agrees inside U or the reference is not to be believed."""
    is_off = is_bench & ~(np.abs(difference) <= expanded)

    def reason(i: int) -> str:
        if np.isnan(expanded[i]):
            return "bench: how far reference cells and reference stack may differ is not known"
        return (
            f"bench: the reference cells add up to {volts_text(difference[i])} more than the "
            f"reference stack, U {volts_text(expanded[i])}: look for swapped leads, leakage in "
            "the scanner, drift"
        )

    return (
        Override(is_off, Verdict.CANNOT_DECIDE, reason),
        Override(is_bench, Verdict.PASS, lambda _: ""),
    )
