"""Means of few correlated readings: first-order autoregression, exactly, for short series.

Firmware that averages makes neighbouring frames alike. In a short series the scatter about its
own mean then hides most of the noise, and the usual n (1 - rho)/(1 + rho), which is for
long series, is far from the truth. Everything here is an exact sum over the covariances
sigma^2 rho^|i - j| of a stationary first-order process; nothing here estimates from data.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# Larger than this, a series of a few frames is a drift and no noise; its mean says nothing.
LARGEST_CORRELATION = 0.95
_TABLE_POINTS = 96

# Up to here the variance of the coefficient is worked out with matrices of this size.
_EXACT_COUNT = 32


def mean_variance_ratio(count: int, correlation: ArrayLike) -> FloatArray:
    """Var(mean) / E[s^2] of `count` readings with lag-1 correlation rho, any shape.

    Var(mean) = sigma^2 g / n with g = 1 + 2 sum_(k=1)^(n-1) (1 - k/n) rho^k, and
    E[s^2] = sigma^2 (n - g) / (n - 1) (first-order autoregression, for instance Law and
    Kelton, Simulation Modeling and Analysis, section 4.4; from memory). 1/n at rho = 0.

    Parameters
    ----------
    count : n >= 2. correlation : 0 <= rho < 1, else NaN.
    """
    g = _inflation(count, correlation)
    ratio: FloatArray = (count - 1.0) * g / (count * (count - g))
    return ratio


def hidden_share(count: int, correlation: ArrayLike) -> FloatArray:
    """Share of sigma^2 that s^2 does not show: 1 - E[s^2]/sigma^2; 0 at rho = 0."""
    hidden: FloatArray = (_inflation(count, correlation) - 1.0) / (count - 1.0)
    return hidden


def expected_lag1(count: int, correlation: ArrayLike) -> FloatArray:
    """Lag-1 coefficient that many series of `count` readings show on average, any shape.

    E[sum (x_i - m)(x_(i+1) - m)] / E[sum (x_i - m)^2]: the limit of the coefficient pooled
    over many series; -1/n at rho = 0. (A single series shows rho - (1 + 4 rho)/n to first
    order: Marriott and Pope, Biometrika 41 (1954) 390-402; Kendall, ibid. 403-404; from memory.)

    Parameters
    ----------
    count : n >= 2. correlation : 0 <= rho < 1, else NaN.
    """
    rho = _known(correlation)
    g = _inflation(count, rho)
    ends = _row_sum(count, rho, 1)
    products = (count - 1.0) * (rho + g / count) - 2.0 * (count * g - ends) / count
    found: FloatArray = products / (count - g)
    return found


def freedom_share(count: int, correlation: ArrayLike) -> FloatArray:
    """Degrees of freedom of s^2 as a share of n - 1, any shape; 1 at rho = 0.

    2 E[s^2]^2 / Var(s^2) / (n - 1) = tr(M)^2 / tr(M^2) / (n - 1) with the covariances M of
    the residuals (variance of a quadratic form of normal values; from memory).
    """
    rho = _known(correlation)
    g = _inflation(count, rho)
    places = np.arange(1, count + 1).reshape((-1,) + (1,) * rho.ndim)
    lags = np.arange(1, count).reshape((-1,) + (1,) * rho.ndim)
    squared = count + 2.0 * ((count - lags) * rho ** (2 * lags)).sum(axis=0)
    rows = _row_sum(count, rho, places)
    power = squared - 2.0 / count * np.square(rows).sum(axis=0) + np.square(g)
    share: FloatArray = np.square(count - g) / power / (count - 1.0)
    return share


def lag1_variance(count: int, correlation: ArrayLike) -> FloatArray:
    """Variance of the pooled lag-1 coefficient times the number of series behind it.

    The coefficient is a ratio of quadratic forms Q1/Q0, so its variance is that of Q1 - h Q0
    over E[Q0]^2 (delta method), exact for normal values up to `_EXACT_COUNT` readings, and
    (1 - rho^2)/n for longer series (Bartlett; from memory).
    """
    rho = np.asarray(correlation, dtype=np.float64)
    if count > _EXACT_COUNT:
        long: FloatArray = (1.0 - np.square(rho)) / count
        return long
    grid, variance = _variance_table(count)
    return np.interp(rho, grid, variance)


@cache
def _variance_table(count: int) -> tuple[FloatArray, FloatArray]:
    grid = np.linspace(0.0, LARGEST_CORRELATION, 20)
    return grid, np.array([_exact_lag1_variance(count, float(rho)) for rho in grid])


def _exact_lag1_variance(count: int, rho: float) -> float:
    places = np.arange(count)
    lags = np.abs(places[:, None] - places)
    centre = np.eye(count) - 1.0 / count
    shown = float(expected_lag1(count, rho))
    form = centre @ (0.5 * (lags == 1) - shown * (lags == 0)) @ centre @ np.power(rho, lags)
    scale = count - float(_inflation(count, rho))
    return 2.0 * float(np.trace(form @ form)) / scale**2


def correlation_behind(count: int, lag1: ArrayLike) -> FloatArray:
    """The rho whose `expected_lag1` is `lag1`, between 0 and `LARGEST_CORRELATION`.

    A coefficient below that of white noise gives 0: a negative estimate from few readings is
    no reason to claim more than was measured.
    """
    shown, rho = _table(count)
    return np.interp(np.asarray(lag1, dtype=np.float64), shown, rho)


def correlation_slope(count: int, correlation: ArrayLike) -> FloatArray:
    """d rho / d lag1 at `correlation`: how an error of the coefficient shows in rho."""
    shown, rho = _table(count)
    slope: FloatArray = np.interp(
        np.asarray(correlation, dtype=np.float64), rho, np.gradient(rho, shown)
    )
    return slope


@cache
def _table(count: int) -> tuple[FloatArray, FloatArray]:
    """(lag-1 coefficient, rho), both rising."""
    rho = np.linspace(0.0, LARGEST_CORRELATION, _TABLE_POINTS)
    return expected_lag1(count, rho), rho


def _known(correlation: ArrayLike) -> FloatArray:
    rho = np.asarray(correlation, dtype=np.float64)
    return np.where((rho >= 0) & (rho < 1), rho, np.nan)


def _inflation(count: int, correlation: ArrayLike) -> FloatArray:
    """g: n Var(mean) / sigma^2, the sum of all correlations over n."""
    rho = _known(correlation)
    lags = np.arange(1, count).reshape((-1,) + (1,) * rho.ndim)
    found: FloatArray = 1.0 + 2.0 * ((1.0 - lags / count) * rho**lags).sum(axis=0)
    return found


def _row_sum(count: int, rho: FloatArray, place: ArrayLike) -> FloatArray:
    """Sum of a reading's correlations with all readings, itself included; place from 1."""
    i = np.asarray(place)
    found: FloatArray = (1.0 + rho - rho**i - rho ** (count - i + 1)) / (1.0 - rho)
    return found
