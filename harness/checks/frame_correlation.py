"""How much the frames of a board repeat each other, and what that does to their mean.

A first-order process is taken (`harness.metrology.autocorrelation`). Firmware
that averages does so for all channels, so the correlation is pooled over a run's channels; a
channel that stands out keeps its own. The frames of a noise check in the same run tell it best: a
long series hides little. The declared input filter is no witness, because the converter's noise
comes after it. Judges nothing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from harness.checks.samples import Samples, samples_of, visits_of
from harness.checks.visiting import every_cell
from harness.descriptions.setup import Setup
from harness.metrology.autocorrelation import (
    LARGEST_CORRELATION,
    correlation_behind,
    correlation_slope,
    expected_lag1,
    freedom_share,
    hidden_share,
    lag1_variance,
    mean_variance_ratio,
)
from harness.metrology.repeatability import Groups, group_statistics
from harness.metrology.resolution import dithering_noise, residual_resolution_uncertainty
from harness.observation import FloatArray, IntArray, Observations, Quantity, Source

# A channel keeps its own correlation when its coefficient lies this many of its standard
# deviations above the run's: chance does that to one channel in 740.
STANDS_OUT = 3.0

# A coefficient counts from this many of its standard deviations above that of white noise on:
# a compromise between wide uncertainties of white boards and narrow ones of averaging boards,
# found by simulation (tests/checks/test_checks_coverage.py).
BELIEVED_FROM = 1.0

# Three-point Gauss-Hermite rule: the mean of f over what rho may be, (place in standard
# deviations, weight).
_AVERAGE = ((-np.sqrt(3.0), 1.0 / 6.0), (0.0, 2.0 / 3.0), (np.sqrt(3.0), 1.0 / 6.0))

# An estimate of rho that is all but unknown does not widen the t-factor beyond that of so many
# degrees of freedom: rho is bounded, the t-distribution is not.
FEWEST_FREEDOM = 4.0

# Least share of the scatter that is taken for noise before quantising. Below it the scatter is
# made by the reporting step, and what the frames tell about the noise is chance.
LEAST_NOISE_SHARE = 0.3

# The share of quantising in the scatter follows from the correlation and the other way round;
# after this many rounds neither moves by a hundredth any more.
_ROUNDS = 4


@dataclass(frozen=True)
class Correlation:
    """Lag-1 correlation of a board's noise: coefficient and the variance of that estimate.

    Arrays of one shape; variance is inf where nothing is known, and the correlation then 0.
    """

    correlation: FloatArray
    variance: FloatArray

    def at(self, places: IntArray) -> Correlation:
        """Those at `places`."""
        return Correlation(self.correlation[places], self.variance[places])

    def better_of(self, other: Correlation) -> Correlation:
        """Of two estimates the one of smaller variance, place by place."""
        is_other = other.variance < self.variance
        return Correlation(
            np.where(is_other, other.correlation, self.correlation),
            np.where(is_other, other.variance, self.variance),
        )


@dataclass(frozen=True)
class PooledFrames:
    """Sums over the frames of each channel of a run; arrays of shape (pools,).

    series : how many that are not steady. frames : readings a series, on average.
    power, product : sums of squares and of lag-1 products about the series' means.
    freedom : readings less series. step : the reporting step q. run : that of the pool.
    """

    series: FloatArray
    frames: IntArray
    power: FloatArray
    product: FloatArray
    freedom: FloatArray
    step: FloatArray
    run: IntArray

    @property
    def variance(self) -> FloatArray:
        """s^2 of each pool, 0 where there is none."""
        return self.power / np.maximum(self.freedom, 1.0)


@dataclass(frozen=True)
class Split:
    """The scatter of each pool split into noise and quantising; arrays of shape (pools,).

    noise_share : of the power, what is noise before quantising. step_correlation : lag-1
    correlation of the quantising errors, which repeat while the noise moves less than a step.
    """

    noise_share: FloatArray
    step_correlation: FloatArray

    def at(self, places: IntArray) -> Split:
        """Those at `places`."""
        return Split(self.noise_share[places], self.step_correlation[places])


def groups_of(samples: Samples) -> Groups:
    """Statistics of every (visit, channel), in that order."""
    shape = samples.values.shape
    count = shape[0] * shape[1]
    codes = np.repeat(np.arange(count), samples.is_present.reshape(count, -1).sum(axis=1))
    return group_statistics(samples.values[samples.is_present], codes, count)


def pooled_frames(
    groups: Groups, pools: IntArray, runs: IntArray, step: float | FloatArray
) -> PooledFrames:
    """Pool the lag-1 products of g series.

    Parameters
    ----------
    pools, runs : of each series, from 0, shape (g,). step : reporting step q, scalar or (g,).
    """
    size = int(pools.max(initial=-1)) + 1
    s2 = np.nan_to_num(np.square(groups.standard_deviation))
    usable = s2 > 0
    freedom = np.where(np.isnan(groups.standard_deviation), 0.0, groups.count - 1.0)
    raw = np.where(usable, groups.lag1 - 1.0 / np.maximum(groups.count, 1), 0.0)
    series = _sums(pools, usable, size)
    frames = _sums(pools, np.where(usable, groups.count, 0), size)
    steps, run = np.zeros(size), np.zeros(size, dtype=np.int64)
    steps[pools], run[pools] = step, runs
    return PooledFrames(
        series=series,
        frames=np.maximum(np.round(frames / np.maximum(series, 1)), 2).astype(np.int64),
        power=_sums(pools, freedom * s2, size),
        product=_sums(pools, freedom * s2 * raw, size),
        freedom=_sums(pools, freedom, size),
        step=steps,
        run=run,
    )


def _sums(places: IntArray, values: ArrayLike, size: int) -> FloatArray:
    """Sum of the values at each place, shape (size,)."""
    weights = np.asarray(values, dtype=np.float64)
    return np.bincount(places, weights, size).astype(np.float64)


def split_of(found: PooledFrames, correlation: FloatArray) -> Split:
    """Noise and quantising in the scatter of each pool, its noise correlated by `correlation`.

    Quantising errors at a uniform position in the code have the covariance
    u_res^2(sigma sqrt(1 - rho)) (see `harness.metrology.resolution`, with the variance of the
    difference of two readings in place of twice sigma^2); what all readings share of it,
    u_res^2(sigma), is no scatter and is the resolution's business.
    """
    q, s2 = found.step, found.variance
    whole = np.square(q) / 12.0
    hidden = _by_count(found.frames, correlation, hidden_share)
    sigma = dithering_noise(q, np.sqrt(s2)) / np.sqrt(1.0 - hidden)
    between = np.zeros(len(q))
    for _ in range(_ROUNDS):
        common = np.square(residual_resolution_uncertainty(q, sigma))
        near = np.square(residual_resolution_uncertainty(q, sigma * np.sqrt(1.0 - correlation)))
        with np.errstate(invalid="ignore", divide="ignore"):
            between = np.where(whole > common, (near - common) / (whole - common), 0.0)
        between = np.clip(between, 0.0, LARGEST_CORRELATION)
        # What the scatter would be if the series hid nothing, and the noise behind that.
        lost = np.square(sigma) * hidden
        lost += (whole - common) * _by_count(found.frames, between, hidden_share)
        sigma = dithering_noise(q, np.sqrt(s2 + lost))
    shown = np.square(sigma) * (1.0 - hidden)
    share = np.where(s2 > 0, shown / np.where(s2 > 0, s2, 1.0), 1.0)
    return Split(np.clip(share, 0.0, 1.0), between)


def correlation_of_runs(found: PooledFrames, runs: int) -> Correlation:
    """The correlation of each run, pooled over its channels."""
    return _pooled(found, found.run, runs)


def correlation_of_channels(found: PooledFrames, of_run: Correlation) -> Correlation:
    """The run's correlation for each pool, its own where that stands out above it."""
    own = _pooled(found, np.arange(len(found.run)), len(found.run))
    common = of_run.at(found.run)
    apart = own.correlation - common.correlation
    with np.errstate(invalid="ignore"):
        stands_out = apart > STANDS_OUT * np.sqrt(own.variance + common.variance)
    return Correlation(
        np.where(stands_out, own.correlation, common.correlation),
        np.where(stands_out, own.variance, common.variance),
    )


