"""What the channels did while cells were moved: arrays of changes, tolerances, nearest cells.

Numbers only; the words are in `mapping_story`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.checks.limits import limits_of
from harness.checks.liveness import is_improbably_still, longest_constant_run
from harness.checks.samples import BoolArray, Samples, Visits, samples_of, visits_of
from harness.checks.visiting import every_cell
from harness.descriptions.setup import Setup
from harness.observation import FloatArray, IntArray, Observations, Quantity, Source

# Share of the moved cell's change by which another channel may move and its own may be off.
# It tells wiring from accuracy; crosstalk has limits of its own (common practice, no source).
MOVE_TOLERANCE_RATIO = 0.1

# Changes smaller than this many standard deviations of their own noise are none: 2e-9 a
# comparison if normal, so that a thousand boards of 12 x 12 comparisons raise no false alarm.
NOISE_MULTIPLE = 6.0


@dataclass(frozen=True)
class Evidence:
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


def gather_evidence(
    observations: Observations, setup: Setup, index: int, tested: tuple[int, ...]
) -> Evidence:
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
    return Evidence(
        runs=visits.runs,
        base=base,
        base_reference=base_reference,
        response=after - base[:, None, :],
        moved=reference_after[:, np.arange(len(tested)), own] - base_reference[:, own],
        noise=_frame_noise(board, visits, setup),
        frames=int(board.count[board.count > 0].min()) if board.count.any() else 1,
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


def tolerance_of(evidence: Evidence) -> FloatArray:
    """By how much a channel may be off in a move, shape (r, k, n), volts."""
    share = MOVE_TOLERANCE_RATIO * np.abs(evidence.moved)[:, :, None]
    scatter = NOISE_MULTIPLE * np.sqrt(2 / evidence.frames) * evidence.noise[:, None, :]
    tolerance: FloatArray = np.fmax(share, scatter)
    return tolerance


def is_clean(evidence: Evidence, setup: Setup, tested: tuple[int, ...]) -> BoolArray:
    """Where everything is as it should be, shape (r, k); NaN is never clean."""
    own = np.array(tested, dtype=np.int64) - 1
    expected = np.zeros_like(evidence.response)
    expected[:, np.arange(len(tested)), own] = evidence.moved
    expected += ladder_tilt(evidence, setup, own)
    off = np.abs(evidence.response - expected)
    is_near: BoolArray = off <= tolerance_of(evidence)
    follows = np.all(is_near, axis=1)[:, own]
    moves_enough = np.abs(evidence.moved) > 2 * tolerance_of(evidence).max(axis=2)
    still = is_improbably_still(evidence.still, setup)[:, own]
    nearest = nearest_cell(evidence, setup)[:, own] == own
    clean: BoolArray = (
        follows
        & moves_enough
        & nearest
        & evidence.has_settled
        & ~still
        & (evidence.lost[:, own] == 0)
    )
    return clean


def ladder_tilt(evidence: Evidence, setup: Setup, own: IntArray) -> FloatArray:
    """What the other cells gain on a ladder when one rung is shunted, shape (r, k, n).

    The total stays, so each of the N - 1 others takes 1 / (N - 1) of what the cell gives.
    """
    tilt = np.zeros_like(evidence.response)
    if setup.bench.wiring.topology == "ladder" and setup.board.cells > 1:
        tilt -= evidence.moved[:, :, None] / (setup.board.cells - 1)
        tilt[:, np.arange(len(own)), own] = 0.0
    return tilt


def nearest_cell(evidence: Evidence, setup: Setup) -> IntArray:
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
