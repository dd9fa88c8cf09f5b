"""Exit codes of the command line: one place, shown by `tapproof --help`.

The verdict words are imported only when a code is asked for: they live beside numeric code,
which `--help` must not wait for.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
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
    # EX_SOFTWARE of BSD's sysexits.h. Python itself would end with 1, which here says that a
    # board failed.
    DEFECT = 70


def exit_code_of(verdict: Verdict) -> ExitCode:
    """The exit code that stands for `verdict`: the code of the same name, 1 for both fails."""
    is_conditional_fail = verdict.name == "CONDITIONAL_FAIL"
    return ExitCode.FAIL if is_conditional_fail else ExitCode[verdict.name]
