"""Mapping and liveness: each channel reads its own cell, and only its own.

Step 0 gives every cell a value of its own. Then each cell is moved in turn, and only its
channel may follow. What a channel follows is told from board values and the moved cell's
reference; how accurately it follows is the business of `cell_accuracy`.
(Acceptance check "mapping and liveness": common practice, no source.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.bench.capabilities import Capability
from harness.checks.check import Bench, PlannedPoint
from harness.checks.limits import limits_of
from harness.checks.liveness import is_improbably_still, longest_constant_run, sameness
from harness.checks.samples import BoolArray, Samples, Visits, samples_of, visits_of
from harness.checks.statements import Place, fact_findings, volts_text
from harness.checks.visiting import every_cell, visit_cells
from harness.descriptions.plan import MappingSettings
from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.finding import Findings, no_numbers
from harness.metrology.decision import Verdict
from harness.observation import (
    FloatArray,
    IntArray,
    Observations,
    PointRecord,
    Quantity,
    Source,
)

# Share of the moved cell's change by which another channel may move and its own may be off.
# It tells wiring from accuracy; crosstalk has limits of its own (common practice, no source).
MOVE_TOLERANCE_RATIO = 0.1

# A channel follows a cell when it moves by more than this share of the cell's change.
FOLLOW_RATIO = 0.5

# Changes smaller than this many standard deviations of their own noise are none: 2e-9 a
# comparison if normal, so that a thousand boards of 12 x 12 comparisons raise no false alarm.
NOISE_MULTIPLE = 6.0

# Two frames show that values repeat or not; the noise multiple above covers the scatter.
FRAMES = 3


@dataclass(frozen=True)
class _Evidence:
    """What the channels did; axes are run r, moved cell k (tested cells only), channel j.

    base : shape (r, n), channel means at step 0; base_reference : shape (r, n).
    response : shape (r, k, n), change of each channel when cell k moved.
    moved : shape (r, k), the reference's change of cell k. noise : shape (r, n), standard
    deviation of one frame. frames : fewest frames behind a mean.
    step : shape (r, k), the step in which cell k moved, -1 when it was not.
    has_board, has_settled : shape (r, k). lost : shape (r, n), visits without usable values.
    """

    runs: IntArray
    base: FloatArray
    base_reference: FloatArray
    response: FloatArray
    moved: FloatArray
    noise: FloatArray
    frames: int
    step: IntArray
    has_settled: BoolArray
    lost: IntArray
    still: IntArray


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
            frames=FRAMES,
            power_line_cycles=setup.plan.effort.power_line_cycles,
        )

    def acquire(self, bench: Bench, point: PlannedPoint, index: int) -> PointRecord:
        """Set the pattern and measure: all references at step 0, then the moved cell's."""
        return visit_cells(bench, point, index)

    def judge(self, observations: Observations, setup: Setup, index: int) -> Findings:
        """One finding a run and tested cell: its channel follows it and nothing else."""
        tested = every_cell(setup, _settings(setup, index).cells)
        evidence = _gather(observations, setup, index, tested)
        count = len(evidence.runs) * len(tested)
        own = np.array(tested, dtype=np.int64) - 1
        verdicts, reasons = _state(evidence, setup, tested)
        own_response = evidence.response[:, np.arange(len(tested)), own]
        tolerance = _tolerance(evidence)[:, np.arange(len(tested)), own]
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