def _pooled(found: PooledFrames, place: IntArray, size: int) -> Correlation:
    """One correlation for all pools of each place; what quantising adds is taken out."""
    scale = _scale(found, place, size)
    frames = _sums(place, found.series * found.frames, size) / np.maximum(
        _sums(place, found.series, size), 1.0
    )
    known = Correlation(np.zeros(size), np.full(size, np.inf))
    for _ in range(_ROUNDS):
        split = split_of(found, known.correlation[place])
        share = np.maximum(split.noise_share, LEAST_NOISE_SHARE)
        expected = _by_count(found.frames, split.step_correlation, expected_lag1)
        product = found.product - (1.0 - share) * found.power * expected
        power = _sums(place, share * found.power / scale, size)
        with np.errstate(invalid="ignore", divide="ignore"):
            lag1 = np.nan_to_num(_sums(place, product / scale, size) / power)
        weight = _sums(place, found.series * np.square(share) * (found.power > 0), size)
        known = _estimate(lag1, frames, weight)
    return known


def _scale(found: PooledFrames, place: IntArray, size: int) -> FloatArray:
    """By what each pool's sums are divided, so that no noisy channel speaks for the others.

    The usual variance of the place (geometric mean), so that sums and not ratios are pooled, but
    a channel of more than four times that counts by its own.
    """
    is_seen = found.power > 0
    logarithm = np.log(np.where(is_seen, found.variance, 1.0))
    seen = np.maximum(_sums(place, is_seen, size), 1.0)
    usual = np.exp(_sums(place, logarithm, size) / seen)[place]
    scale: FloatArray = np.where(found.variance > 4.0 * usual, found.variance, usual)
    return np.where(scale > 0, scale, 1.0)


