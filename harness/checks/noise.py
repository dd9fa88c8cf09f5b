"""Noise and resolution: the scatter of many steady frames of every cell channel.

Steady cells need no reference: what is judged is s against its limit, with the chi-square
upper bound of s as its uncertainty. Channels that repeat one code for longer than the declared
noise allows are called frozen, because no noise at all is a fault here.
(Acceptance check "noise": common practice, no source.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, ndtri

from harness.bench.capabilities import Capability
from harness.checks.check import Bench, PlannedPoint
from harness.checks.limits import limits_of
from harness.checks.liveness import is_improbably_still, sameness
from harness.checks.samples import BoolArray, Samples, Visits, samples_of, visits_of
from harness.checks.statements import Override, Place, error_findings
from harness.checks.usability import board_override, unsettled_overrides
from harness.checks.visiting import every_cell, visit_cells
from harness.descriptions.plan import NoiseSettings
from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.finding import Findings
from harness.metrology.budget import Budget, Contribution, Shape
from harness.metrology.decision import Verdict
from harness.metrology.repeatability import effective_count, group_statistics
from harness.metrology.resolution import largest_noise_behind, noise_free_bits
from harness.observation import FloatArray, IntArray, Observations, PointRecord, Quantity, Source

# The multiple of its own standard deviation 1/sqrt(n) that an autocorrelation must exceed to be
# believed: chance reaches it once in 44 channels, and counts then for 0.97 or less of the frames.
CORRELATION_SIGNIFICANCE = 2.0

# Below this many frames a standard deviation says too little about noise to be judged.
FEWEST_FRAMES = 16


@dataclass(frozen=True)
class NoiseFigures:
    """Noise of each (visit, channel); arrays of shape (p, c), volts where not said.

    standard_deviation : s of one frame, NaN below two usable frames. frames : how many.
    peak_to_peak : largest less smallest. noise_free_bits : log2(full scale / 6.6 s).
    lag1 : lag-1 autocorrelation. effective_frames : independent ones for a mean.
    is_still : all frames carry one code, and that is rarer than the declared noise allows.
    """

    visits: Visits
    channels: tuple[int, ...]
    standard_deviation: FloatArray
    frames: IntArray
    peak_to_peak: FloatArray
    noise_free_bits: FloatArray
    lag1: FloatArray
    effective_frames: FloatArray
    is_still: BoolArray


class NoiseCheck:
    """The `noise` kind."""

    kind = "noise"

    def needs(self, setup: Setup, index: int) -> frozenset[Capability]:
        """A supply."""
        return frozenset({Capability.CELL_SOURCE})

    def points(self, setup: Setup, index: int) -> tuple[PlannedPoint, ...]:
        """One point, no reference."""
        settings = _settings(setup, index)
        return (
            PlannedPoint(
                step=0,
                label={"nominal_volts": settings.cell_volts},
                cell_volts=(settings.cell_volts,) * setup.board.cells,
                frames=settings.frames,
                power_line_cycles=setup.plan.effort.power_line_cycles,
            ),
        )

    def acquire(self, bench: Bench, point: PlannedPoint, index: int) -> PointRecord:
        """Set all cells and take the frames."""
        return visit_cells(bench, point, index)

    def judge(self, observations: Observations, setup: Setup, index: int) -> Findings:
        """One finding a run and channel: indication and error are s."""
        board, figures = _measured(observations, setup, index)
        visits, channels = figures.visits, figures.channels
        deviation = np.where(board.is_usable, figures.standard_deviation, np.nan).reshape(-1)
        nominal = np.repeat(visits.numbers("nominal_volts"), len(channels))
        place = Place(
            check=self.kind,
            check_index=index,
            subject="cell",
            unit="V",
            run=np.repeat(visits.run, len(channels)),
            step=np.repeat(visits.step, len(channels)),
            channel=np.tile(np.array(channels, dtype=np.int64), len(visits)),
            point=[f"{volts:.3f} V" for volts in nominal.tolist()],
            nominal=nominal,
        )
        return error_findings(
            place,
            indication=deviation,
            reference=np.zeros(len(deviation)),
            limit=np.full(len(deviation), limits_of(setup).noise_volts),
            budget=_budget(deviation, figures, setup),
            decision=setup.plan.decision,
            overrides=_overrides(board, figures, setup),
        )


def noise_figures(observations: Observations, setup: Setup, index: int) -> NoiseFigures:
    """The figures that describe the noise of every channel, for reports."""
    return _measured(observations, setup, index)[1]


def upper_bound_factor(freedom: FloatArray, probability: float) -> FloatArray:
    """sqrt(nu / chi^2): the factor from s to its upper bound.

    The upper end of the two-sided interval for sigma with `probability`, from the chi-square
    distribution of nu s^2 / sigma^2 (NIST/SEMATECH e-Handbook 7.2.3.1, from memory).

    Parameters
    ----------
    freedom : nu > 0, any shape.
    """
    quantile = chdtri(freedom, 0.5 + probability / 2.0)
    return np.sqrt(freedom / quantile)


def _settings(setup: Setup, index: int) -> NoiseSettings:
    settings = setup.plan.check[index]
    if not isinstance(settings, NoiseSettings):
        raise MisuseError(f"check {index}: expected noise, got {settings.kind}")
    return settings


def _measured(observations: Observations, setup: Setup, index: int) -> tuple[Samples, NoiseFigures]:
    _settings(setup, index)
    channels = every_cell(setup, None)
    visits = visits_of(observations, index)
    board = samples_of(observations, visits, Source.BOARD, Quantity.CELL_VOLTAGE, channels)
    count = len(visits) * len(channels)
    codes = np.repeat(np.arange(count), board.count.reshape(-1))
    groups = group_statistics(board.values[board.is_present], codes, count)
    shape = (len(visits), len(channels))
    low = np.where(board.is_present, board.values, np.inf).min(axis=2, initial=np.inf)
    high = np.where(board.is_present, board.values, -np.inf).max(axis=2, initial=-np.inf)
    span = np.where(board.is_usable, high, np.nan) - np.where(board.is_usable, low, np.nan)
    deviation = groups.standard_deviation.reshape(shape)
    lag1 = groups.lag1.reshape(shape)
    inputs = setup.board.cell_inputs
    return board, NoiseFigures(
        visits=visits,
        channels=channels,
        standard_deviation=deviation,
        frames=board.count,
        peak_to_peak=span,
        noise_free_bits=noise_free_bits(inputs.highest_volts - inputs.lowest_volts, deviation),
        lag1=lag1,
        effective_frames=effective_count(board.count, _believed(lag1, board.count)),
        is_still=(span == 0) & is_improbably_still(board.count, setup),
    )


def _believed(lag1: FloatArray, count: IntArray) -> FloatArray:
    """The autocorrelation where it stands out of its own scatter 1/sqrt(n), else 0."""
    stands_out = lag1 * np.sqrt(count) > CORRELATION_SIGNIFICANCE
    return np.where(stands_out, lag1, 0.0)


def _budget(deviation: FloatArray, figures: NoiseFigures, setup: Setup) -> Budget:
    """Sized so that s + U is an upper bound of the noise, the chi-square one and the step's.

    The effective count of a variance is that of the squared correlation, n (1 - rho^2) /
    (1 + rho^2), for a first-order process (from memory).
    """
    probability = setup.plan.decision.coverage_probability
    rho = _believed(figures.lag1, figures.frames)
    frames = effective_count(figures.frames, rho**2).reshape(-1)
    freedom = np.maximum(frames - 1.0, 1.0)
    above = deviation * (upper_bound_factor(freedom, probability) - 1.0)
    normal = float(ndtri(0.5 + probability / 2.0))
    return Budget(
        (
            Contribution(
                name="scatter of the standard deviation",
                standard_uncertainty=above / normal,
                shape=Shape.NORMAL,
                degrees_of_freedom=np.full(len(deviation), np.inf),
                is_common=False,
                reduce_by="take more frames",
                source="chi-square upper bound of s from the frames of the point",
            ),
            _position(deviation, frames, setup),
        )
    )


def _position(deviation: FloatArray, frames: FloatArray, setup: Setup) -> Contribution:
    """What a steady value in the middle of a code hides of its noise."""
    probability = setup.plan.decision.coverage_probability
    step = setup.board.cell_inputs.resolution_volts
    bound = largest_noise_behind(step, deviation, np.maximum(frames, 2.0), probability)
    hidden = np.where(np.isnan(deviation), np.nan, np.maximum(bound - deviation, 0.0))
    return Contribution(
        name="position in the code",
        standard_uncertainty=hidden / float(ndtri(0.5 + probability / 2.0)),
        shape=Shape.NORMAL,
        degrees_of_freedom=np.full(len(deviation), np.inf),
        is_common=False,
        reduce_by="take more frames, or a board that reports finer steps",
        source=f"noise that may hide in the middle of a reporting step of {step:g} V",
    )


def _flickers(figures: NoiseFigures, setup: Setup) -> BoolArray:
    """Where s is above the limit only because the value lies between two codes, shape (p c,).

    A steady value there shows s up to q/2 sqrt(n/(n - 1)) with hardly any noise behind it.
    """
    step, limit = setup.board.cell_inputs.resolution_volts, limits_of(setup).noise_volts
    two_codes = figures.peak_to_peak <= step * (1.0 + 1e-6)
    found: BoolArray = (two_codes & (figures.standard_deviation > limit)).reshape(-1)
    return found


def _overrides(board: Samples, figures: NoiseFigures, setup: Setup) -> tuple[Override, ...]:
    frames = board.count.reshape(-1)
    columns = len(figures.channels)
    return (
        board_override(board, figures.channels, "channel"),
        Override(
            frames < FEWEST_FRAMES,
            Verdict.NOT_RUN,
            lambda i: f"{frames[i]} frames only, {FEWEST_FRAMES} or more are needed",
        ),
        Override(
            figures.is_still.reshape(-1),
            Verdict.FAIL,
            lambda i: (
                f"channel {figures.channels[i % columns]} is frozen: "
                + sameness(int(frames[i]), setup)
            ),
        ),
        unsettled_overrides(figures.visits, columns),
        Override(
            _flickers(figures, setup),
            Verdict.CANNOT_DECIDE,
            lambda i: (
                f"channel {figures.channels[i % columns]} flickers between two codes: the limit "
                "is below what the board's reporting step allows to tell"
            ),
        ),
    )
