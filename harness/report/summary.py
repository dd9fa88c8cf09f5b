"""What became of each check: counts by verdict, and the reason where it was not run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from harness.finding import CheckResult, Judgement
from harness.metrology.decision import Verdict

_TITLES = {
    "mapping": "Mapping and liveness",
    "cell-accuracy": "Cell accuracy",
    "stack-total": "Stack total",
    "noise": "Noise and resolution",
    "thermistor-accuracy": "Thermistor accuracy",
    "thermistor-open-short": "Thermistor open and short circuit",
}


@dataclass(frozen=True)
class CheckSummary:
    """One check; `counts` holds only verdicts that occur, worst first. `note` may be empty."""

    title: str
    check: str
    check_index: int
    verdict: Verdict
    counts: Mapping[Verdict, int]
    total: int
    note: str


def check_title(check: str) -> str:
    """A check's kind in words."""
    return _TITLES.get(check, check.replace("-", " ").capitalize())


def summarise(judgement: Judgement) -> tuple[CheckSummary, ...]:
    """One summary a check, in the plan's order."""
    return tuple(_summary(check) for check in judgement.checks)


def counts_text(summary: CheckSummary) -> str:
    """The counts in words: "2 fail, 166 pass"."""
    if not summary.total:
        return "no finding"
    return ", ".join(f"{count} {verdict.value}" for verdict, count in summary.counts.items())


def outcome_text(summary: CheckSummary) -> str:
    """Counts and note in one line; the note alone where nothing was found."""
    if not summary.total:
        return summary.note or counts_text(summary)
    return "; ".join(part for part in (counts_text(summary), summary.note) if part)


def _summary(check: CheckResult) -> CheckSummary:
    verdicts = () if check.findings is None else check.findings.verdict
    counted = Counter(verdicts)
    order = sorted(counted, key=lambda verdict: -verdict.severity)
    return CheckSummary(
        title=check_title(check.check),
        check=check.check,
        check_index=check.check_index,
        verdict=check.verdict(),
        counts={verdict: counted[verdict] for verdict in order},
        total=len(verdicts),
        note=_note(check),
    )


def _note(check: CheckResult) -> str:
    if check.findings is None:
        optional = " (optional)" if check.is_optional else ""
        return f"not run{optional}: {check.not_run or 'no reason recorded'}"
    if check.stopped_after is not None:
        return f"the run ended inside this check, after {check.stopped_after} of its points"
    if check.unmeasured:
        return f"{check.unmeasured} of {check.planned} planned points not measured"
    return ""