def _by_count(
    counts: IntArray, correlation: FloatArray, of: Callable[[int, FloatArray], FloatArray]
) -> FloatArray:
    """`of(count, correlation)` of each pool, from a table for every count that occurs."""
    grid = correlation_grid()
    result = np.zeros(len(counts))
    for count in np.unique(counts).tolist():
        mine = counts == count
        result[mine] = np.interp(correlation[mine], grid, of(count, grid))
    return result


def _estimate(lag1: FloatArray, frames: FloatArray, weight: FloatArray) -> Correlation:
    """rho and its variance from pooled coefficients of series of `frames` readings."""
    rho, variance = np.zeros(len(lag1)), np.full(len(lag1), np.inf)
    counts = np.maximum(np.round(frames), 2).astype(np.int64)
    for count in np.unique(counts).tolist():
        mine = (counts == count) & (weight > 0)
        if count < 3:  # two readings show -1/2 whatever the correlation
            continue
        # Within one standard deviation of what independent frames show, they count as such:
        # chance alone must not widen the uncertainty of a board whose noise is white.
        chance = np.sqrt(lag1_variance(count, 0.0) / weight[mine])
        is_shown = lag1[mine] > expected_lag1(count, 0.0) + BELIEVED_FROM * chance
        rho[mine] = np.where(is_shown, correlation_behind(count, lag1[mine]), 0.0)
        slope = correlation_slope(count, rho[mine])
        variance[mine] = np.square(slope) * lag1_variance(count, rho[mine]) / weight[mine]
    return Correlation(rho, variance)


