"""From errors, limits and budgets to findings: the last step of every check.

It combines a budget, asks `harness.metrology.decision` for the conformity statement, and lets
a missing or unsettled value override it. It knows no check.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from harness.checks.samples import BoolArray
from harness.descriptions.plan import Decision
from harness.finding import Findings, no_numbers
from harness.metrology.budget import Budget, combine
from harness.metrology.decision import Verdict, decision_codes, uncertainty_ratio
from harness.metrology.risk import specific_risks
from harness.observation import FloatArray, IntArray

_BY_SEVERITY = {verdict.severity: verdict for verdict in Verdict}

# From here on a voltage is written in volts, below it in millivolts.
_VOLTS_FROM = 1.0


def volts_text(volts: float) -> str:
    """A voltage for a sentence: "3.300 V", "23.1 mV"."""
    if abs(volts) >= _VOLTS_FROM:
        return f"{volts:.3f} V"
    return f"{volts * 1e3:.3g} mV"


@dataclass(frozen=True)
class Place:
    """Which check the findings belong to and where each of n lies; arrays of shape (n,).

    See `harness.finding.Findings` for the fields.
    """

    check: str
    check_index: int
    subject: str
    unit: str
    run: IntArray
    step: IntArray
    channel: IntArray
    point: Sequence[str]
    nominal: FloatArray


@dataclass(frozen=True)
class Override:
    """A verdict that stands whatever the numbers say, where `mask` (shape (n,)) is true.

    reason : the sentence for finding i.
    """

    mask: BoolArray
    verdict: Verdict
    reason: Callable[[int], str]


def error_findings(
    place: Place,
    *,
    indication: FloatArray,
    reference: FloatArray,
    limit: FloatArray,
    budget: Budget,
    decision: Decision,
    overrides: Sequence[Override] = (),
) -> Findings:
    """Findings about measured errors under the plan's decision rule.

    Parameters
    ----------
    indication, reference : shape (n,), NaN where there is no usable value; a NaN is
        `NOT_RUN` even without an override.
    limit : maximum permissible errors, shape (n,).
    budget : contributions of shape (n,).
    overrides : the first whose mask is true stands; its risks are NaN.
    """
    error = indication - reference
    combined = combine(budget, decision.coverage_probability)
    expanded = combined.expanded_uncertainty
    codes = decision_codes(error, limit, expanded, decision.rule)
    reasons = [""] * len(error)
    is_overridden = np.zeros(len(error), dtype=bool)
    for override in overrides:
        for i in np.flatnonzero(override.mask & ~is_overridden).tolist():
            reasons[i] = override.reason(i)
        codes = np.where(override.mask & ~is_overridden, override.verdict.severity, codes)
        is_overridden |= override.mask
    false_accept, false_reject = specific_risks(codes, error, limit, combined.distribution)
    return Findings(
        check=place.check,
        check_index=place.check_index,
        subject=place.subject,
        unit=place.unit,
        run=place.run,
        step=place.step,
        channel=place.channel,
        point=tuple(place.point),
        nominal=place.nominal,
        indication=indication,
        reference=reference,
        error=error,
        limit=limit,
        standard_uncertainty=combined.standard_uncertainty,
        coverage_factor=combined.coverage_factor,
        expanded_uncertainty=expanded,
        degrees_of_freedom=combined.degrees_of_freedom,
        channel_to_channel_uncertainty=combined.channel_to_channel_expanded,
        test_uncertainty_ratio=uncertainty_ratio(limit, expanded),
        false_accept_probability=np.where(is_overridden, np.nan, false_accept),
        false_reject_probability=np.where(is_overridden, np.nan, false_reject),
        verdict=tuple(map(_BY_SEVERITY.__getitem__, codes.tolist())),
        reason=tuple(reasons),
        budget=budget,
    )


def fact_findings(
    place: Place,
    *,
    indication: FloatArray,
    reference: FloatArray,
    limit: FloatArray,
    verdict: Sequence[Verdict],
    reason: Sequence[str],
) -> Findings:
    """Findings about yes-or-no facts, all arrays of shape (n,); they carry no uncertainty.

    `indication`, `reference` and `limit` are kept as evidence, in the place's unit; NaN where
    there is none.
    """
    count = len(verdict)
    return Findings(
        check=place.check,
        check_index=place.check_index,
        subject=place.subject,
        unit=place.unit,
        run=place.run,
        step=place.step,
        channel=place.channel,
        point=tuple(place.point),
        nominal=place.nominal,
        indication=indication,
        reference=reference,
        error=indication - reference,
        limit=limit,
        standard_uncertainty=no_numbers(count),
        coverage_factor=no_numbers(count),
        expanded_uncertainty=no_numbers(count),
        degrees_of_freedom=no_numbers(count),
        channel_to_channel_uncertainty=no_numbers(count),
        test_uncertainty_ratio=no_numbers(count),
        false_accept_probability=no_numbers(count),
        false_reject_probability=no_numbers(count),
        verdict=tuple(verdict),
        reason=tuple(reason),
    )
