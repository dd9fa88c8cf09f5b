"""Short first-order series, held against matrices and simulation."""

from __future__ import annotations

import numpy as np
import pytest

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

CASES = [(n, rho) for n in (3, 5, 12, 64) for rho in (0.0, 0.3, 0.6, 0.9)]


def matrices(count: int, rho: float) -> tuple[np.ndarray, np.ndarray]:
    """Covariances of the readings, and of their residuals about the mean."""
    place = np.arange(count)
    covariance = np.power(rho, np.abs(place[:, None] - place))
    centre = np.eye(count) - 1 / count
    return covariance, centre @ covariance @ centre


def series(count: int, rho: float, many: int) -> np.ndarray:
    rng = np.random.default_rng(8)
    x = rng.normal(size=(many, count))
    for i in range(1, count):
        x[:, i] = rho * x[:, i - 1] + np.sqrt(1 - rho**2) * x[:, i]
    return x


@pytest.mark.parametrize(("count", "rho"), CASES)
def test_the_mean_varies_as_the_covariances_say(count, rho):
    whole, residual = matrices(count, rho)
    expected = whole.mean() / (np.trace(residual) / (count - 1))
    assert expected == pytest.approx(float(mean_variance_ratio(count, rho)))


@pytest.mark.parametrize(("count", "rho"), CASES)
def test_the_lag_1_coefficient_is_that_of_the_residuals(count, rho):
    _, residual = matrices(count, rho)
    expected = np.trace(residual, 1) / np.trace(residual)
    assert expected == pytest.approx(float(expected_lag1(count, rho)))


@pytest.mark.parametrize(("count", "rho"), CASES)
def test_the_degrees_of_freedom_are_those_of_the_quadratic_form(count, rho):
    _, residual = matrices(count, rho)
    expected = np.trace(residual) ** 2 / np.trace(residual @ residual) / (count - 1)
    assert expected == pytest.approx(float(freedom_share(count, rho)))


@pytest.mark.parametrize(("count", "rho"), CASES)
def test_the_scatter_hides_what_the_residuals_lack(count, rho):
    _, residual = matrices(count, rho)
    expected = 1 - np.trace(residual) / (count - 1)
    assert expected == pytest.approx(float(hidden_share(count, rho)), abs=1e-12)


def test_white_noise_is_as_ever():
    assert 1 / 5 == pytest.approx(float(mean_variance_ratio(5, 0.0)))
    assert -1 / 5 == pytest.approx(float(expected_lag1(5, 0.0)))
    assert 1.0 == pytest.approx(float(freedom_share(5, 0.0)))


def test_to_first_order_the_bias_is_that_of_marriott_and_pope():
    """rho - (1 + 4 rho)/n for one series; pooled sums differ from that by another 1/n or so."""
    n, rho = 400, 0.5
    assert rho - (1 + 4 * rho) / n == pytest.approx(float(expected_lag1(n, rho)), abs=2 / n)


@pytest.mark.parametrize("rho", [0.0, 0.4, 0.8])
def test_the_correlation_is_found_again(rho):
    assert rho == pytest.approx(float(correlation_behind(5, expected_lag1(5, rho))), abs=1e-3)


def test_a_coefficient_below_that_of_white_noise_is_none():
    assert 0.0 == float(correlation_behind(5, -0.9))


def test_a_drift_is_the_largest_correlation():
    assert LARGEST_CORRELATION == pytest.approx(float(correlation_behind(5, 0.9)))


def test_the_slope_is_that_of_the_inverse():
    a, b = (float(expected_lag1(5, rho)) for rho in (0.49, 0.51))
    assert 0.02 / (b - a) == pytest.approx(float(correlation_slope(5, 0.5)), rel=0.01)


@pytest.mark.parametrize(("count", "rho"), [(5, 0.0), (5, 0.6), (12, 0.8), (64, 0.6)])
def test_the_coefficient_pooled_over_series_varies_as_said(count, rho):
    pooled, many = 25, 2000
    x = series(count, rho, pooled * many)
    x -= x.mean(axis=1, keepdims=True)
    products = (x[:, 1:] * x[:, :-1]).sum(axis=1).reshape(many, pooled).sum(axis=1)
    squares = (x**2).sum(axis=1).reshape(many, pooled).sum(axis=1)
    expected = (products / squares).std()
    assert expected == pytest.approx(float(np.sqrt(lag1_variance(count, rho) / pooled)), rel=0.1)


def test_what_is_no_correlation_is_nan():
    assert np.isnan(mean_variance_ratio(5, [-0.1, 1.0])).all()
