"""Contributions of the board's own reading: scatter of its frames, its step, its settling.

The scatter of quantised frames already holds the dithered part of the step; `resolution` is
only what averaging leaves of it (decision record on resolution after dither).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from harness.checks.frame_correlation import (
    Correlation,
    correlation_of_channels,
    correlation_of_runs,
    groups_of,
    mean_of_frames,
    pooled_frames,
    shown_freedom,
    split_of,
)
from harness.checks.reference_budget import rectangular
from harness.checks.samples import Samples, Visits
from harness.metrology.budget import Contribution, Shape
from harness.metrology.repeatability import Groups, Pooled, pool
from harness.metrology.resolution import dithered_resolution_uncertainty
from harness.observation import FloatArray, IntArray


@dataclass(frozen=True)
class Scatter:
    """Scatter of the frames behind n = p x c means; arrays of shape (n,).

    deviation : of one frame, pooled over the channel's points unless its point stands out.
    freedom : degrees of freedom of the variance of the mean. effective : independent frames
    in the mean; below 1 where correlated frames show less scatter than their mean has.
    dither : pooled over all points of the channel, for what is left of the step.
    """

    deviation: FloatArray
    freedom: FloatArray
    effective: FloatArray
    dither: FloatArray


def channel_pools(visits: Visits, channels: int) -> IntArray:
    """The pool of each of n = p x c means: one for each run and channel, shape (n,)."""
    pools: IntArray = (visits.run_index[:, None] * channels + np.arange(channels)).reshape(-1)
    return pools


def scatter_of(
    samples: Samples,
    pools: IntArray,
    step: float | FloatArray,
    declared_noise: float | FloatArray,
    *,
    runs: IntArray | None = None,
    record: Correlation | None = None,
) -> Scatter:
    """Pool the scatter of the means that belong together.

    Parameters
    ----------
    samples : board values, shape (p, c, m). pools : from 0, shape (p c,), see `channel_pools`.
    step : the board's reporting step q, scalar or shape (p c,).
    declared_noise : standard deviation that stands where there is no scatter at all (one
        frame a point, as in a table measured by hand), with infinite degrees of freedom.
    runs : run of each mean, from 0, shape (p c,): frames of all its channels tell how much
        they repeat each other; each pool stands alone when None.
    record : what a noise check tells of that, for each run.
    """
    groups = groups_of(samples)
    pool_count = int(pools.max(initial=-1)) + 1
    family = pools if runs is None else runs
    frames = pooled_frames(groups, pools, family, step)
    of_run = correlation_of_runs(frames, int(family.max(initial=-1)) + 1)
    if record is not None:
        of_run = of_run.better_of(record)
    of_channel = correlation_of_channels(frames, of_run)
    known = of_channel.at(pools)
    pooled = pool(groups, pools, pool_count, shown_freedom=shown_freedom(groups.count, known))
    is_seen = pooled.degrees_of_freedom > 0
    seen_freedom = np.where(is_seen, pooled.degrees_of_freedom, np.inf)
    split = split_of(frames, of_channel.correlation).at(pools)
    means = mean_of_frames(groups.count, seen_freedom, split, known)
    return Scatter(
        deviation=np.where(is_seen, pooled.standard_deviation, declared_noise),
        freedom=means.freedom,
        effective=means.effective,
        dither=_dither(groups, pooled, pools, pool_count, step),
    )


def _dither(
    groups: Groups,
    pooled: Pooled,
    pools: IntArray,
    pool_count: int,
    step: float | FloatArray,
) -> FloatArray:
    """Scatter pooled over every point of a channel, the positions within the code mixed.

    A point beside a code edge flickers and one in the middle of a code does not; the inversion
    to the noise before quantising needs both. A point that stands out for another reason
    counts with what two flickering codes can show at most, q^2/4 n/(n-1).
    """
    freedom = np.maximum(groups.count - 1.0, 0.0)
    most = np.square(step) / 4.0 * groups.count / np.maximum(freedom, 1.0)
    variance = np.nan_to_num(np.square(groups.standard_deviation))
    variance = np.where(pooled.is_own, np.minimum(variance, most), variance)
    weight = np.where(np.isnan(groups.standard_deviation), 0.0, freedom)
    total = np.bincount(pools, weight, pool_count)
    power = np.bincount(pools, weight * variance, pool_count)
    found: FloatArray = np.sqrt(power / np.maximum(total, 1.0))[pools]
    return found


def repeatability(scatter: Scatter, name: str = "board repeatability") -> Contribution:
    """Type A of the mean of the frames: s / sqrt(n_eff) (GUM 4.2.3), with its own freedom."""
    is_seen = bool(np.isfinite(scatter.freedom).any())
    return Contribution(
        name=name,
        standard_uncertainty=scatter.deviation / np.sqrt(scatter.effective),
        shape=Shape.STUDENT,
        degrees_of_freedom=scatter.freedom,
        is_common=False,
        reduce_by="take more frames a point",
        source="scatter of the board's frames, pooled over the channel's points"
        if is_seen
        else "noise declared in the board's description",
    )


def resolution(scatter: Scatter, step: float | FloatArray, unit: str) -> Contribution:
    """What the frames' own noise leaves of the reporting step q, scalar or shape (n,)."""
    size = dithered_resolution_uncertainty(step, scatter.dither)
    steps = " or ".join(f"{q:g}" for q in np.unique(step))
    return rectangular(
        "board resolution",
        size * np.sqrt(3.0),
        f"reporting step of {steps} {unit} after dither by the board's own noise",
        "a board that reports finer steps",
    )


def mean_decay(samples: Samples, time_constant_seconds: float | FloatArray) -> FloatArray:
    """What averaging over a window leaves of a first-order tail, as a share of its start.

    The mean of exp(-(t - t_first)/tau) over the frames of each mean, shape (p c,): frames
    are taken from the moment on at which the declared time constant tau (scalar, or of a
    shape that fits (p, c)) has brought the tail inside the settling budget. One where nothing
    is known of times, as in a table measured by hand: all its readings carry one time.
    """
    times = samples.monotonic
    known = np.where(samples.is_present, times, np.inf)
    first = np.min(known, axis=2, keepdims=True, initial=np.inf)
    tau = np.broadcast_to(np.asarray(time_constant_seconds, dtype=np.float64), times.shape[:2])
    since = np.where(samples.is_present, times, 0.0) - np.where(samples.is_present, first, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(since > 0, np.exp(-since / tau[:, :, None]), 1.0)
    total = np.where(samples.is_present, share, 0.0).sum(axis=2)
    found: FloatArray = (total / np.maximum(samples.count, 1)).reshape(-1)
    return found


def settling(budget: float | FloatArray, decay: FloatArray, unit: str) -> Contribution:
    """What a point that counts as settled may still lack: its settling budget, decaying.

    Parameters
    ----------
    budget : the one that the point was settled by, in `unit`, scalar or shape (n,): what was
        waited for at the bench, whatever the plan says by which it is judged later.
    decay : shape (n,), see `mean_decay`.
    """
    sizes = " or ".join(f"{size:g}" for size in np.unique(budget))
    return rectangular(
        "settling residual",
        budget * decay,
        f"settling budget of the measurement, {sizes} {unit}, averaged over the window",
        "a smaller settling budget in the plan measured with, or more frames",
    )
