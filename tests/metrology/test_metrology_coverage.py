"""The closed form of the combined distribution, against simulation and special cases."""

from __future__ import annotations

import numpy as np
import pytest
from budgets_at_random import part, random_budget
from scipy.special import gammaln, ndtr, stdtr

from harness.metrology.budget import Budget, Shape, combine
from harness.metrology.coverage import (
    CombinedDistribution,
    _density_constant,
    _normalised,
    cdf,
    combined_distribution,
    half_interval,
    quantile,
    t_factor,
)
from harness.metrology.montecarlo import simulate_error

DRAWS = 400_000


def distribution(scale, nu, *half_widths) -> CombinedDistribution:
    wide = np.array(half_widths, dtype=float).reshape(len(half_widths), 1)
    return combined_distribution(np.array([float(scale)]), np.array([float(nu)]), wide)


def simulated(budget: Budget, seed: int) -> np.ndarray:
    draws = simulate_error(budget, DRAWS, np.random.default_rng(seed))
    return np.quantile(np.abs(draws), 0.95, axis=0)


@pytest.mark.parametrize("rectangular", [0, 1, 2, 3, 5])
@pytest.mark.parametrize("seed", [1, 2])
def test_expanded_uncertainty_agrees_with_monte_carlo(seed: int, rectangular: int) -> None:
    """Random budgets, forty degrees of freedom or more: within 1 % of JCGM 101.

    With fewer, a t-part beside a normal one is where GUM and JCGM 101 differ in principle.
    """
    rng = np.random.default_rng(seed)
    budget = random_budget(rng, 6, rectangular=rectangular, lowest_dof=40)
    assert simulated(budget, seed) == pytest.approx(combine(budget).expanded_uncertainty, rel=0.01)


@pytest.mark.parametrize("rectangular", [1, 2])
@pytest.mark.parametrize("lowest_dof", [3, 10])
def test_few_readings_with_rectangular_parts_agree(rectangular: int, lowest_dof: int) -> None:
    """With the scatter as the only part that is not rectangular, few readings do as well."""
    rng = np.random.default_rng(lowest_dof)
    budget = random_budget(
        rng, 10, rectangular=rectangular, lowest_dof=lowest_dof, with_normal=False
    )
    assert simulated(budget, 3) == pytest.approx(combine(budget).expanded_uncertainty, rel=0.01)


@pytest.mark.parametrize(("dof", "rectangular"), [(4, 0.0), (4, 1.0), (10, 1.0), (56, 0.3)])
def test_interval_covers_the_error_as_often_as_it_says(dof: int, rectangular: float) -> None:
    """Scatter estimated anew each time, one normal and one rectangular part: 95 %.

    This is what Welch-Satterthwaite is for; a t-part of its own (JCGM 101) would be wider.
    """
    rng, many = np.random.default_rng(dof), 100_000
    seen = np.sqrt(rng.chisquare(dof, many) / dof)
    error = rng.normal(size=many) + 0.7 * rng.normal(size=many)
    error += rectangular * np.sqrt(3) * rng.uniform(-1, 1, many)
    same = np.ones(many)
    budget = Budget(
        (
            part("scatter", seen, Shape.STUDENT, dof),
            part("normal", 0.7 * same),
            part("rectangular", rectangular * same, Shape.RECTANGULAR),
        )
    )
    covered = np.abs(error) <= combine(budget).expanded_uncertainty
    assert pytest.approx(0.95, abs=0.008) == covered.mean()


def test_pure_rectangular() -> None:
    """95 % of a rectangular distribution of half-width 1 lies within 0.95."""
    assert pytest.approx(0.95, rel=1e-7) == half_interval(0.95, distribution(0, np.inf, 1.0))[0]


@pytest.mark.parametrize(("a", "b"), [(1.0, 1.0), (1.0, 0.4), (5.0, 0.01)])
def test_pure_trapezoid(a: float, b: float) -> None:
    """Two rectangular parts without scatter: the sloping side, or the flat top, by hand."""
    tail = 0.025
    on_the_slope = tail <= b / (2 * a)
    expected = a + b - np.sqrt(8 * a * b * tail) if on_the_slope else a * (1 - 2 * tail)
    found = half_interval(0.95, distribution(0, np.inf, a, b))[0]
    assert expected == pytest.approx(found, rel=1e-6)


@pytest.mark.parametrize("nu", [1.0, 1.5, 2.0, 2.3, 3.0, 7.0, 19.9, 20.0, 45.5, 1e3, 1e5, np.inf])
@pytest.mark.parametrize("parts", [(), (2.0,), (2.0, 1.5), (0.4, 0.2), (30.0, 0.5)])
def test_quantile_undoes_cdf(nu: float, parts: tuple[float, ...]) -> None:
    """For every kind of distribution and several probabilities."""
    d = distribution(1.0, nu, *parts)
    for p in (0.75, 0.975, 0.995):
        x = quantile(p, d)
        assert p == pytest.approx(cdf(x, d)[0], abs=3e-6 * (1 - p) / 0.025)
        assert -x[0] == quantile(1 - p, d)[0] or p != 0.75


