"""Exit codes of the command line: one place, shown by `tapproof --help`."""

from __future__ import annotations

from enum import IntEnum

from harness.metrology.decision import Verdict


class ExitCode(IntEnum):
    """What the process tells its caller."""

    PASS = 0
    FAIL = 1
    BAD_INPUT = 2
    CANNOT_DECIDE = 3
    ABORTED = 4
    CONDITIONAL_PASS = 5
    NOT_RUN = 6
    OUTPUT_NOT_OFF = 7


_OF_VERDICT = {
    Verdict.PASS: ExitCode.PASS,
    Verdict.CONDITIONAL_PASS: ExitCode.CONDITIONAL_PASS,
    Verdict.NOT_RUN: ExitCode.NOT_RUN,
    Verdict.CANNOT_DECIDE: ExitCode.CANNOT_DECIDE,
    Verdict.CONDITIONAL_FAIL: ExitCode.FAIL,
    Verdict.FAIL: ExitCode.FAIL,
    Verdict.ABORTED: ExitCode.ABORTED,
}


def exit_code_of(verdict: Verdict) -> ExitCode:
    """The exit code that stands for `verdict`."""
    return _OF_VERDICT[verdict]
