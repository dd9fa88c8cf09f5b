"""Decision rules: order of the questions, bounds, and what is missing."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import MisuseError
from harness.metrology.decision import (
    Rule,
    Verdict,
    decide,
    decision_codes,
    is_accepted,
    is_rejected,
    uncertainty_ratio,
)


@pytest.mark.parametrize("rule", list(Rule))
def test_nothing_measured_is_not_run(rule: Rule) -> None:
    """NaN never becomes a pass, nor a fail."""
    assert (Verdict.NOT_RUN,) == decide([np.nan], 5.0, 1.0, rule)


@pytest.mark.parametrize("rule", list(Rule))
def test_poor_reference_cannot_decide(rule: Rule) -> None:
    """TUR < 1, whatever the error within T + U."""
    assert (Verdict.CANNOT_DECIDE,) * 3 == decide([0.0, 4.0, 12.0], 5.0, 7.5, rule)


@pytest.mark.parametrize("rule", list(Rule))
def test_fail_beyond_limit_and_uncertainty_stands_with_a_poor_reference(rule: Rule) -> None:
    """|e| > T + U carries its own proof."""
    assert (Verdict.FAIL, Verdict.FAIL) == decide([12.6, -500.0], 5.0, 7.5, rule)


@pytest.mark.parametrize("u", [np.nan, np.inf])
def test_unknown_uncertainty_cannot_decide(u: float) -> None:
    assert (Verdict.CANNOT_DECIDE,) == decide([0.0], 5.0, u)


def test_infinite_error_fails() -> None:
    assert (Verdict.FAIL,) == decide([-np.inf], 5.0, 1.0)


def test_unit_ratio_can_still_decide() -> None:
    """At TUR = 1 exactly, an error of exactly nothing passes and others are conditional."""
    assert (Verdict.PASS, Verdict.CONDITIONAL_PASS) == decide([0.0, 1e-3], 5.0, 5.0)


def test_without_uncertainty_the_limit_decides() -> None:
    assert (Verdict.PASS, Verdict.FAIL) == decide([5.0, 5.1], 5.0, 0.0)


@pytest.mark.parametrize("volts", [3.3, 4.2, 36.0, 59.0])
def test_rounding_at_a_bound_is_harmless(volts: float) -> None:
    """An error of exactly the limit, got as a difference of volts, is not beyond it."""
    for sign in (1, -1):
        error = (volts + sign * 0.005) - volts
        assert (Verdict.CONDITIONAL_PASS,) == decide([error], 0.005, 0.0004)
        assert (Verdict.PASS,) == decide([error], 0.005, 0.0004, Rule.SIMPLE)
        guarded = (volts + sign * 0.0046) - volts
        assert (Verdict.PASS,) == decide([guarded], 0.005, 0.0004)
        beyond = (volts + sign * 0.0054) - volts
        assert (Verdict.CONDITIONAL_FAIL,) == decide([beyond], 0.005, 0.0004)


def test_a_picovolt_beyond_is_told_from_a_nanovolt_beyond() -> None:
    """The slack is too small to hide anything that can be measured."""
    assert (Verdict.PASS, Verdict.FAIL) == decide(
        [0.005 + 1e-12, 0.005 + 1e-9], 0.005, 1e-4, Rule.SIMPLE
    )


def test_limits_and_uncertainties_may_differ_from_error_to_error() -> None:
    found = decide([1.0, 1.0, 1.0], np.array([3.0, 1.5, 0.4]), np.array([1.0, 1.0, 0.3]))
    assert (Verdict.PASS, Verdict.CONDITIONAL_PASS, Verdict.FAIL) == found


def test_rule_may_be_given_by_its_name() -> None:
    assert decide([4.5], 5.0, 1.0, Rule.SIMPLE) == decide([4.5], 5.0, 1.0, "simple")


def test_codes_are_severities() -> None:
    codes = decision_codes([0.0, 9.0, np.nan], 5.0, 1.0)
    expected = [Verdict.PASS.severity, Verdict.FAIL.severity, Verdict.NOT_RUN.severity]
    assert expected == codes.tolist()


def test_accepting_and_refusing_statements() -> None:
    """Not run and cannot decide are neither."""
    codes = np.array([v.severity for v in Verdict])
    accepted = {v for v, yes in zip(Verdict, is_accepted(codes), strict=True) if yes}
    rejected = {v for v, yes in zip(Verdict, is_rejected(codes), strict=True) if yes}
    assert {Verdict.PASS, Verdict.CONDITIONAL_PASS} == accepted
    assert {Verdict.FAIL, Verdict.CONDITIONAL_FAIL} == rejected


def test_worst_of_none_is_not_run() -> None:
    assert Verdict.NOT_RUN is Verdict.worst([])
    assert Verdict.FAIL is Verdict.worst([Verdict.PASS, Verdict.FAIL, Verdict.CANNOT_DECIDE])


def test_uncertainty_ratio() -> None:
    assert [2.5, np.inf] == uncertainty_ratio(5.0, np.array([2.0, 0.0])).tolist()


@pytest.mark.parametrize(
    ("limit", "u", "rule", "text"),
    [
        (-1.0, 1.0, "simple", "limit: expected numbers of 0 or more, got -1.0"),
        (np.nan, 1.0, "simple", "limit: expected numbers of 0 or more, got nan"),
        (1.0, -0.5, "simple", "expanded uncertainty: expected 0 or more, got -0.5"),
        (1.0, 0.5, "lenient", 'decision rule: expected "guard-band" or "simple", got "lenient"'),
    ],
)
def test_misuse_is_told(limit: float, u: float, rule: str, text: str) -> None:
    with pytest.raises(MisuseError) as caught:
        decide([0.0], limit, u, rule)
    assert text == str(caught.value)
