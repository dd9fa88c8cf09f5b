"""How many samples, which integration time."""

from __future__ import annotations

import numpy as np
import pytest
from budgets_at_random import part

from harness.errors import MisuseError
from harness.metrology.budget import Budget, Shape, combine
from harness.metrology.planning import choose_integration, samples_needed

METER = Budget((part("meter accuracy", 1.0e-4, Shape.RECTANGULAR),))


def expanded(count: int) -> float:
    scatter = part("s", 1e-3 / np.sqrt(count), Shape.STUDENT, count - 1)
    return float(combine(Budget((*METER.contributions, scatter))).expanded_uncertainty[0])


def test_fewest_samples_for_a_target() -> None:
    """One fewer would not do."""
    answer = samples_needed(5e-4, METER, 1e-3)
    assert answer.count is not None
    assert expanded(answer.count) <= 5e-4 < expanded(answer.count - 1)
    assert expanded(answer.count) == pytest.approx(answer.expanded_uncertainty)


def test_unreachable_target_names_what_stands_in_the_way() -> None:
    """More samples do not make the meter better."""
    answer = samples_needed(1e-4, METER, 1e-5)
    assert not answer.is_reachable
    assert ("meter accuracy", "improve meter accuracy") == (answer.dominant, answer.reduce_by)


def test_too_few_samples_allowed_names_the_repeatability() -> None:
    answer = samples_needed(5e-4, METER, 1e-2, most=10)
    assert answer.count is None
    assert "repeatability" == answer.dominant
    assert answer.expanded_uncertainty > 5e-4


def test_known_scatter_needs_fewer_samples() -> None:
    """Degrees of freedom from before spare the large t-factors of few readings."""
    known = samples_needed(9e-4, METER, 1e-3, degrees_of_freedom=200)
    unknown = samples_needed(9e-4, METER, 1e-3)
    assert known.count < unknown.count


def test_easy_target_takes_the_fewest() -> None:
    assert 5 == samples_needed(1.0, METER, 1e-3, fewest=5).count
    assert 1 == samples_needed(1.0, METER, 1e-3, degrees_of_freedom=50, fewest=1).count


def test_every_error_must_reach_the_target() -> None:
    """The noisiest channel decides."""
    two = Budget((part("meter accuracy", np.full(2, 1e-4), Shape.RECTANGULAR),))
    both = samples_needed(5e-4, two, np.array([1e-4, 1e-3]))
    assert samples_needed(5e-4, METER, 1e-3).count == both.count


@pytest.mark.parametrize(
    ("arguments", "text"),
    [
        ({"target_expanded": 0.0}, "target: expected a number above 0, got 0.0"),
        ({"most": 1}, "samples: expected at most 2 or more, got 1"),
        ({"others": Budget(())}, "others: expected at least one contribution, got none"),
    ],
)
def test_misuse_is_told(arguments: dict, text: str) -> None:
    usual = {"target_expanded": 1e-3, "others": METER, "standard_deviation": 1e-3}
    with pytest.raises(MisuseError) as caught:
        samples_needed(**(usual | arguments))
    assert text == str(caught.value)


SECONDS, NOISE, STEP = [0.2, 0.02, 2.0], [3e-6, 1e-5, 1e-6], [1e-6, 1e-5, 1e-7]


@pytest.mark.parametrize(("allowed", "row"), [(2e-5, 1), (5e-6, 0), (1.5e-6, 2), (1e-7, None)])
def test_shortest_integration_that_is_good_enough(allowed: float, row: int | None) -> None:
    assert row == choose_integration(SECONDS, NOISE, STEP, allowed)