@pytest.mark.parametrize("nu", [1.3, 3.0, 8.0, 25.0, 300.0, np.inf])
@pytest.mark.parametrize("parts", [(2.0,), (2.0, 0.7)])
def test_cdf_is_the_convolution(nu: float, parts: tuple[float, ...]) -> None:
    """The closed form equals the average of the t-distribution over the rectangular parts."""
    nodes, weights = np.polynomial.legendre.leggauss(300)
    shifts, weight = np.zeros(1), np.ones(1)
    for a in parts:
        shifts = (shifts[:, None] + a * nodes).reshape(-1)
        weight = (weight[:, None] * weights / 2).reshape(-1)
    for x in (-5.0, -1.2, 0.0, 0.3, 2.5):
        z = x - shifts
        single = ndtr(z) if np.isinf(nu) else stdtr(nu, z)
        found = cdf(x, distribution(1.0, nu, *parts))[0]
        assert weight @ single == pytest.approx(found, abs=2e-9)


def test_t_factor_of_a_single_t_part() -> None:
    """No rectangular part: the t-factor itself, also at one degree of freedom."""
    for nu in (1.0, 2.0, 5.0, 40.0):
        found = half_interval(0.95, distribution(2.0, nu))[0]
        assert 2 * float(t_factor(0.95, nu)) == pytest.approx(found, rel=3e-3 if nu < 3 else 1e-9)


def test_factor_changes_smoothly_as_a_part_becomes_negligible() -> None:
    """Where a rectangular part is dropped into the normal one, U does not jump."""
    for nu in (5.0, 50.0, np.inf):
        just = [half_interval(0.95, distribution(1.0, nu, 2.0, w))[0] for w in (0.0299, 0.0301)]
        assert just[0] == pytest.approx(just[1], rel=1e-4)


def test_cdf_at_the_ends() -> None:
    """Infinite arguments, a distribution without width, and NaN."""
    d = distribution(1.0, 5.0, 2.0)
    assert [0.0, 1.0] == [cdf(-np.inf, d)[0], cdf(np.inf, d)[0]]
    sharp = distribution(0.0, np.inf)
    assert [0.0, 0.5, 1.0] == [cdf(x, sharp)[0] for x in (-1e-9, 0.0, 1e-9)]
    assert np.isnan(cdf(np.nan, d)[0])
    assert np.isnan(half_interval(0.95, distribution(np.nan, np.inf, 1.0))[0])


@pytest.mark.parametrize("p", [0.0, 1.0, -0.1, float("nan")])
def test_probability_must_lie_inside(p: float) -> None:
    with pytest.raises(ValueError, match="probability: expected a number between 0 and 1"):
        quantile(p, distribution(1.0, 5.0))


def test_far_tail_keeps_its_digits() -> None:
    """Probabilities far out are those of the normal tail, not rounding noise."""
    assert ndtr(-7.5) == pytest.approx(cdf(-7.5, distribution(1.0, np.inf))[0], rel=1e-12)
    assert 0.0 < cdf(-9.0, distribution(1.0, np.inf, 1.0))[0] < ndtr(-8.0)


@pytest.mark.parametrize("nu", [20.0, 21.5, 60.0, 1e3, 1e6])
def test_normalising_expansion(nu: float) -> None:
    """Agrees with the incomplete beta function within 2e-11 from 20 degrees of freedom on."""
    z = np.linspace(-9, 9, 901)
    assert stdtr(nu, z) == pytest.approx(ndtr(_normalised(z, np.full(901, nu))), abs=2e-11)


def test_density_constant_joins_its_series() -> None:
    """Both forms agree where one takes over from the other."""
    nu = np.array([0.7, 3.0, 50.0, 199.0, 200.5, 400.0])
    exact = np.exp(gammaln((nu + 1) / 2) - gammaln(nu / 2)) / np.sqrt(nu * np.pi)
    assert exact == pytest.approx(_density_constant(nu), rel=1e-12)


def test_many_rectangular_parts_keep_the_two_widest() -> None:
    """The others join the scatter with their variance."""
    d = distribution(1.0, np.inf, 0.3, 5.0, 0.6, 2.0)
    assert (5.0, 2.0) == (d.wide[0], d.narrow[0])
    assert np.sqrt(1 + (0.09 + 0.36) / 3) == pytest.approx(d.scale[0])
