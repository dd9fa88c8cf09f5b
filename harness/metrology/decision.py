"""Verdict words and their severity. (Decision rules are added here by their author.)"""

from __future__ import annotations

from collections.abc import Iterable
from enum import Enum


class Verdict(str, Enum):
    """A conformity statement; a missing value is never a pass."""

    PASS = "pass"  # noqa: S105
    CONDITIONAL_PASS = "conditional pass"
    NOT_RUN = "not run"
    CANNOT_DECIDE = "cannot decide"
    CONDITIONAL_FAIL = "conditional fail"
    FAIL = "fail"
    ABORTED = "aborted"

    @property
    def severity(self) -> int:
        """0 for `PASS`, rising to `ABORTED`."""
        return _SEVERITY[self]

    @staticmethod
    def worst(verdicts: Iterable[Verdict]) -> Verdict:
        """The most severe of `verdicts`; `NOT_RUN` when there is none."""
        return max(verdicts, key=lambda v: v.severity, default=Verdict.NOT_RUN)


_SEVERITY = {verdict: place for place, verdict in enumerate(Verdict)}