def _gather(
    observations: Observations, setup: Setup, index: int, tested: tuple[int, ...]
) -> _Evidence:
    cells = every_cell(setup, None)
    visits = visits_of(observations, index)
    board = samples_of(observations, visits, Source.BOARD, Quantity.CELL_VOLTAGE, cells)
    reference = samples_of(observations, visits, Source.REFERENCE, Quantity.CELL_VOLTAGE, cells)
    place = _visit_of(visits, tested)
    board_mean, reference_mean = board.mean(), reference.mean()
    own = np.array(tested, dtype=np.int64) - 1
    base, base_reference = _at(board_mean, place[:, 0]), _at(reference_mean, place[:, 0])
    after = _at(board_mean, place[:, 1:])
    reference_after = _at(reference_mean, place[:, 1:])
    settled = np.append(visits.did_settle, True)[place]
    return _Evidence(
        runs=visits.runs,
        base=base,
        base_reference=base_reference,
        response=after - base[:, None, :],
        moved=reference_after[:, np.arange(len(tested)), own] - base_reference[:, own],
        noise=_frame_noise(board, visits, setup),
        frames=max(1, int(board.count.min(initial=FRAMES, where=board.count > 0))),
        step=np.append(visits.step, -1)[place[:, 1:]],
        has_settled=settled[:, 1:] & settled[:, :1],
        lost=_per_run((board.count == 0) | (board.missing > 0), visits),
        still=longest_constant_run(board, visits),
    )


def _visit_of(visits: Visits, tested: tuple[int, ...]) -> IntArray:
    """Visit index by run and (step 0, move of each tested cell), -1 where there is none."""
    moved = np.nan_to_num(visits.numbers("moved_cell"), nan=0.0).astype(np.int64)
    wanted = np.array((0, *tested))
    place = np.full((len(visits.runs), len(wanted)), -1, dtype=np.int64)
    for i, cell in enumerate(wanted):
        here = np.flatnonzero(moved == cell)
        place[visits.run_index[here], i] = here
    return place


def _at(means: FloatArray, place: IntArray) -> FloatArray:
    """Rows of `means` at `place`; NaN where place is -1 (the appended last row)."""
    padded = np.vstack((means, np.full((1, means.shape[1]), np.nan)))
    found: FloatArray = padded[place]
    return found


def _per_run(flags: BoolArray, visits: Visits) -> IntArray:
    """How many visits of each run carry the flag, shape (r, c)."""
    found = np.zeros((len(visits.runs), flags.shape[1]), dtype=np.int64)
    np.add.at(found, visits.run_index, flags)
    return found


def _frame_noise(board: Samples, visits: Visits, setup: Setup) -> FloatArray:
    """Standard deviation of one frame, shape (r, n): the larger of scatter and declaration.

    Declared noise and reporting step combine in quadrature (q / sqrt 12, GUM 4.3.7).
    """
    inputs = setup.board.cell_inputs
    declared = np.hypot(inputs.noise_volts, inputs.resolution_volts / np.sqrt(12))
    mean = board.mean()[:, :, None]
    squares = np.where(board.is_present, (board.values - mean) ** 2, 0.0)
    total = np.zeros((len(visits.runs), mean.shape[1]))
    freedom = np.zeros_like(total)
    np.add.at(total, visits.run_index, np.nan_to_num(squares.sum(axis=2)))
    np.add.at(freedom, visits.run_index, np.maximum(board.count - 1, 0))
    larger: FloatArray = np.maximum(np.sqrt(total / np.maximum(freedom, 1)), declared)
    return larger


def _tolerance(evidence: _Evidence) -> FloatArray:
    """By how much a channel may be off in a move, shape (r, k, n), volts."""
    share = MOVE_TOLERANCE_RATIO * np.abs(evidence.moved)[:, :, None]
    scatter = NOISE_MULTIPLE * np.sqrt(2 / evidence.frames) * evidence.noise[:, None, :]
    tolerance: FloatArray = np.fmax(share, scatter)
    return tolerance


def _state(
    evidence: _Evidence, setup: Setup, tested: tuple[int, ...]
) -> tuple[tuple[Verdict, ...], tuple[str, ...]]:
    """Verdict and reason a (run, tested cell), runs outermost."""
    clean = _is_clean(evidence, setup, tested)
    verdicts: list[Verdict] = []
    reasons: list[str] = []
    for r in range(len(evidence.runs)):
        if clean[r].all():
            verdicts += [Verdict.PASS] * len(tested)
            reasons += [""] * len(tested)
            continue
        story = _RunStory(evidence, r, setup, tested)
        for i in range(len(tested)):
            verdict, reason = (Verdict.PASS, "") if clean[r, i] else story.of(i)
            verdicts.append(verdict)
            reasons.append(reason)
    return tuple(verdicts), tuple(reasons)


