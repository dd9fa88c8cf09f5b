"""Specific and global risks, against simulation and limiting cases."""

from __future__ import annotations

import numpy as np
import pytest
from budgets_at_random import part, random_budget
from scipy.special import ndtr

from harness.metrology.budget import Budget, Shape, combine
from harness.metrology.decision import decision_codes
from harness.metrology.montecarlo import simulate_error
from harness.metrology.risk import (
    consumer_risk,
    gamma_density,
    nonconformance_probability,
    normal_density,
    producer_risk,
    specific_risks,
    upper_guard_band,
)


def test_at_the_limit_it_is_even() -> None:
    """An error of exactly T is outside with probability one half, if U is small."""
    combined = combine(Budget((part("a", 0.1),)))
    assert pytest.approx(0.5) == nonconformance_probability([5.0], 5.0, combined.distribution)[0]


@pytest.mark.parametrize("error", [0.0, 1.0, 2.0, -3.0])
def test_agrees_with_simulation(error: float) -> None:
    """The share of true values outside, given the error and a mixed budget."""
    budget = random_budget(np.random.default_rng(5), 4, rectangular=2, lowest_dof=20)
    outside = np.abs(error - simulate_error(budget, 200_000, np.random.default_rng(6))) > 2.0
    found = nonconformance_probability(np.full(4, error), 2.0, combine(budget).distribution)
    assert outside.mean(axis=0) == pytest.approx(found, abs=0.004)


def test_acceptance_at_the_guard_band_risks_at_most_two_and_a_half_percent() -> None:
    """At |e| = T - U the risk is one tail of the 95 % interval, whatever the shape."""
    budget = random_budget(np.random.default_rng(7), 50, rectangular=3, lowest_dof=4)
    combined = combine(budget)
    limit = 8 * combined.expanded_uncertainty
    error = limit - combined.expanded_uncertainty
    risk = nonconformance_probability(error, limit, combined.distribution)
    assert np.full(50, 0.025) == pytest.approx(risk, abs=1e-4)


def test_each_finding_has_the_risk_of_its_own_statement() -> None:
    """Accepted: false accept only; refused: false reject only; undecided: neither."""
    combined = combine(Budget((part("a", np.full(3, 0.5)),)))
    error, limit = np.array([4.0, 5.5, np.nan]), 5.0
    codes = decision_codes(error, limit, combined.expanded_uncertainty)
    accept, reject = specific_risks(codes, error, limit, combined.distribution)
    assert ndtr(-2.0) == pytest.approx(accept[0], rel=1e-6)
    assert ndtr(-1.0) == pytest.approx(reject[1], rel=1e-6)
    assert [True, False, True] == np.isnan(reject).tolist()
    assert [False, True, True] == np.isnan(accept).tolist()


def test_rectangular_error_cannot_reach_a_far_limit() -> None:
    """Bounded error, risk exactly nothing."""
    combined = combine(Budget((part("a", 1.0, Shape.RECTANGULAR),)))
    assert 0.0 == nonconformance_probability([0.0], 2.0, combined.distribution)[0]


def test_global_risks_agree_with_simulation() -> None:
    rng = np.random.default_rng(9)
    true = rng.normal(0.0, 0.6, 400_000)
    seen = true + rng.normal(0.0, 0.2, true.size)
    accepted, inside = np.abs(seen) <= 0.8, np.abs(true) <= 1.0
    common = (normal_density(0.0, 0.6), (-6.0, 6.0), (-1.0, 1.0), (-0.8, 0.8), 0.2)
    assert np.mean(accepted & ~inside) == pytest.approx(consumer_risk(*common), abs=5e-4)
    assert np.mean(~accepted & inside) == pytest.approx(producer_risk(*common), abs=1.5e-3)


def test_guard_band_is_negative_for_a_generous_target() -> None:
    """More risk allowed than simple acceptance has: limits may be widened."""
    prior = gamma_density(4.0, 4.0)
    assert upper_guard_band(prior, (0.0, 15.0), 2.0, 0.25, 0.02) < 0
