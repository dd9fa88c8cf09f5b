"""Scatter of repeated readings: one series, or many groups at once.

Two passes everywhere (residuals from the mean, then their squares), because readings of
several volts scatter by microvolts. Quantisation is `resolution`'s business.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import fdtri, gammaln

from harness.errors import MisuseError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

# A group leaves the pool when its variance is larger than the others' by an F-ratio that
# steady groups exceed once in this many: rare enough not to cost steady channels their
# degrees of freedom, common enough to catch a point that scatters twice as much.
GUARD_SIGNIFICANCE = 1.0e-3


# One series ------------------------------------------------------------------------------


def mean(values: ArrayLike) -> float:
    """Arithmetic mean, corrected for rounding by a second pass (GUM 4.2.1).

    NaN in, NaN out; no value at all gives NaN.
    """
    x = np.asarray(values, dtype=np.float64)
    if not x.size:
        return float("nan")
    first = float(np.mean(x))
    return first + float(np.mean(x - first))


def experimental_standard_deviation(values: ArrayLike) -> float:
    """Experimental standard deviation s with n - 1 (GUM 4.2.2); NaN below two values."""
    x = np.asarray(values, dtype=np.float64)
    if x.size < 2:
        return float("nan")
    residual = x - float(np.mean(x))
    correction = float(residual.sum()) ** 2 / x.size
    return float(np.sqrt((float(residual @ residual) - correction) / (x.size - 1)))


def lag1_autocorrelation(values: ArrayLike) -> float:
    """Lag-1 autocorrelation coefficient r1 about the mean.

    r1 = sum (x_i - m)(x_(i+1) - m) / sum (x_i - m)^2 (NIST/SEMATECH e-Handbook 1.3.5.12, from
    memory). 0 for a series without scatter, NaN below two values.
    """
    x = np.asarray(values, dtype=np.float64)
    if x.size < 2:
        return float("nan")
    residual = x - mean(x)
    power = float(residual @ residual)
    return float(residual[1:] @ residual[:-1]) / power if power != 0 else 0.0


def effective_count(count: ArrayLike, correlation: ArrayLike) -> FloatArray:
    """Number of independent readings with the same scatter of the mean.

    n_eff = n (1 - rho) / (1 + rho) for a first-order process (common practice, no source),
    kept within 1 and n: a negative estimate of rho from few readings is no reason to claim
    more than was measured.
    """
    n = np.asarray(count, dtype=np.float64)
    rho = np.clip(np.asarray(correlation, dtype=np.float64), 0.0, 1.0)
    return np.clip(n * (1.0 - rho) / (1.0 + rho), np.minimum(1.0, n), n)


def bias_factor_c4(count: ArrayLike) -> FloatArray:
    """c4(n) = E[s]/sigma for n normal readings: sqrt(2/(n-1)) Gamma(n/2)/Gamma((n-1)/2)."""
    n = np.asarray(count, dtype=np.float64)
    logarithm = gammaln(n / 2.0) - gammaln((n - 1.0) / 2.0)
    result: FloatArray = np.sqrt(2.0 / (n - 1.0)) * np.exp(logarithm)
    return result


def relative_uncertainty_of_s(count: ArrayLike) -> FloatArray:
    """Relative standard deviation of s from n normal readings (GUM table E.1)."""
    c4 = bias_factor_c4(count)
    result: FloatArray = np.sqrt(1.0 - c4**2) / c4
    return result


# Groups ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Groups:
    """Statistics of g groups, each array of shape (g,).

    count : values in the group. mean : NaN for an empty group. standard_deviation : with
    n - 1, NaN below two values. lag1 : lag-1 autocorrelation in the order given, corrected
    for the bias of a short series (+1/n), 0 without scatter, NaN below two values.
    """

    count: IntArray
    mean: FloatArray
    standard_deviation: FloatArray
    lag1: FloatArray


def group_statistics(values: FloatArray, codes: IntArray, groups: int) -> Groups:
    """Count, mean, s and lag-1 autocorrelation of each group, in one vectorised sweep.

    Parameters
    ----------
    values : shape (m,), any order of groups; within a group in the order of measurement.
        NaN makes its group's numbers NaN.
    codes : group of each value, 0 to groups - 1, shape (m,).
    groups : number of groups.

    Notes
    -----
    White noise has E[r1] = -1/n in a series of n about its own mean, hence the correction.
    """
    count = np.bincount(codes, minlength=groups)
    with np.errstate(divide="ignore", invalid="ignore"):
        centre = np.bincount(codes, values, groups) / count
        residual = values - centre[codes]
        shift = np.bincount(codes, residual, groups) / count
        squares = np.bincount(codes, np.square(residual), groups) - count * np.square(shift)
        squares = np.maximum(squares, 0.0)
        deviation = np.where(count > 1, np.sqrt(squares / (count - 1)), np.nan)
        lag1 = _lag1(residual - shift[codes], codes, count, squares)
    return Groups(count, centre + shift, deviation, lag1)


def _lag1(
    residual: FloatArray, codes: IntArray, count: IntArray, squares: FloatArray
) -> FloatArray:
    if np.any(codes[1:] < codes[:-1]):
        order = np.argsort(codes, kind="stable")
        residual, codes = residual[order], codes[order]
    product = residual[1:] * residual[:-1]
    product[codes[1:] != codes[:-1]] = 0.0
    raw = np.bincount(codes[1:], product, len(count)) / squares + 1.0 / count
    lag1: FloatArray = np.where(squares > 0, raw, np.where(np.isnan(squares), np.nan, 0.0))
    lag1[count < 2] = np.nan
    return lag1


@dataclass(frozen=True)
class Pooled:
    """Scatter to use for each of g groups after pooling, arrays of shape (g,).

    standard_deviation : of one reading. degrees_of_freedom : of that. lag1 : pooled lag-1
    autocorrelation. is_own : the group stands out and keeps its own scatter.
    """

    standard_deviation: FloatArray
    degrees_of_freedom: FloatArray
    lag1: FloatArray
    is_own: BoolArray


def pool(
    groups: Groups,
    pools: IntArray,
    pool_count: int,
    significance: float = GUARD_SIGNIFICANCE,
    shown_freedom: FloatArray | None = None,
) -> Pooled:
    """Pool the scatter of groups that belong together, unless one stands out.

    Parameters
    ----------
    groups : statistics of g groups; those with fewer than two values or with NaN add nothing.
    pools : pool of each group, 0 to pool_count - 1, shape (g,).
    significance : probability with which a steady group is taken for one that stands out.
    shown_freedom : degrees of freedom of each group's s^2 for that test, shape (g,); n - 1
        when None, which is too many for correlated values.

    Returns
    -------
    s_p^2 = sum (n_i - 1) s_i^2 / sum (n_i - 1) over a pool (GUM 4.2.4), NaN with
    no degrees of freedom at all. A group whose variance exceeds that of the others of its
    pool by more than the F-quantile keeps its own s and is left out of the pool.
    """
    if len(pools) != len(groups.count):
        raise MisuseError(
            f"pools: expected one for each of {len(groups.count)} groups, got {len(pools)}"
        )
    freedom = np.where(np.isnan(groups.standard_deviation), 0.0, groups.count - 1.0)
    freedom = np.maximum(freedom, 0.0)
    variance = np.where(freedom > 0, np.square(groups.standard_deviation), 0.0)
    shown = freedom if shown_freedom is None else np.where(freedom > 0, shown_freedom, 0.0)
    others, others_variance = _rest_of_pool(freedom, variance, pools, pool_count)
    others = (
        others if shown_freedom is None else _rest_of_pool(shown, variance, pools, pool_count)[0]
    )
    is_own = _stands_out(variance, shown, others_variance, others, significance)
    kept = np.where(is_own, 0.0, freedom)
    pooled_freedom = np.bincount(pools, kept, pool_count)
    with np.errstate(invalid="ignore", divide="ignore"):
        pooled = np.bincount(pools, kept * variance, pool_count) / pooled_freedom
        # Weighted by the sum of squares of each group, as if all were one long series.
        power = np.bincount(pools, kept * variance, pool_count)
        known = np.where(kept > 0, np.nan_to_num(groups.lag1), 0.0)
        lag1 = np.bincount(pools, kept * variance * known, pool_count) / power
    lag1 = np.where(power > 0, lag1, 0.0)
    return Pooled(
        standard_deviation=np.sqrt(np.where(is_own, variance, pooled[pools])),
        degrees_of_freedom=np.where(is_own, freedom, pooled_freedom[pools]),
        lag1=np.where(is_own, np.nan_to_num(groups.lag1), lag1[pools]),
        is_own=is_own,
    )


def _rest_of_pool(
    freedom: FloatArray, variance: FloatArray, pools: IntArray, pool_count: int
) -> tuple[FloatArray, FloatArray]:
    """Degrees of freedom and variance of a group's pool without the group itself."""
    power = freedom * variance
    others = np.bincount(pools, freedom, pool_count)[pools] - freedom
    rest = np.bincount(pools, power, pool_count)[pools] - power
    # What is left after subtracting a group from its own pool's sum may be rounding only.
    rest = np.where(rest > 1e-12 * power, rest, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return others, np.where(others > 0, rest / others, np.nan)


def _stands_out(
    variance: FloatArray,
    freedom: FloatArray,
    others_variance: FloatArray,
    others_freedom: FloatArray,
    significance: float,
) -> BoolArray:
    """F-test of each group against the rest of its pool."""
    testable = (freedom > 0) & (others_freedom > 0)
    stands_out = np.zeros(len(variance), dtype=bool)
    if not testable.any():
        return stands_out
    # Few pairs of degrees of freedom occur, and the quantile is slow: once for each pair.
    width = others_freedom.max() + 1.0
    keys, place = np.unique(
        freedom[testable] * width + others_freedom[testable], return_inverse=True
    )
    bound = fdtri(keys // width, keys % width, 1.0 - significance)[place]
    stands_out[testable] = variance[testable] > bound * others_variance[testable]
    return stands_out