def _is_clean(evidence: _Evidence, setup: Setup, tested: tuple[int, ...]) -> BoolArray:
    """Where everything is as it should be, shape (r, k); NaN is never clean."""
    own = np.array(tested, dtype=np.int64) - 1
    expected = np.zeros_like(evidence.response)
    expected[:, np.arange(len(tested)), own] = evidence.moved
    expected += _ladder_tilt(evidence, setup, own)
    off = np.abs(evidence.response - expected)
    is_near: BoolArray = off <= _tolerance(evidence)
    follows = np.all(is_near, axis=1)[:, own]
    moves_enough = np.abs(evidence.moved) > 2 * _tolerance(evidence).max(axis=2)
    still = is_improbably_still(evidence.still, setup)[:, own]
    nearest = _nearest_cell(evidence, setup)[:, own] == own
    clean: BoolArray = (
        follows
        & moves_enough
        & nearest
        & evidence.has_settled
        & ~still
        & (evidence.lost[:, own] == 0)
    )
    return clean


def _ladder_tilt(evidence: _Evidence, setup: Setup, own: IntArray) -> FloatArray:
    """What the other cells gain on a ladder when one rung is shunted, shape (r, k, n).

    The total stays, so each of the N - 1 others takes 1 / (N - 1) of what the cell gives.
    """
    tilt = np.zeros_like(evidence.response)
    if setup.bench.wiring.topology == "ladder" and setup.board.cells > 1:
        tilt -= evidence.moved[:, :, None] / (setup.board.cells - 1)
        tilt[:, np.arange(len(own)), own] = 0.0
    return tilt


def _nearest_cell(evidence: _Evidence, setup: Setup) -> IntArray:
    """Index of the cell whose step 0 reference is nearest to each channel, shape (r, n).

    Where the references lie closer together than twice the limit on a cell's error, being
    nearest says nothing and the channel's own cell is given.
    """
    own = np.arange(evidence.base.shape[1])
    apart = np.abs(evidence.base_reference[:, :, None] - evidence.base_reference[:, None, :])
    apart[:, own, own] = np.inf
    apart = np.where(np.isnan(apart), np.inf, apart)
    can_tell = apart.min(axis=2) > 2 * limits_of(setup).cell_error_volts
    distance = np.abs(evidence.base[:, :, None] - evidence.base_reference[:, None, :])
    nearest = np.argmin(np.where(np.isnan(distance), np.inf, distance), axis=2)
    return np.where(can_tell, nearest, own[None, :])


