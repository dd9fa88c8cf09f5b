"""Correlated propagation, against an independent program."""

from __future__ import annotations

import numpy as np
import pytest
from uncertainties import correlated_values

from harness.metrology.propagation import (
    correlation,
    covariance_from,
    propagate,
    sensitivities,
)


def model(x: np.ndarray) -> np.ndarray:
    return np.array([x[0] * x[1] / x[2], x[0] ** 2 - x[2]])


@pytest.mark.parametrize("seed", range(5))
def test_agrees_with_uncertainties(seed: int) -> None:
    """Covariance of two outputs of three correlated inputs."""
    rng = np.random.default_rng(seed)
    root = rng.normal(size=(3, 3))
    covariance = 1e-6 * root @ root.T
    values = rng.uniform(1, 3, 3)
    u = np.sqrt(np.diag(covariance))
    found = propagate(sensitivities(model, values, u), covariance)
    a, b, c = correlated_values(values, covariance)
    outputs = [a * b / c, a**2 - c]
    assert [y.std_dev for y in outputs] == pytest.approx(np.sqrt(np.diag(found)).tolist(), rel=1e-5)


def test_correlation_and_covariance_are_inverse() -> None:
    r = np.array([[1.0, -0.36], [-0.36, 1.0]])
    assert r == pytest.approx(correlation(covariance_from([0.1, 20.0], r)))


def test_fully_correlated_difference_cancels() -> None:
    """The same unknown gain in both terms of a difference does not count."""
    covariance = covariance_from([2.0, 2.0], np.ones((2, 2)))
    assert pytest.approx(0.0) == propagate([[1.0, -1.0]], covariance)[0, 0]


def test_many_cases_at_once() -> None:
    j = np.random.default_rng(3).normal(size=(10, 2, 3))
    u = np.eye(3)
    assert j[4] @ j[4].T == pytest.approx(propagate(j, u)[4])


def test_certain_input_has_no_coefficient() -> None:
    assert 0.0 == sensitivities(model, [1.0, 2.0, 3.0], [0.1, 0.0, 0.1])[0, 1]
