"""Findings: what is computed from observations and limits, as columns and as single rows.

A finding about a measured error carries its uncertainty and its conformity statement; a
finding about a yes-or-no fact (a channel followed another cell, a flag did not rise) carries
only the statement and a sentence. Units: volts for voltages, degrees Celsius for
temperatures, as `unit` says.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from harness.metrology.budget import Budget
from harness.metrology.decision import Verdict
from harness.observation import FloatArray, IntArray


@dataclass(frozen=True)
class Finding:
    """One row of `Findings`; numbers that do not apply are NaN. See there for meanings."""

    check: str
    check_index: int
    run: int
    step: int
    channel: int
    subject: str
    point: str
    nominal: float
    indication: float
    reference: float
    error: float
    limit: float
    unit: str
    standard_uncertainty: float
    coverage_factor: float
    expanded_uncertainty: float
    degrees_of_freedom: float
    channel_to_channel_uncertainty: float
    test_uncertainty_ratio: float
    false_accept_probability: float
    false_reject_probability: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True)
class Findings:
    """Findings of one check, one entry of each array a finding.

    check : the check's kind, e.g. "cell-accuracy"; check_index : its place in the plan.
    subject : what the channel is, singular: "cell", "thermistor", "stack".
    point : text naming the point, e.g. "3.300 V up" (what `explain` takes).
    nominal : the point's nominal stimulus, volts or degrees Celsius.
    indication, reference, error : means; error = indication - reference.
    limit : maximum permissible error T; the interval is [-T, T].
    standard_uncertainty u, coverage_factor k, expanded_uncertainty U = k u : of the error.
    channel_to_channel_uncertainty : expanded, without what is common to all channels.
    test_uncertainty_ratio : T / U.
    verdict : one Verdict a finding; reason : a sentence, may be empty.
    budget : contributions with arrays aligned with this object's, or None.
    """

    check: str
    check_index: int
    subject: str
    unit: str
    run: IntArray
    step: IntArray
    channel: IntArray
    point: tuple[str, ...]
    nominal: FloatArray
    indication: FloatArray
    reference: FloatArray
    error: FloatArray
    limit: FloatArray
    standard_uncertainty: FloatArray
    coverage_factor: FloatArray
    expanded_uncertainty: FloatArray
    degrees_of_freedom: FloatArray
    channel_to_channel_uncertainty: FloatArray
    test_uncertainty_ratio: FloatArray
    false_accept_probability: FloatArray
    false_reject_probability: FloatArray
    verdict: tuple[Verdict, ...]
    reason: tuple[str, ...]
    budget: Budget | None = None

    def __len__(self) -> int:
        return len(self.verdict)

    def row(self, i: int) -> Finding:
        """Finding number `i`."""
        return Finding(
            check=self.check,
            check_index=self.check_index,
            run=int(self.run[i]),
            step=int(self.step[i]),
            channel=int(self.channel[i]),
            subject=self.subject,
            point=self.point[i],
            nominal=float(self.nominal[i]),
            indication=float(self.indication[i]),
            reference=float(self.reference[i]),
            error=float(self.error[i]),
            limit=float(self.limit[i]),
            unit=self.unit,
            standard_uncertainty=float(self.standard_uncertainty[i]),
            coverage_factor=float(self.coverage_factor[i]),
            expanded_uncertainty=float(self.expanded_uncertainty[i]),
            degrees_of_freedom=float(self.degrees_of_freedom[i]),
            channel_to_channel_uncertainty=float(self.channel_to_channel_uncertainty[i]),
            test_uncertainty_ratio=float(self.test_uncertainty_ratio[i]),
            false_accept_probability=float(self.false_accept_probability[i]),
            false_reject_probability=float(self.false_reject_probability[i]),
            verdict=self.verdict[i],
            reason=self.reason[i],
        )

    def rows(self) -> Iterator[Finding]:
        """All findings, in order."""
        return (self.row(i) for i in range(len(self)))

    def worst(self) -> Verdict:
        """The most severe verdict; `NOT_RUN` when there is no finding at all."""
        return Verdict.worst(self.verdict)


def no_numbers(count: int) -> FloatArray:
    """`count` NaNs, for the number columns of yes-or-no findings."""
    return np.full(count, np.nan)


@dataclass(frozen=True)
class CheckResult:
    """What became of one check of the plan.

    findings is None when the check was not run; `not_run` then says why, e.g.
    "this bench lacks individual cell set-points". `stopped_after` is the number of points
    acquired when the run ended inside this check, else None. `unmeasured` of `planned` points
    of the plan have no observations in a run that came to its end.
    """

    check: str
    check_index: int
    is_optional: bool
    findings: Findings | None
    not_run: str = ""
    stopped_after: int | None = None
    unmeasured: int = 0
    planned: int = 0

    def verdict(self) -> Verdict:
        """The worst verdict of the check's findings; a point that is missing is never a pass."""
        if self.findings is None:
            return Verdict.NOT_RUN
        worst = self.findings.worst()
        if self.stopped_after is not None or self.unmeasured:
            return Verdict.worst((worst, Verdict.NOT_RUN))
        return worst


@dataclass(frozen=True)
class Judgement:
    """The judgement of one run under one plan: recomputable from its observations alone.

    indicative : reasons why every verdict is indicative only (a calibration overdue, ...).
    was_aborted : the run ended before its plan did.
    """

    checks: tuple[CheckResult, ...]
    indicative: tuple[str, ...] = ()
    was_aborted: bool = False

    def verdict(self) -> Verdict:
        """The board's verdict: the worst of its checks, optional ones not run left out."""
        counted = [c.verdict() for c in self.checks if not (c.is_optional and c.findings is None)]
        worst = Verdict.worst(counted)
        return Verdict.worst((worst, Verdict.ABORTED)) if self.was_aborted else worst

    def rows(self) -> Iterator[Finding]:
        """Every finding of every check."""
        for check in self.checks:
            if check.findings is not None:
                yield from check.findings.rows()
