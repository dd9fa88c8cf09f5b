"""From numbers to findings: the rule decides, and what must not be judged overrides it."""

from __future__ import annotations

import numpy as np
import pytest

from harness.checks.reference_budget import rectangular
from harness.checks.statements import (
    Override,
    Place,
    error_findings,
    fact_findings,
    volts_text,
)
from harness.descriptions.plan import Decision
from harness.metrology.budget import Budget
from harness.metrology.decision import Verdict


def place(count: int) -> Place:
    zero = np.zeros(count, dtype=np.int64)
    return Place(
        "cell-accuracy",
        2,
        "cell",
        "V",
        zero,
        zero,
        zero + 1,
        ("3.300 V",) * count,
        np.full(count, 3.3),
    )


def findings(errors, *overrides: Override, rule: str = "guard-band"):
    errors = np.array(errors, dtype=float)
    half_width = np.full(len(errors), 0.001)
    return error_findings(
        place(len(errors)),
        indication=3.3 + errors,
        reference=np.full(len(errors), 3.3),
        limit=np.full(len(errors), 0.005),
        budget=Budget((rectangular("bound", half_width, "source", "advice"),)),
        decision=Decision(rule=rule),
        overrides=overrides,
    )


def test_the_four_statements_of_the_guard_band():
    assert (
        Verdict.PASS,
        Verdict.CONDITIONAL_PASS,
        Verdict.CONDITIONAL_FAIL,
        Verdict.FAIL,
    ) == findings([0.0, 0.0045, 0.0055, 0.0065]).verdict


def test_simple_acceptance_has_two():
    assert (Verdict.PASS, Verdict.FAIL) == findings([0.0045, 0.0055], rule="simple").verdict


def test_u_is_95_percent_of_a_lone_rectangle():
    found = findings([0.0])
    assert 0.95e-3 == pytest.approx(found.expanded_uncertainty[0])
    assert 0.005 / 0.95e-3 == pytest.approx(found.test_uncertainty_ratio[0])


def test_an_error_that_is_not_known_is_not_run():
    assert (Verdict.NOT_RUN,) == findings([np.nan]).verdict


def test_an_override_stands_with_its_reason():
    override = Override(np.array([False, True]), Verdict.CANNOT_DECIDE, lambda i: f"number {i}")
    found = findings([0.0, 0.0], override)
    assert ((Verdict.PASS, Verdict.CANNOT_DECIDE), ("", "number 1")) == (
        found.verdict,
        found.reason,
    )


def test_the_first_of_two_overrides_stands():
    first = Override(np.array([True]), Verdict.NOT_RUN, lambda _: "first")
    second = Override(np.array([True]), Verdict.PASS, lambda _: "second")
    found = findings([0.0], first, second)
    assert (Verdict.NOT_RUN, "first") == (found.verdict[0], found.reason[0])


def test_an_overridden_finding_has_no_risk():
    override = Override(np.array([True, False]), Verdict.PASS, lambda _: "")
    risks = findings([0.0, 0.0], override).false_accept_probability
    assert [True, False] == np.isnan(risks).tolist()


def test_facts_carry_evidence_and_no_uncertainty():
    found = fact_findings(
        place(1),
        indication=np.array([0.3]),
        reference=np.array([0.1]),
        limit=np.array([0.5]),
        verdict=(Verdict.FAIL,),
        reason=("because",),
    )
    assert (0.2, "because") == (pytest.approx(found.error[0]), found.reason[0])
    assert np.isnan(found.expanded_uncertainty[0])


@pytest.mark.parametrize(
    ("volts", "text"), [(3.3, "3.300 V"), (0.0231, "23.1 mV"), (-0.15, "-150 mV")]
)
def test_a_voltage_in_a_sentence(volts, text):
    assert text == volts_text(volts)
