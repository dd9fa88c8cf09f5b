"""Findings and judgements made up for tests that only look at their shape."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from harness.finding import CheckResult, Findings, Judgement
from harness.metrology.decision import Verdict


def made_up_findings(
    verdicts: Sequence[Verdict] = (Verdict.PASS,),
    *,
    check: str = "cell-accuracy",
    check_index: int = 0,
    subject: str = "cell",
    points: Sequence[str] = ("3.300 V up",),
    expanded_uncertainty: float = 0.0005,
) -> Findings:
    """Findings of channels 1, 2, ... at each of `points`: one for each of `verdicts` in turn.

    Errors rise by 1 mV from one to the next; the limit is 5 mV.
    """
    count = len(verdicts)
    channels = count // len(points)
    steps = np.repeat(np.arange(len(points)), channels)
    error = 0.001 * np.arange(1, count + 1)
    nothing = np.full(count, np.nan)
    return Findings(
        check=check,
        check_index=check_index,
        subject=subject,
        unit="V",
        run=np.zeros(count, dtype=np.int64),
        step=steps,
        channel=np.tile(np.arange(1, channels + 1), len(points)),
        point=tuple(points[step] for step in steps),
        nominal=np.full(count, 3.3),
        indication=3.3 + error,
        reference=np.full(count, 3.3),
        error=error,
        limit=np.full(count, 0.005),
        standard_uncertainty=np.full(count, expanded_uncertainty / 2),
        coverage_factor=np.full(count, 2.0),
        expanded_uncertainty=np.full(count, expanded_uncertainty),
        degrees_of_freedom=np.full(count, np.inf),
        channel_to_channel_uncertainty=nothing,
        test_uncertainty_ratio=0.005 / np.full(count, expanded_uncertainty),
        false_accept_probability=nothing,
        false_reject_probability=nothing,
        verdict=tuple(verdicts),
        reason=("",) * count,
    )


def result_of(
    findings: Findings | None, *, is_optional: bool = False, **more: object
) -> CheckResult:
    """A check's result with these findings; None says that it was not run."""
    if findings is None:
        return CheckResult("noise", 9, is_optional, None, **more)  # type: ignore[arg-type]
    return CheckResult(findings.check, findings.check_index, is_optional, findings, **more)  # type: ignore[arg-type]


def judgement_of(*verdicts: Verdict, was_aborted: bool = False) -> Judgement:
    """A judgement of one check with these verdicts."""
    return Judgement((result_of(made_up_findings(verdicts)),), was_aborted=was_aborted)
