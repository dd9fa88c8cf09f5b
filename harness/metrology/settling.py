"""Is a signal settled, and when will it be: first-order filters after steps and ramps.

A window of samples is settled when neither its slope nor its scatter goes beyond a budget by
more than the declared noise explains. Noise alone must not keep a steady signal waiting, so
the allowances stand far out in the noise's own distribution.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, ndtri

from harness.errors import MisuseError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Probability that a steady channel with the declared noise is held back by one of the two
# tests: with sixteen channels and a hundred points that is one window repeated in six runs.
FALSE_ALARM = 1.0e-4


def is_settled(
    times: ArrayLike,
    values: ArrayLike,
    noise: ArrayLike,
    budget: ArrayLike,
    false_alarm: float = FALSE_ALARM,
) -> BoolArray:
    """Whether each channel's window of samples is steady.

    Parameters
    ----------
    times : seconds, shape (m,), rising. values : shape (m, n), n channels.
    noise : declared standard deviation of one sample, reporting step included, unit of the
        values, scalar or shape (n,), >= 0. budget : largest drift over the window, same.
    false_alarm : probability of holding back a steady channel, for each of the two tests.

    Returns
    -------
    Shape (n,). A channel is settled when |least-squares slope| x window is at most the
    budget plus what the noise allows, and the scatter about that line is at most what noise
    and budget allow. NaN in a channel, or fewer than two samples, is not settled.

    Raises
    ------
    MisuseError : shapes do not fit.
    """
    t, v = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    if t.ndim != 1 or v.ndim != 2 or v.shape[0] != len(t):
        raise MisuseError(
            f"settling: expected times (m,) and values (m, n), got {t.shape} and {v.shape}"
        )
    sigma, most = np.asarray(noise, dtype=np.float64), np.asarray(budget, dtype=np.float64)
    count, channels = v.shape
    if count < 2 or not t[-1] > t[0]:
        return np.zeros(channels, dtype=bool)
    window = float(t[-1] - t[0])
    dt = t - t.mean()
    dv = v - v.mean(axis=0)
    spread = float(dt @ dt)
    slope = dt @ dv / spread
    z = -float(ndtri(false_alarm / 2.0))
    drift_allowed = most + z * sigma * window / np.sqrt(spread)
    is_level: BoolArray = np.abs(slope) * window <= drift_allowed
    if count == 2:
        return is_level
    residual = np.square(dv - np.outer(dt, slope)).sum(axis=0)
    scatter_allowed = np.square(sigma) * float(chdtri(count - 2, false_alarm)) + (
        np.square(most) * (count - 2)
    )
    calm: BoolArray = is_level & (residual <= scatter_allowed)
    return calm


def time_to_settle_seconds(
    step: ArrayLike, time_constant_seconds: ArrayLike, budget: ArrayLike
) -> FloatArray:
    """Seconds until a first-order filter is within `budget` of its end: tau ln(|step|/budget).

    0 where the step is inside the budget already. `step` and `budget` in one unit. Exponential
    response of a first-order low-pass: common practice.
    """
    with np.errstate(divide="ignore"):
        logarithm = np.log(np.abs(np.asarray(step, dtype=np.float64)) / np.asarray(budget))
    result: FloatArray = np.asarray(time_constant_seconds) * np.maximum(logarithm, 0.0)
    return result


def lag_after_ramp(
    rate: ArrayLike, ramp_seconds: ArrayLike, time_constant_seconds: ArrayLike
) -> FloatArray:
    """How far a first-order filter is behind when a ramp ends: S tau (1 - exp(-t/tau)).

    Parameters
    ----------
    rate : S, unit of the value per second. ramp_seconds : t >= 0. time_constant_seconds :
        tau >= 0; with tau = 0 there is no lag.

    Returns
    -------
    Lag with the sign of the rate; tends to S tau in a long ramp, to the step in a short one.
    """
    tau = np.asarray(time_constant_seconds, dtype=np.float64)
    safe = np.where(tau > 0, tau, 1.0)
    lag = np.asarray(rate) * safe * -np.expm1(-np.asarray(ramp_seconds) / safe)
    return np.where(tau > 0, lag, 0.0)


def settled_after_ramp_seconds(
    change: ArrayLike,
    ramp_seconds: ArrayLike,
    time_constant_seconds: ArrayLike,
    budget: ArrayLike,
) -> FloatArray:
    """Seconds after the end of a ramp until the filter is within `budget`.

    `change` is the whole change of the ramp; a ramp of 0 seconds is a step.
    """
    seconds = np.asarray(ramp_seconds, dtype=np.float64)
    ramps = seconds > 0
    rate = np.asarray(change) / np.where(ramps, seconds, 1.0)
    lag = np.where(ramps, lag_after_ramp(rate, seconds, time_constant_seconds), change)
    return time_to_settle_seconds(lag, time_constant_seconds, budget)
