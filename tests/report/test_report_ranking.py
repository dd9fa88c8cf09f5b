"""Which findings matter most."""

from __future__ import annotations

import math

import pytest
from report_builder import judgement, one_finding, passing_judgement, thermistor_faults

from harness.finding import CheckResult, Judgement
from harness.metrology.decision import Verdict
from harness.report.ranking import use_of_limit, worst_first, worst_with_budget


def test_verdicts_fall_in_severity() -> None:
    severities = [p.row.verdict.severity for p in worst_first(judgement())]
    assert sorted(severities, reverse=True) == severities


def test_among_equal_verdicts_a_fact_stands_first() -> None:
    first = worst_first(judgement())[0].row
    assert (first.check, first.point) == ("thermistor-open-short", "open")


def test_passed_facts_stand_last() -> None:
    last = worst_first(judgement())[-1].row
    assert (last.check, last.verdict) == ("thermistor-open-short", Verdict.PASS)


def test_use_of_the_limit_counts_the_uncertainty() -> None:
    assert use_of_limit(one_finding()) == pytest.approx((0.01213 + 0.00061) / 0.005)


def test_a_missing_number_uses_the_limit_without_bound() -> None:
    assert use_of_limit(one_finding(error=math.nan)) == math.inf


def test_a_pass_that_no_rule_stated_stands_below_any_number() -> None:
    """The bench's own plausibility has its U as limit and would else always be the worst."""
    nan = math.nan
    own = one_finding(
        error=0.0001,
        limit=0.00061,
        verdict=Verdict.PASS,
        false_accept_probability=nan,
        false_reject_probability=nan,
    )
    assert use_of_limit(own) == -1.0


def test_the_worst_with_budget_is_measured() -> None:
    placed = worst_with_budget(judgement())
    assert placed is not None
    assert (placed.row.subject, placed.row.channel, placed.row.point) == ("cell", 5, "3.650 V up")


def test_a_pass_has_a_worst_finding_too() -> None:
    placed = worst_with_budget(passing_judgement())
    assert placed is not None
    assert placed.row.verdict is Verdict.PASS


def test_facts_alone_have_no_budget() -> None:
    facts = thermistor_faults(0)
    assert worst_with_budget(Judgement((CheckResult(facts.check, 0, False, facts),))) is None
