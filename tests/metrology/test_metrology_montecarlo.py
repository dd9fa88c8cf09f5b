"""Simulation: inputs, intervals, the adaptive stop."""

from __future__ import annotations

import numpy as np
import pytest
from budgets_at_random import part

from harness.errors import MisuseError
from harness.metrology.budget import Budget, Shape
from harness.metrology.montecarlo import (
    adaptive,
    arcsine,
    normal,
    numerical_tolerance,
    propagate,
    rectangular,
    shortest_interval,
    simulate_error,
    student,
    symmetric_interval,
)

DRAWS = 200_000


@pytest.mark.parametrize(
    ("sampler", "deviation"),
    [
        (normal(2.0, 3.0), 3.0),
        (rectangular(2.0, 3.0), 3.0 / 3**0.5),
        (arcsine(2.0, 3.0), 3.0 / 2**0.5),
        (student(2.0, 3.0, 12.0), 3.0 * (12 / 10) ** 0.5),
    ],
    ids=["normal", "rectangular", "arc sine", "t"],
)
def test_mean_and_deviation_of_inputs(sampler, deviation: float) -> None:
    draws = propagate(lambda x: x, [sampler], DRAWS, np.random.default_rng(1))
    assert pytest.approx(2.0, abs=0.03) == draws.mean()
    assert deviation == pytest.approx(draws.std(), rel=0.01)


def test_same_seed_same_draws() -> None:
    """Randomness comes in as an argument, so a result can be repeated."""
    first, second = (
        simulate_error(Budget((part("a", 1.0),)), 10, np.random.default_rng(7)) for _ in range(2)
    )
    assert first.tolist() == second.tolist()


def test_error_draws_have_one_column_an_entry() -> None:
    budget = Budget((part("a", np.array([1.0, 5.0])), part("t", np.ones(2), Shape.STUDENT, 9)))
    draws = simulate_error(budget, DRAWS, np.random.default_rng(2))
    assert (DRAWS, 2) == draws.shape
    expected = np.sqrt(np.array([1.0, 25.0]) + 9 / 7)
    assert expected == pytest.approx(draws.std(axis=0), rel=0.01)


def test_shortest_interval_of_a_skew_distribution() -> None:
    """Of an exponential one it starts at zero, where the symmetric one leaves 2.5 % out."""
    draws = np.random.default_rng(3).exponential(size=DRAWS)
    low, high = shortest_interval(draws)
    assert pytest.approx(0.0, abs=1e-3) == low
    assert -np.log(0.05) == pytest.approx(high, rel=0.02)
    assert -np.log(0.975) == pytest.approx(symmetric_interval(draws)[0], rel=0.05)


def test_interval_needs_draws() -> None:
    with pytest.raises(MisuseError, match="coverage interval: expected enough draws"):
        symmetric_interval([1.0])


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"), [(0.035, 2, 0.0005), (0.035, 1, 0.005), (2.0, 2, 0.05)]
)
def test_numerical_tolerance(u: float, digits: int, tolerance: float) -> None:
    """JCGM 101, 7.9.2: half a unit in the last significant digit."""
    assert tolerance == pytest.approx(numerical_tolerance(u, digits))


def test_adaptive_stops_when_told_to() -> None:
    """With too few batches it says so instead of pretending."""
    result = adaptive(
        lambda x: x, [normal(0, 1)], np.random.default_rng(4), digits=4, most_batches=3
    )
    assert not result.is_stable
    assert 30_000 == result.draws
