"""Liveness: whether a channel repeats one code for longer than its noise allows.

A hung converter repeats its last value; a quiet channel repeats a code too, while its noise is
small against the reporting step. The declared noise decides between the two.
"""

from __future__ import annotations

import numpy as np
from scipy.special import erf

from harness.checks.samples import BoolArray, Samples, Visits
from harness.descriptions.setup import Setup
from harness.observation import FloatArray, IntArray

# Rarer than this, sameness is taken for a frozen value: at most one false alarm in a million
# channels (our choice, no source).
RAREST_SAMENESS = 1.0e-6


def sameness_probability(frames: IntArray, noise_volts: float, step_volts: float) -> FloatArray:
    """Largest probability that `frames` independent frames all carry one code.

    A normal value of standard deviation s in the middle of a code of width q stays in it
    with erf(q / (2 sqrt 2 s)); off the middle it does so more rarely (normal distribution).

    Parameters
    ----------
    frames : any shape. noise_volts, step_volts : s and q, volts; s = 0 gives 1.
    """
    if noise_volts == 0:
        return np.ones(np.shape(frames))
    stays = erf(step_volts / (2 * np.sqrt(2) * noise_volts))
    return np.asarray(stays ** np.maximum(frames, 1), dtype=np.float64)


def is_improbably_still(frames: IntArray, setup: Setup) -> BoolArray:
    """Whether `frames` identical frames of a cell channel are rarer than chance allows."""
    inputs = setup.board.cell_inputs
    chance = sameness_probability(frames, inputs.noise_volts, inputs.resolution_volts)
    rare: BoolArray = chance < RAREST_SAMENESS
    return rare


def sameness(frames: int, setup: Setup) -> str:
    """A sentence part that says how improbable `frames` identical frames are."""
    inputs = setup.board.cell_inputs
    chance = sameness_probability(np.array([frames]), inputs.noise_volts, inputs.resolution_volts)[
        0
    ]
    return (
        f"{frames} identical frames, where the declared noise of "
        f"{inputs.noise_volts * 1e3:.3g} mV gives that a chance of {chance:.1g}"
    )


def longest_constant_run(board: Samples, visits: Visits) -> IntArray:
    """Most consecutive identical frames of each channel in each run, shape (r, c).

    Counts whole points only: a run of sameness that begins or ends inside a point counts
    without that part, so the figure is never too high.
    """
    shape = (len(visits.runs), board.values.shape[1])
    longest = np.zeros(shape, dtype=np.int64)
    if not len(visits):
        return longest
    lasting, held = np.zeros(shape, dtype=np.int64), np.full(shape, np.nan)
    first = np.searchsorted(visits.run_index, np.arange(len(visits.runs)))
    place = np.arange(len(visits)) - first[visits.run_index]
    low = np.where(board.is_present, board.values, np.inf).min(axis=2, initial=np.inf)
    high = np.where(board.is_present, board.values, -np.inf).max(axis=2, initial=-np.inf)
    is_constant, count = low == high, board.count
    for turn in range(int(place.max()) + 1):
        here = np.flatnonzero(place == turn)
        run = visits.run_index[here]
        goes_on = is_constant[here] & (low[here] == held[run])
        before = np.where(goes_on, lasting[run], 0)
        lasting[run] = np.where(is_constant[here], before + count[here], 0)
        held[run] = np.where(is_constant[here], low[here], np.nan)
        longest[run] = np.maximum(longest[run], lasting[run])
    return longest
