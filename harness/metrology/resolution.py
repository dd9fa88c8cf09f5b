"""The reported step: what it adds to the uncertainty, and what is left of it after dither.

A reading in steps q is wrong by up to q/2. A single or noiseless reading carries q/sqrt(12),
rectangular. When the board's own noise moves readings over several codes, averaging removes
most of that error; what remains, over a uniform position within the code, is

    u_res^2(sigma) = sum over m >= 1 of q^2 / (2 pi^2 m^2) exp(-4 pi^2 m^2 sigma^2 / q^2)

(quantisation theory of Gaussian dither, Widrow and Kollar, Quantization Noise, from memory;
the tests hold it against simulation), and the scatter seen in quantised readings obeys
E[s^2] = sigma^2 + q^2/12 - u_res^2(sigma).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import betaincinv, ndtri

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

# Below this sigma/q the series converges slowly and its small-argument form
# q^2/12 + sigma^2 - q sigma / sqrt(pi) is exact to exp(-q^2 / 4 sigma^2), which is 1e-11.
SMALL_DITHER = 0.1
SERIES_TERMS = 12
# The table for the inversion reaches to where nothing of the step is left (1e-17 q^2).
LARGEST_DITHER = 1.0
TABLE_POINTS = 4001
# Peak-to-peak of normal noise, in standard deviations, that counts as noise-free (common
# practice: one reading in a thousand lies outside).
PEAK_TO_PEAK_DEVIATIONS = 6.6


def rectangular_resolution_uncertainty(step: ArrayLike) -> FloatArray:
    """q / sqrt(12), rectangular (GUM F.2.2.1); unit and shape of `step`."""
    result: FloatArray = np.asarray(step, dtype=np.float64) / np.sqrt(12.0)
    return result


def residual_resolution_uncertainty(step: ArrayLike, noise: ArrayLike) -> FloatArray:
    """What Gaussian noise of standard deviation sigma leaves of the step, in a long average.

    Parameters
    ----------
    step : q >= 0. noise : sigma >= 0 before quantising, same unit; shapes broadcast.

    Returns
    -------
    u_res, from q / sqrt(12) at sigma = 0 falling to 1.6e-3 q at sigma = 0.5 q; 0 where q is
    0. NaN gives NaN.
    """
    q, sigma = np.broadcast_arrays(
        np.asarray(step, dtype=np.float64), np.asarray(noise, dtype=np.float64)
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(q > 0, sigma / q, np.where(q == 0, np.inf, np.nan))
    return np.where(q > 0, q * np.sqrt(_residual_variance(ratio)), np.where(q == 0, 0.0, np.nan))


def _residual_variance(ratio: FloatArray) -> FloatArray:
    """u_res^2 / q^2 for sigma / q."""
    little = np.minimum(ratio, SMALL_DITHER)
    small = 1.0 / 12.0 + np.square(little) - little / np.sqrt(np.pi)
    m = np.arange(1, SERIES_TERMS + 1).reshape((-1,) + (1,) * ratio.ndim)
    exponent = -4.0 * np.square(np.pi * m * np.maximum(ratio, SMALL_DITHER))
    series = (np.exp(exponent) / (2.0 * np.square(np.pi * m))).sum(axis=0)
    variance: FloatArray = np.where(ratio < SMALL_DITHER, small, series)
    return variance


def dithering_noise(step: ArrayLike, scatter: ArrayLike) -> FloatArray:
    """Noise sigma before quantising, from the standard deviation s of quantised readings.

    Inverts E[s^2] = sigma^2 + q^2/12 - u_res^2(sigma), which rises steadily with sigma.

    Parameters
    ----------
    step : q >= 0. scatter : s >= 0, best pooled over many positions within the code.
    """
    q, s = np.broadcast_arrays(
        np.asarray(step, dtype=np.float64), np.asarray(scatter, dtype=np.float64)
    )
    seen_table, noise_table = _inversion_table()
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = np.where(q > 0, s / q, 0.0)
    inside = q * np.interp(seen, seen_table, noise_table)
    beyond = np.sqrt(np.maximum(np.square(s) - np.square(q) / 12.0, 0.0))
    return np.where((q > 0) & ~(seen > seen_table[-1]), inside, beyond)


@cache
def _inversion_table() -> tuple[FloatArray, FloatArray]:
    """(s/q, sigma/q), dense near zero, where s/q goes as the root of sigma/q."""
    ratio = LARGEST_DITHER * np.square(np.linspace(0.0, 1.0, TABLE_POINTS))
    seen = np.sqrt(np.square(ratio) + 1.0 / 12.0 - _residual_variance(ratio))
    seen[0] = 0.0
    return seen, ratio


def dithered_resolution_uncertainty(step: ArrayLike, scatter: ArrayLike) -> FloatArray:
    """Uncertainty that the step adds to a mean of readings with the seen scatter.

    Parameters
    ----------
    step : q. scatter : pooled standard deviation of the quantised readings; same unit,
        shapes broadcast. NaN scatter (nothing to judge by) counts as no noise.

    Returns
    -------
    u_res between 0 and q / sqrt(12). See the decision record on resolution after dither.
    """
    seen = np.nan_to_num(np.asarray(scatter, dtype=np.float64), nan=0.0)
    return residual_resolution_uncertainty(step, dithering_noise(step, seen))


def largest_noise_behind(
    step: ArrayLike, scatter: ArrayLike, count: ArrayLike, probability: float
) -> FloatArray:
    """Upper bound of the noise sigma behind quantised readings whose position is not known.

    In the middle of a code noise shows least: a reading leaves it with 2 Phi(-q / (2 sigma)).
    The readings that left number (n - 1) s^2 / q^2; the bound of their probability is that of
    Clopper and Pearson (Biometrika 26 (1934) 404-413, from memory).

    Parameters
    ----------
    step : q > 0. scatter : s of the quantised readings, same unit. count : n >= 2, independent.
    probability : of the two-sided interval, between 0 and 1.

    Returns
    -------
    sigma; 0 where s is q / 2 or more, which no position makes smaller than it is.
    """
    q, s, n = np.broadcast_arrays(
        np.asarray(step, dtype=np.float64),
        np.asarray(scatter, dtype=np.float64),
        np.asarray(count, dtype=np.float64),
    )
    left = np.clip((n - 1.0) * np.square(s / q), 0.0, n / 2.0)
    leaves = betaincinv(left + 1.0, n - left, 0.5 + probability / 2.0)
    bound: FloatArray = q / (-2.0 * ndtri(leaves / 2.0))
    return np.where(s < q / 2.0, bound, 0.0)


def noise_free_bits(full_scale: ArrayLike, scatter: ArrayLike) -> FloatArray:
    """log2(FS / 6.6 s): bits that do not flicker (common practice, no source); inf at s = 0."""
    with np.errstate(divide="ignore"):
        peak = PEAK_TO_PEAK_DEVIATIONS * np.asarray(scatter, dtype=np.float64)
        result: FloatArray = np.log2(np.asarray(full_scale) / peak)
    return result


def effective_bits(full_scale: ArrayLike, scatter: ArrayLike) -> FloatArray:
    """log2(FS / (s sqrt 12)): effective number of bits (common practice); inf at s = 0."""
    with np.errstate(divide="ignore"):
        equivalent = np.sqrt(12.0) * np.asarray(scatter, dtype=np.float64)
        result: FloatArray = np.log2(np.asarray(full_scale) / equivalent)
    return result


def code_histogram(values: ArrayLike, step: float) -> tuple[IntArray, IntArray]:
    """The codes seen and how often, from lowest to highest, gaps included with 0.

    Parameters
    ----------
    values : readings, NaN left out. step : q > 0, same unit; a code is round(value / q).

    Returns
    -------
    codes and counts, shape (c,) each; both empty when there is no reading.

    Raises
    ------
    ValueError : step is not above 0.
    """
    if not step > 0:
        raise ValueError(f"step: expected a number above 0, got {step!r}")
    readings = np.asarray(values, dtype=np.float64).reshape(-1)
    codes = np.rint(readings[~np.isnan(readings)] / step).astype(np.int64)
    if not codes.size:
        return codes, codes.copy()
    lowest = int(codes.min())
    counts = np.bincount(codes - lowest).astype(np.int64)
    return np.arange(lowest, lowest + len(counts), dtype=np.int64), counts
