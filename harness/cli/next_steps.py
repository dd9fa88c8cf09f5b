"""What to call next, in words that can be pasted into a shell; pure."""

from __future__ import annotations

import math
import shlex
from pathlib import Path

from harness.cli.finding_choice import channel_words
from harness.cli.options import RESULTS
from harness.finding import Finding
from harness.report.ranking import worst_first
from harness.run.rejudge import JudgedRun


def call(results: Path, *words: str) -> str:
    """A complete call of `tapproof` with these words, on this results folder."""
    where = () if results == RESULTS else ("--results", str(results))
    return shlex.join(("tapproof", *words, *where))


def next_steps(judged: JudgedRun, results: Path) -> list[str]:
    """How to see the budget behind the worst number; nothing where no number has one."""
    ranked = (placed.row for placed in worst_first(judged.judgement))
    worst = next((row for row in ranked if not math.isnan(row.expanded_uncertainty)), None)
    if worst is None:
        return []
    return [f"budget behind the worst number: {_explain(judged, worst, results)}"]


def _explain(judged: JudgedRun, finding: Finding, results: Path) -> str:
    run = judged.header.short_id
    return call(results, "explain", run, channel_words(finding), finding.point)
