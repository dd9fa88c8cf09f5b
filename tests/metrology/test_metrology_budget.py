"""Combination of contributions, against hand figures and two independent programs."""

from __future__ import annotations

import numpy as np
import pytest
from budgets_at_random import part, random_budget
from GTC import dof as gtc_dof
from GTC import uncertainty as gtc_uncertainty
from GTC import ureal
from uncertainties import ufloat

from harness.errors import MisuseError
from harness.metrology.budget import (
    Budget,
    Shape,
    combine,
    entry_of,
    largest_first,
    shares,
    take,
    welch_satterthwaite,
)

SEEDS = range(8)


def one(*parts) -> Budget:
    return Budget(tuple(parts))


@pytest.mark.parametrize("seed", SEEDS)
def test_agrees_with_gtc(seed: int) -> None:
    """u and effective degrees of freedom of random budgets, as an independent program has them."""
    budget = random_budget(np.random.default_rng(seed), 6, rectangular=3, lowest_dof=2)
    combined = combine(budget)
    for i in range(6):
        parts = [
            ureal(0.0, float(c.standard_uncertainty[i]), float(c.degrees_of_freedom[i]))
            for c in budget.contributions
        ]
        total = sum(parts[1:], parts[0])
        assert gtc_uncertainty(total) == pytest.approx(combined.standard_uncertainty[i], rel=1e-12)
        assert gtc_dof(total) == pytest.approx(combined.degrees_of_freedom[i], rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_agrees_with_uncertainties(seed: int) -> None:
    """u, as a second independent program has it."""
    budget = random_budget(np.random.default_rng(seed), 3, rectangular=4, lowest_dof=None)
    combined = combine(budget)
    for i in range(3):
        total = sum(ufloat(0.0, float(c.standard_uncertainty[i])) for c in budget.contributions)
        assert total.std_dev == pytest.approx(combined.standard_uncertainty[i], rel=1e-12)


def test_common_and_own_parts_add_up() -> None:
    """u^2 is the sum of the squares of the common part and the channel's own."""
    combined = combine(one(part("meter", 3.0, is_common=True), part("board", 4.0)))
    assert 5.0 == combined.standard_uncertainty[0]
    assert 3.0 == combined.common_uncertainty[0]
    assert 4.0 == combined.channel_uncertainty[0]


def test_channel_to_channel_leaves_the_common_part_out() -> None:
    """It equals U of the budget without the common contributions."""
    own = part("board", 4.0, Shape.STUDENT, 9)
    both = combine(one(part("meter", 30.0, Shape.RECTANGULAR, is_common=True), own))
    alone = combine(one(own))
    assert alone.expanded_uncertainty[0] == both.channel_to_channel_expanded[0]


def test_all_common_leaves_nothing_between_channels() -> None:
    combined = combine(one(part("meter", 2.0, is_common=True)))
    assert 0.0 == combined.channel_to_channel_expanded[0]
    assert 0.0 == combined.channel_uncertainty[0]


@pytest.mark.parametrize(
    ("contribution", "factor"),
    [
        (part("normal", 1.0), 1.959964),
        (part("few readings", 1.0, Shape.STUDENT, 4), 2.776445),
        (part("specification", 1.0, Shape.RECTANGULAR), 0.95 * 3**0.5),
    ],
    ids=["normal", "t", "rectangular"],
)
def test_coverage_factor_of_a_single_part(contribution, factor: float) -> None:
    """k follows the shape; it is not 2 (GUM table G.2; GUM 4.3.7)."""
    assert factor == pytest.approx(combine(one(contribution)).coverage_factor[0], rel=1e-6)


def test_expanded_is_k_times_u() -> None:
    combined = combine(random_budget(np.random.default_rng(1), 9, rectangular=3, lowest_dof=5))
    product = combined.coverage_factor * combined.standard_uncertainty
    assert product == pytest.approx(combined.expanded_uncertainty, rel=1e-14)


def test_nothing_uncertain_has_no_uncertainty() -> None:
    """u = 0 gives U = 0 and the normal factor, not a division by zero."""
    combined = combine(one(part("nothing", 0.0), part("none", 0.0, Shape.RECTANGULAR)))
    assert 0.0 == combined.expanded_uncertainty[0]
    assert np.inf == combined.degrees_of_freedom[0]
    assert pytest.approx(1.959964) == combined.coverage_factor[0]


def test_nan_spoils_its_own_entry_only() -> None:
    """A missing contribution is never taken as none."""
    combined = combine(one(part("a", np.array([1.0, np.nan])), part("b", np.array([1.0, 1.0]))))
    assert [False, True] == np.isnan(combined.expanded_uncertainty).tolist()
    assert [False, True] == np.isnan(combined.coverage_factor).tolist()


def test_degrees_of_freedom_of_a_sum_are_not_rounded() -> None:
    """(1 + 1)^2 / (1/9 + 1/4)."""
    u, nu = np.ones((2, 1)), np.array([[9.0], [4.0]])
    assert 4 / (1 / 9 + 1 / 4) == pytest.approx(welch_satterthwaite(u, nu)[0])


def test_shares_sum_to_one() -> None:
    """Shares are those of the variance."""
    found = shares(one(part("a", 3.0), part("b", 4.0)))
    assert [9 / 25, 16 / 25] == pytest.approx(found[:, 0].tolist())


def test_shares_of_nothing_are_zero() -> None:
    assert [0.0] == shares(one(part("a", 0.0)))[:, 0].tolist()


def test_largest_first_looks_at_one_entry() -> None:
    """The order may differ from entry to entry."""
    budget = one(part("a", np.array([1.0, 3.0])), part("b", np.array([2.0, 2.0])))
    assert ["b", "a"] == [c.name for c in largest_first(budget, 0)]
    assert ["a", "b"] == [c.name for c in largest_first(budget, 1)]


def test_entry_and_take_keep_what_a_contribution_says() -> None:
    budget = one(part("a", np.array([1.0, 3.0, 5.0]), Shape.STUDENT, np.array([2.0, 4.0, 6.0])))
    assert [5.0, 1.0] == take(budget, [2, 0]).contributions[0].standard_uncertainty.tolist()
    assert [4.0] == entry_of(budget, 1).contributions[0].degrees_of_freedom.tolist()
    assert "improve a" == entry_of(budget, 1).contributions[0].reduce_by


@pytest.mark.parametrize(
    ("budget", "text"),
    [
        (Budget(()), "budget: expected at least one contribution, got none"),
        (
            one(part("a", -1.0)),
            'budget: "a": expected standard uncertainties of 0 or more, got -1.0',
        ),
        (
            one(part("a", 1.0, Shape.STUDENT, 0)),
            'budget: "a": expected degrees of freedom above 0, got 0.0',
        ),
        (
            one(part("a", 1.0), part("b", np.ones(2))),
            'budget: "b": expected arrays of shape (1,), got (2,) and (2,)',
        ),
    ],
    ids=["empty", "negative", "no freedom", "shapes"],
)
def test_misuse_is_told(budget: Budget, text: str) -> None:
    with pytest.raises(MisuseError) as caught:
        combine(budget)
    assert text == str(caught.value)
