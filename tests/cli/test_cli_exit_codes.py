"""Every verdict has its exit code, and no trouble is taken for a board's fail."""

from __future__ import annotations

import pytest

from harness.cli.exit_codes import ExitCode, exit_code_of
from harness.metrology.decision import Verdict

CODES = {
    Verdict.PASS: 0,
    Verdict.CONDITIONAL_PASS: 5,
    Verdict.NOT_RUN: 6,
    Verdict.CANNOT_DECIDE: 3,
    Verdict.CONDITIONAL_FAIL: 1,
    Verdict.FAIL: 1,
    Verdict.ABORTED: 4,
}


def test_every_verdict_is_in_the_table() -> None:
    assert set(Verdict) == set(CODES)


@pytest.mark.parametrize("verdict", list(Verdict), ids=lambda verdict: verdict.value)
def test_code_of_a_verdict(verdict: Verdict) -> None:
    assert CODES[verdict] == exit_code_of(verdict)


def test_only_a_pass_is_zero() -> None:
    assert [Verdict.PASS] == [v for v in Verdict if exit_code_of(v) == 0]


def test_codes_fit_a_shell() -> None:
    """POSIX keeps 8 bits, shells use 126 and up for their own."""
    assert all(0 <= code < 126 for code in ExitCode)
