"""Which findings matter most: pure ordering, worst first."""

from __future__ import annotations

import math
from dataclasses import dataclass

from harness.finding import Finding, Findings, Judgement
from harness.metrology.decision import Verdict


@dataclass(frozen=True)
class Placed:
    """A finding with the columns it stands in and its place there."""

    findings: Findings
    index: int

    @property
    def row(self) -> Finding:
        """The finding itself."""
        return self.findings.row(self.index)


def use_of_limit(finding: Finding) -> float:
    """(|error| + U) / limit: above 1 the error is not shown to be inside.

    A finding that no decision rule stated (a yes-or-no fact, the plausibility of the bench)
    has no such number. It counts as infinite, so that among equal verdicts it stands first (a
    swapped channel explains the errors behind it), and as below any number when it passed.
    """
    is_number = not (math.isnan(finding.expanded_uncertainty) or math.isnan(finding.error))
    if finding.verdict is Verdict.PASS and not (is_number and has_risk(finding)):
        return -1.0
    if not is_number:
        return math.inf
    return (abs(finding.error) + finding.expanded_uncertainty) / finding.limit


def has_risk(finding: Finding) -> bool:
    """Whether a decision rule stated it, so that it can be a wrong accept or reject."""
    risks = (finding.false_accept_probability, finding.false_reject_probability)
    return not all(math.isnan(risk) for risk in risks)


def worst_first(judgement: Judgement) -> tuple[Placed, ...]:
    """Every finding, most severe verdict first, then by use of the limit, then as judged."""
    placed = [
        Placed(check.findings, i)
        for check in judgement.checks
        if check.findings is not None
        for i in range(len(check.findings))
    ]
    keyed = [(p.row, p) for p in placed]
    keyed.sort(key=lambda pair: (-pair[0].verdict.severity, -_finite(use_of_limit(pair[0]))))
    return tuple(p for _, p in keyed)


def _finite(ratio: float) -> float:
    """NaN sorts nowhere in particular; put it last."""
    return -1.0 if math.isnan(ratio) else ratio


def has_budget(placed: Placed) -> bool:
    """Whether a budget stands behind the finding's number."""
    number = placed.findings.expanded_uncertainty[placed.index]
    return placed.findings.budget is not None and not math.isnan(number)


def worst_with_budget(judgement: Judgement) -> Placed | None:
    """The worst finding that has an uncertainty budget; None when none has."""
    return next((p for p in worst_first(judgement) if has_budget(p)), None)