class _RunStory:
    """Words for one run in which not everything is as it should be."""

    def __init__(self, evidence: _Evidence, r: int, setup: Setup, tested: tuple[int, ...]) -> None:
        self._e, self._r, self._setup, self._tested = evidence, r, setup, tested
        own = np.array(tested, dtype=np.int64) - 1
        tilt = _ladder_tilt(evidence, setup, own)[r]
        self._response = evidence.response[r] - tilt
        self._tolerance = _tolerance(evidence)[r]
        self._moved = evidence.moved[r]
        self._nearest = _nearest_cell(evidence, setup)[r]
        with np.errstate(invalid="ignore", divide="ignore"):
            self._ratio = self._response / self._moved[:, None]

    def of(self, i: int) -> tuple[Verdict, str]:
        """Verdict and reason for the channel of tested cell number i."""
        cell = self._tested[i]
        for state in (
            self._unknown,
            self._unsettled,
            self._wrong_cell,
            self._own_move,
            self._others,
            self._wrong_value,
            self._too_still,
        ):
            found = state(i, cell)
            if found is not None:
                return found
        return Verdict.PASS, ""

    def _unknown(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        e, r = self._e, self._r
        if np.isnan(e.base_reference[r, cell - 1]):
            return Verdict.NOT_RUN, f"cell {cell} has no reference reading at step 0"
        if e.step[r, i] < 0:
            return Verdict.NOT_RUN, f"cell {cell} was not moved"
        if np.isnan(self._moved[i]):
            return Verdict.NOT_RUN, f"cell {cell} has no reference reading where it was moved"
        if e.lost[r, cell - 1]:
            visits = int(e.lost[r, cell - 1])
            return Verdict.NOT_RUN, f"channel {cell} sent no value at {visits} of the points"
        return None

    def _unsettled(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        if not self._e.has_settled[self._r, i]:
            return Verdict.CANNOT_DECIDE, f"did not settle when cell {cell} was moved"
        if abs(self._moved[i]) <= 2 * self._tolerance[i].max():
            moved = volts_text(self._moved[i])
            return (
                Verdict.CANNOT_DECIDE,
                f"bench: cell {cell} moved by {moved} only, too little to tell",
            )
        return None

    def followed(self, channel: int) -> tuple[int, ...]:
        """The tested cells that `channel` follows, either way up."""
        ratio = np.abs(self._ratio[:, channel - 1])
        return tuple(c for c, x in zip(self._tested, ratio, strict=True) if x > FOLLOW_RATIO)

    def _wrong_cell(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        followed = self.followed(cell)
        if followed == (cell,):
            return None
        if not followed:
            return Verdict.FAIL, f"channel {cell} did not change: frozen or stale"
        if cell in followed:
            return Verdict.FAIL, f"channel {cell} follows cells {_listed(followed)}"
        if len(followed) > 1:
            return Verdict.FAIL, f"channel {cell} follows cells {_listed(followed)}, not its own"
        other = followed[0]
        back = self.followed(other)
        if back == (cell,):
            low, high = sorted((cell, other))
            return Verdict.FAIL, f"channels {low} and {high} are swapped"
        if other in back:
            return Verdict.FAIL, f"channel {cell} follows cell {other}: a copy of channel {other}"
        return Verdict.FAIL, f"channel {cell} follows cell {other}"

    def _own_move(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        response, moved = self._response[i, cell - 1], self._moved[i]
        if abs(response - moved) <= self._tolerance[i, cell - 1]:
            return None
        if response * moved < 0:
            return Verdict.FAIL, f"channel {cell} moves against its cell: reversed sign"
        return (
            Verdict.FAIL,
            f"channel {cell} moved by {volts_text(response)} when its cell moved by "
            f"{volts_text(moved)}",
        )

    def _others(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        excess = np.abs(self._response[:, cell - 1]) - self._tolerance[:, cell - 1]
        excess[i] = -np.inf
        worst = int(np.nanargmax(excess))
        if not excess[worst] > 0:
            return None
        return (
            Verdict.FAIL,
            f"channel {cell} moved by {volts_text(self._response[worst, cell - 1])} when cell "
            f"{self._tested[worst]} moved by {volts_text(self._moved[worst])}",
        )

    def _wrong_value(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        nearest = int(self._nearest[cell - 1]) + 1
        if nearest == cell:
            return None
        return (
            Verdict.FAIL,
            f"channel {cell} follows its cell but reads nearest to cell {nearest}",
        )

    def _too_still(self, i: int, cell: int) -> tuple[Verdict, str] | None:
        frames = int(self._e.still[self._r, cell - 1])
        if not is_improbably_still(np.array([frames]), self._setup)[0]:
            return None
        return Verdict.CONDITIONAL_PASS, sameness(frames, self._setup)


def _listed(cells: tuple[int, ...]) -> str:
    return " and ".join((", ".join(map(str, cells[:-1])), str(cells[-1])))
