"""Scatter of series and groups; pooling and its guard."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import MisuseError
from harness.metrology.repeatability import (
    Groups,
    effective_count,
    experimental_standard_deviation,
    group_statistics,
    lag1_autocorrelation,
    mean,
    pool,
)


def groups_of(*series: list[float]) -> Groups:
    values = np.concatenate([np.asarray(s, dtype=float) for s in series])
    codes = np.repeat(np.arange(len(series)), [len(s) for s in series])
    return group_statistics(values, codes, len(series))


def test_grouped_equals_one_by_one() -> None:
    """Random groups of random sizes, in random order of groups."""
    rng = np.random.default_rng(1)
    codes = rng.integers(0, 40, 2000)
    values = 3.3 + 1e-4 * rng.normal(size=2000)
    found = group_statistics(values, codes, 40)
    for g in range(40):
        mine = values[codes == g]
        assert len(mine) == found.count[g]
        assert mean(mine) == pytest.approx(found.mean[g], rel=1e-15)
        assert experimental_standard_deviation(mine) == pytest.approx(
            found.standard_deviation[g], rel=1e-10
        )
        corrected = lag1_autocorrelation(mine) + 1 / len(mine)
        assert corrected == pytest.approx(found.lag1[g], abs=1e-9)


def test_small_groups_say_nothing_about_scatter() -> None:
    """One value has no s; an empty group has no mean either."""
    found = group_statistics(np.array([3.0]), np.array([1]), 2)
    assert [0, 1] == found.count.tolist()
    assert [True, False] == np.isnan(found.mean).tolist()
    assert [True, True] == np.isnan(found.standard_deviation).tolist()
    assert [True, True] == np.isnan(found.lag1).tolist()


def test_nan_spoils_its_own_group_only() -> None:
    found = groups_of([1.0, np.nan, 2.0], [1.0, 2.0, 3.0])
    assert [True, False] == np.isnan(found.mean).tolist()
    assert [True, False] == np.isnan(found.standard_deviation).tolist()


def test_constant_group_has_no_scatter_and_no_correlation() -> None:
    found = groups_of([3.301] * 5)
    assert 0.0 == found.standard_deviation[0]
    assert 0.0 == found.lag1[0]


def test_no_values_at_all() -> None:
    assert np.isnan(mean([]))
    assert np.isnan(experimental_standard_deviation([1.0]))
    assert np.isnan(lag1_autocorrelation([1.0]))


def test_white_noise_in_short_groups_has_no_correlation() -> None:
    """The correction takes out the bias of -1/n of five-sample series."""
    rng = np.random.default_rng(2)
    found = group_statistics(rng.normal(size=100_000), np.repeat(np.arange(20_000), 5), 20_000)
    pooled = pool(found, np.zeros(20_000, dtype=int), 1, significance=1e-12)
    assert pytest.approx(0.0, abs=0.01) == pooled.lag1[0]


def test_effective_count_of_a_first_order_process() -> None:
    """The mean of n correlated samples scatters as that of n_eff independent ones."""
    rng, n, rho = np.random.default_rng(3), 200, 0.6
    noise = rng.normal(size=(n, 4000)) * np.sqrt(1 - rho**2)
    x = np.zeros((n, 4000))
    x[0] = noise[0] / np.sqrt(1 - rho**2)
    for i in range(1, n):
        x[i] = rho * x[i - 1] + noise[i]
    assert 1 / x.mean(axis=0).var() == pytest.approx(float(effective_count(n, rho)), rel=0.08)


@pytest.mark.parametrize(
    ("n", "rho", "expected"), [(10, 0.0, 10), (10, -0.4, 10), (10, 1.0, 1), (9, 0.5, 3), (0, 0, 0)]
)
def test_effective_count_keeps_within_one_and_n(n: int, rho: float, expected: float) -> None:
    assert expected == pytest.approx(float(effective_count(n, rho)))


def test_pooled_scatter() -> None:
    """Sum of squares over sum of degrees of freedom; pools stay apart."""
    found = pool(groups_of([0, 2], [0, 2, 4], [10, 10, 10]), np.array([0, 0, 1]), 2)
    assert [np.sqrt((2 + 8) / 3)] * 2 + [0.0] == pytest.approx(found.standard_deviation.tolist())
    assert [3, 3, 2] == found.degrees_of_freedom.tolist()
    assert not found.is_own.any()


def test_single_values_use_the_scatter_of_their_pool() -> None:
    found = pool(groups_of([1.0], [0.0, 2.0]), np.array([0, 0]), 1)
    assert [np.sqrt(2.0)] * 2 == pytest.approx(found.standard_deviation.tolist())


def test_pool_without_any_scatter_known() -> None:
    """No degrees of freedom at all: NaN, never zero."""
    found = pool(groups_of([1.0], [2.0]), np.array([0, 0]), 1)
    assert np.isnan(found.standard_deviation).all()
    assert [0, 0] == found.degrees_of_freedom.tolist()


def test_group_that_stands_out_keeps_its_own_scatter() -> None:
    """One restless point neither hides in the pool nor spoils it."""
    rng = np.random.default_rng(4)
    series = [list(rng.normal(size=6)) for _ in range(12)]
    series[7] = list(20 * rng.normal(size=6))
    groups = groups_of(*series)
    found = pool(groups, np.zeros(12, dtype=int), 1)
    assert [7] == np.flatnonzero(found.is_own).tolist()
    assert groups.standard_deviation[7] == found.standard_deviation[7]
    assert 5 == found.degrees_of_freedom[7]
    assert 55 == found.degrees_of_freedom[0]
    assert found.standard_deviation[0] < 2


def test_steady_groups_rarely_stand_out() -> None:
    """About as rarely as the significance says."""
    rng = np.random.default_rng(5)
    found = group_statistics(rng.normal(size=200_000), np.repeat(np.arange(40_000), 5), 40_000)
    pooled = pool(found, np.arange(40_000) % 4000, 4000)
    assert pytest.approx(1e-3, abs=5e-4) == pooled.is_own.mean()


def test_flicker_among_constant_groups_stands_out() -> None:
    """Where all others are constant, any scatter is kept as the group's own."""
    found = pool(groups_of([1, 1, 1], [1, 1, 1], [1, 2, 1]), np.zeros(3, dtype=int), 1)
    assert [False, False, True] == found.is_own.tolist()


def test_pools_must_fit_groups() -> None:
    with pytest.raises(MisuseError, match="pools: expected one for each of 1 groups, got 2"):
        pool(groups_of([1, 2]), np.array([0, 0]), 1)
