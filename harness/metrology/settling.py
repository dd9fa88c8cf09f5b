"""Is a signal settled, and when will it be: first-order filters after steps and ramps.

A window of samples is settled when neither its slope nor its scatter goes beyond a budget by
more than the declared noise explains. Noise alone must not keep a steady signal waiting, so
the allowances stand far out in the noise's own distribution. They let a slow drift pass, and
what a slow filter still has to go is many times its drift over a window: `slow_tail` finds it
from all samples since the stimulus.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtri, fdtri, ndtri

from harness.errors import MisuseError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Probability that a steady channel with the declared noise is held back by one of the two
# tests: with sixteen channels and a hundred points that is one window repeated in six runs.
FALSE_ALARM = 1.0e-4

# Rarer still, because a channel once called slow makes every later point wait: with sixteen
# channels, a hundred points and a few looks at each, one run in two thousand.
SLOW_FALSE_ALARM = 1.0e-7

# Three parameters and two samples more.
FEWEST_FOR_TAIL = 5

# Neighbouring time constants of the search, and its end as a multiple of the time seen: beyond
# that an exponential is a straight line.
GRID_RATIO = 1.04
SPANS_OF_GRID = 20.0
DECLARED_STEPS = 24


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


@dataclass(frozen=True)
class SlowTail:
    """What is still to come of channels that settle more slowly than declared; shape (n,).

    is_slow : whether a time constant beyond the declared one is needed to explain the samples.
    time_constant_seconds : the best one, NaN where not slow. amplitude : of the tail at
    `from_seconds`, unit of the values, 0 where not slow.
    """

    is_slow: BoolArray
    time_constant_seconds: FloatArray
    amplitude: FloatArray
    from_seconds: float

    def mean_left(self, times: ArrayLike) -> FloatArray:
        """Mean of the tail over a window of sample `times`, shape (n,); 0 where not slow."""
        since = np.asarray(times, dtype=np.float64)[:, None] - self.from_seconds
        left: FloatArray = np.abs(self.amplitude) * np.exp(-since / self._tau()).mean(axis=0)
        return left

    def ready_seconds(self, budget: float) -> float:
        """The moment at which every tail is inside `budget`: tau ln(|b| / budget) later."""
        waits = time_to_settle_seconds(self.amplitude, self._tau(), budget)
        return self.from_seconds + float(waits.max(initial=0.0))

    def _tau(self) -> FloatArray:
        return np.where(self.is_slow, self.time_constant_seconds, 1.0)


def slow_tail(
    times: ArrayLike,
    values: ArrayLike,
    noise: ArrayLike,
    longest_declared_seconds: float,
    false_alarm: float = SLOW_FALSE_ALARM,
) -> SlowTail:
    """Channels whose samples after a step only a longer time constant than declared explains.

    Parameters
    ----------
    times : seconds, shape (m,), rising, all after the stimulus has ended. values : (m, n).
    noise : declared standard deviation of one sample, scalar or shape (n,).
    longest_declared_seconds : the largest time constant that the declaration allows, >= 0.
    false_alarm : probability of calling a channel slow that is not, for each channel.

    Returns
    -------
    Nothing is slow below `FEWEST_FOR_TAIL` samples; a channel with NaN is not.

    Notes
    -----
    Least squares of a + b exp(-(t - t0)/tau) over a geometric grid of tau; for each tau it is
    linear in a and b, and the sum of squares falls by b^2 sum(e - mean e)^2 (linear regression,
    textbook). Two hypotheses are compared: the best tau up to the declared one, and the best
    beyond it. The difference of their sums of squares over the variance of one sample is
    chi-square with one degree of freedom when the declared noise holds, and F(1, m - 3) where
    the residuals say that it does not (likelihood ratio of nested models, textbook).
    """
    t, v = np.asarray(times, dtype=np.float64), np.asarray(values, dtype=np.float64)
    count, channels = v.shape
    nothing = SlowTail(
        np.zeros(channels, dtype=bool),
        np.full(channels, np.nan),
        np.zeros(channels),
        float(t[0]) if count else 0.0,
    )
    if count < FEWEST_FOR_TAIL or not t[-1] > t[0]:
        return nothing
    since, deviation = t - t[0], v - v.mean(axis=0)
    beyond, amplitude, gained = _best_tail(since, deviation, _grid(longest_declared_seconds, since))
    _, _, declared = _best_tail(
        since, deviation, longest_declared_seconds * np.geomspace(1 / 32, 1.0, DECLARED_STEPS)
    )
    left = np.maximum(np.square(deviation).sum(axis=0) - gained, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        is_slow = (gained - declared) > _least_gain(left, noise, count - 3, false_alarm)
    return SlowTail(
        is_slow,
        np.where(is_slow, beyond, np.nan),
        np.where(is_slow, amplitude, 0.0),
        float(t[0]),
    )


def _grid(longest_declared_seconds: float, since: FloatArray) -> FloatArray:
    """Time constants beyond the declared one, shape (g,): to many times the time seen."""
    least = max(longest_declared_seconds * GRID_RATIO, float(since[1:].min()) / 4)
    most = max(SPANS_OF_GRID * float(since[-1]), least * GRID_RATIO)
    return np.geomspace(least, most, math.ceil(math.log(most / least) / math.log(GRID_RATIO)) + 1)


def _best_tail(
    since: FloatArray, deviation: FloatArray, taus: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Time constant, amplitude and fall of the sum of squares of the best fit, shape (n,)."""
    usable = taus[taus > 0]
    if not len(usable):
        zero = np.zeros(deviation.shape[1])
        return zero, zero, zero
    shapes = np.exp(-since[None, :] / usable[:, None])
    shapes -= shapes.mean(axis=1, keepdims=True)
    power = np.square(shapes).sum(axis=1)[:, None]
    fits = np.where(power > 0, (shapes @ deviation) / np.where(power > 0, power, 1.0), 0.0)
    gained = np.square(fits) * power
    best = np.argmax(gained, axis=0)
    mine = np.arange(deviation.shape[1])
    return usable[best], fits[best, mine], gained[best, mine]


def _least_gain(left: FloatArray, noise: ArrayLike, freedom: int, false_alarm: float) -> FloatArray:
    """How much better the slow fit must be, in squared units, shape (n,)."""
    variance = np.square(np.asarray(noise, dtype=np.float64)) + np.zeros_like(left)
    is_as_declared = left <= variance * float(chdtri(freedom, FALSE_ALARM))
    by_declared = variance * float(chdtri(1, false_alarm))
    by_scatter = left / freedom * float(fdtri(1, freedom, 1.0 - false_alarm))
    found: FloatArray = np.where(is_as_declared, by_declared, by_scatter)
    return found