def shown_freedom(count: IntArray, known: Correlation) -> FloatArray:
    """Degrees of freedom of each group's own s^2, shape (g,): fewer than n - 1 when correlated."""
    share = _by_count(np.maximum(count, 2), known.correlation, freedom_share)
    freedom: FloatArray = np.maximum(count - 1.0, 0.0) * share
    return freedom


@dataclass(frozen=True)
class MeanOfFrames:
    """What correlation does to means; arrays of shape (g,).

    effective : s^2 over the variance of the mean. freedom : degrees of freedom of that.
    """

    effective: FloatArray
    freedom: FloatArray


def mean_of_frames(
    count: IntArray, freedom: FloatArray, split: Split, known: Correlation
) -> MeanOfFrames:
    """Independent frames in each mean, and the degrees of freedom of its variance.

    Parameters
    ----------
    count : frames of each mean. freedom : of the pooled s, as if frames were independent.
    split, known : for each mean, shapes (g,).

    Notes
    -----
    The variance of the mean is s^2 (a f(n, rho) + (1 - a) f(n, rho_q)) for a noise share a.
    Its relative variance is that of s^2 and that of f through rho, added; nu = 2 over the sum
    (GUM G.3).
    """
    ratio = 1.0 / np.maximum(count, 1)
    left = freedom.copy()
    is_known = np.isfinite(known.variance)
    for n in np.unique(count[is_known]).tolist():
        if n < 3:
            continue
        mine = is_known & (count == n)
        rho, share = known.correlation[mine], split.noise_share[mine]
        grid = correlation_grid()
        table = mean_variance_ratio(n, grid)
        spread = np.where(rho > 0, np.sqrt(known.variance[mine]), 0.0)
        f = np.zeros(len(rho))
        for place, weight in _AVERAGE:
            f += weight * np.interp(rho + place * spread, grid, table)
        slope = np.interp(rho, grid, np.gradient(table, grid))
        f_step = np.interp(split.step_correlation[mine], grid, table)
        ratio[mine] = share * f + (1.0 - share) * f_step
        relative = np.square(share * slope / ratio[mine]) * known.variance[mine]
        relative = np.where(rho > 0, relative, 0.0)
        own = freedom[mine] * np.interp(rho, grid, freedom_share(n, grid))
        left[mine] = np.maximum(2.0 / (2.0 / own + relative), np.minimum(own, FEWEST_FREEDOM))
    return MeanOfFrames(1.0 / ratio, left)


def correlation_grid() -> FloatArray:
    """Correlations at which the ratio is worked out, close enough for straight lines between."""
    return np.linspace(0.0, LARGEST_CORRELATION, 191)


def record_of_noise(observations: Observations, setup: Setup, runs: IntArray) -> Correlation | None:
    """The correlation that the noise check of each of `runs` tells; None where there is none."""
    cells = every_cell(setup, None)
    for index, settings in enumerate(setup.plan.check):
        if settings.kind != "noise" or not (observations.check == index).any():
            continue
        visits = visits_of(observations, index)
        samples = samples_of(observations, visits, Source.BOARD, Quantity.CELL_VOLTAGE, cells)
        groups = groups_of(samples)
        run = np.repeat(visits.run_index, len(cells))
        pools = run * len(cells) + np.tile(np.arange(len(cells)), len(visits))
        found = pooled_frames(groups, pools, run, setup.board.cell_inputs.resolution_volts)
        told = correlation_of_runs(found, len(visits.runs))
        return _aligned(told, visits.runs, runs)
    return None


def _aligned(told: Correlation, told_runs: IntArray, runs: IntArray) -> Correlation:
    """`told` of `told_runs` at `runs`; unknown where a run is not among them."""
    rho, variance = np.zeros(len(runs)), np.full(len(runs), np.inf)
    _, here, there = np.intersect1d(runs, told_runs, return_indices=True)
    rho[here], variance[here] = told.correlation[there], told.variance[there]
    return Correlation(rho, variance)
