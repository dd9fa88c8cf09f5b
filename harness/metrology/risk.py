"""How probable a wrong decision is: specific risks of one finding, global risks of a lot.

Specific: given what was measured, is the true error outside although the finding was
accepted, or inside although it was refused? The measured value alone speaks (flat prior).
Global: what share of all items made is wrongly accepted or refused, given how the items are
distributed. Both after JCGM 106:2012.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammainc, gammaln, ndtr, xlogy

from harness.metrology.coverage import CombinedDistribution, cdf
from harness.metrology.decision import is_accepted, is_rejected

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Density = Callable[[FloatArray], FloatArray]

# Gauss-Legendre nodes a panel and panels over the prior: smooth priors come out to 1e-12.
NODES = 64
PANELS = 32
_ABSCISSAE, _WEIGHTS = np.polynomial.legendre.leggauss(NODES)


# Specific risks --------------------------------------------------------------------------


def nonconformance_probability(
    error: ArrayLike, limit: ArrayLike, distribution: CombinedDistribution
) -> FloatArray:
    """Probability that the true error lies outside [-T, T], given the measured one.

    Parameters
    ----------
    error : measured errors, shape (n,); NaN gives NaN. limit : T >= 0, scalar or shape (n,).
    distribution : of the measured less the true error, n entries (`Combined.distribution`).

    Notes
    -----
    1 - p_c of JCGM 106:2012, 7.2 to 7.4, with a flat prior; small values keep their digits.
    """
    size = np.abs(np.asarray(error, dtype=np.float64))
    bound = np.asarray(limit, dtype=np.float64)
    beyond_near = cdf(size - bound, distribution)
    beyond_far = cdf(-size - bound, distribution)
    return np.minimum(beyond_near + beyond_far, 1.0)


def specific_risks(
    codes: IntArray, error: ArrayLike, limit: ArrayLike, distribution: CombinedDistribution
) -> tuple[FloatArray, FloatArray]:
    """False accept and false reject probability of each finding, shape (n,) each.

    Parameters
    ----------
    codes : severities from `harness.metrology.decision.decision_codes`.

    Returns
    -------
    The probability that the true error is outside, for accepting statements, and that it is
    inside, for refusing ones (JCGM 106:2012, 8.1 to 8.3, specific risks); NaN elsewhere.
    """
    outside = nonconformance_probability(error, limit, distribution)
    return (
        np.where(is_accepted(codes), outside, np.nan),
        np.where(is_rejected(codes), 1.0 - outside, np.nan),
    )


def conformance_probability(
    value: ArrayLike,
    standard_uncertainty: ArrayLike,
    lower: ArrayLike = -np.inf,
    upper: ArrayLike = np.inf,
) -> FloatArray:
    """Probability that a quantity lies in [lower, upper], normal distribution, flat prior.

    JCGM 106:2012, 7.3 (one limit) and 7.4 (two limits); all arguments in one unit.
    """
    y, u = np.asarray(value, dtype=np.float64), np.asarray(standard_uncertainty)
    result: FloatArray = ndtr((np.asarray(upper) - y) / u) - ndtr((np.asarray(lower) - y) / u)
    return result


# Global risks ----------------------------------------------------------------------------


def normal_density(mean: float, standard_deviation: float) -> Density:
    """Density of a normal prior."""

    def density(x: FloatArray) -> FloatArray:
        z = (x - mean) / standard_deviation
        value: FloatArray = np.exp(-0.5 * z * z) / (standard_deviation * np.sqrt(2 * np.pi))
        return value

    return density


def gamma_density(shape: float, rate: float) -> Density:
    """Density of a gamma prior, zero for negative values."""

    def density(x: FloatArray) -> FloatArray:
        positive = np.maximum(x, 0.0)
        log_density = shape * np.log(rate) + xlogy(shape - 1, positive) - rate * positive
        value: FloatArray = np.where(x >= 0, np.exp(log_density - gammaln(shape)), 0.0)
        return value

    return density


def gamma_upper_tail(x: float, shape: float, rate: float) -> float:
    """Share of a gamma-distributed quantity above `x`."""
    return float(1.0 - gammainc(shape, rate * x))


def consumer_risk(
    prior: Density,
    support: tuple[float, float],
    tolerance: tuple[float, float],
    acceptance: tuple[float, float],
    measuring_uncertainty: float,
) -> float:
    """Share of items that are accepted although outside tolerance (JCGM 106:2012, 9.5.2).

    Parameters
    ----------
    prior : density of the true values. support : finite bounds outside which it is nothing.
    tolerance, acceptance : (lower, upper), infinite where there is no limit.
    measuring_uncertainty : standard uncertainty of one measurement, normal.
    """
    low, high = tolerance
    outside = ((support[0], low), (high, support[1]))
    return sum(
        _integral(
            lambda x: prior(x) * _accepted(x, acceptance, measuring_uncertainty),
            max(a, support[0]),
            min(b, support[1]),
        )
        for a, b in outside
    )


def producer_risk(
    prior: Density,
    support: tuple[float, float],
    tolerance: tuple[float, float],
    acceptance: tuple[float, float],
    measuring_uncertainty: float,
) -> float:
    """Share of items that are refused although inside tolerance (JCGM 106:2012, 9.5.3).

    Parameters as for `consumer_risk`.
    """
    return _integral(
        lambda x: prior(x) * (1.0 - _accepted(x, acceptance, measuring_uncertainty)),
        max(tolerance[0], support[0]),
        min(tolerance[1], support[1]),
    )


def upper_guard_band(
    prior: Density,
    support: tuple[float, float],
    upper_tolerance: float,
    measuring_uncertainty: float,
    target_consumer_risk: float,
) -> float:
    """Guard band w so that accepting below upper_tolerance - w has the target risk.

    One upper limit; w may be negative. By bisection over +-8 measuring uncertainties.
    """
    low, high = -8.0 * measuring_uncertainty, 8.0 * measuring_uncertainty
    for _ in range(60):
        middle = 0.5 * (low + high)
        risk = consumer_risk(
            prior,
            support,
            (-np.inf, upper_tolerance),
            (-np.inf, upper_tolerance - middle),
            measuring_uncertainty,
        )
        low, high = (middle, high) if risk > target_consumer_risk else (low, middle)
    return 0.5 * (low + high)


def _accepted(
    true_value: FloatArray, acceptance: tuple[float, float], measuring_uncertainty: float
) -> FloatArray:
    return conformance_probability(true_value, measuring_uncertainty, *acceptance)


def _integral(function: Density, low: float, high: float) -> float:
    if not low < high:
        return 0.0
    edges = np.linspace(low, high, PANELS + 1)
    half = 0.5 * np.diff(edges)[:, None]
    x = 0.5 * (edges[1:] + edges[:-1])[:, None] + half * _ABSCISSAE
    return float((half * _WEIGHTS * function(x)).sum())
