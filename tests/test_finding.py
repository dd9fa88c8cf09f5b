"""Findings: rows agree with columns, and the worst of all is the board's verdict."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from made_up_findings import judgement_of, made_up_findings, result_of

from harness.finding import Finding, Findings, Judgement, no_numbers
from harness.metrology.decision import Verdict

PASS, FAIL = Verdict.PASS, Verdict.FAIL
NOT_RUN, ABORTED = Verdict.NOT_RUN, Verdict.ABORTED
FOUR = made_up_findings((PASS, FAIL, PASS, PASS), points=("2.500 V up", "3.300 V up"))


def test_a_row_has_every_column() -> None:
    """Each number of a row is that of its column, each text that of its tuple."""
    row = FOUR.row(1)
    for field in dataclasses.fields(Finding):
        column = getattr(FOUR, field.name)
        shared = isinstance(column, str | int)
        expected = column if shared else column[1]
        told = getattr(row, field.name)
        assert expected == told or (math.isnan(expected) and math.isnan(told)), field.name


def test_a_row_is_of_plain_values() -> None:
    """No numpy scalars: they would not become JSON."""
    for value in dataclasses.astuple(FOUR.row(0)):
        assert not isinstance(value, np.generic)


def test_rows_come_in_order() -> None:
    assert [("2.500 V up", 1), ("2.500 V up", 2), ("3.300 V up", 1), ("3.300 V up", 2)] == [
        (row.point, row.channel) for row in FOUR.rows()
    ]


def test_there_are_as_many_as_verdicts() -> None:
    assert 4 == len(FOUR)


def test_the_worst_counts() -> None:
    assert FOUR.worst() is FAIL


def test_no_finding_is_no_pass() -> None:
    assert made_up_findings(()).worst() is NOT_RUN


def test_no_numbers_are_nan() -> None:
    np.testing.assert_array_equal([math.nan, math.nan], no_numbers(2))


def test_a_check_not_run_says_so() -> None:
    assert result_of(None).verdict() is NOT_RUN


@pytest.mark.parametrize(
    "more", [{"stopped_after": 3}, {"unmeasured": 1, "planned": 4}], ids=["stopped", "unmeasured"]
)
def test_a_check_with_points_missing_is_no_pass(more: dict[str, int]) -> None:
    assert result_of(made_up_findings((PASS, PASS)), **more).verdict() is NOT_RUN


def test_a_check_with_points_missing_still_fails() -> None:
    assert result_of(made_up_findings((PASS, FAIL)), stopped_after=1).verdict() is FAIL


def test_the_boards_verdict_is_its_worst_checks() -> None:
    checks = (result_of(made_up_findings((PASS,))), result_of(made_up_findings((FAIL,))))
    assert Judgement(checks).verdict() is FAIL


def test_a_check_not_run_spoils_a_pass() -> None:
    assert Judgement((result_of(made_up_findings()), result_of(None))).verdict() is NOT_RUN


def test_an_optional_check_not_run_spoils_nothing() -> None:
    checks = (result_of(made_up_findings()), result_of(None, is_optional=True))
    assert Judgement(checks).verdict() is PASS


def test_an_optional_check_that_fails_counts() -> None:
    checks = (result_of(made_up_findings()), result_of(made_up_findings((FAIL,)), is_optional=True))
    assert Judgement(checks).verdict() is FAIL


def test_a_board_without_any_check_is_no_pass() -> None:
    assert Judgement(()).verdict() is NOT_RUN


@pytest.mark.parametrize("verdict", list(Verdict))
def test_an_aborted_run_is_aborted_whatever_it_found(verdict: Verdict) -> None:
    assert judgement_of(verdict, was_aborted=True).verdict() is ABORTED


@pytest.mark.parametrize(
    ("milder", "worse"), list(itertools.pairwise(Verdict)), ids=lambda verdict: verdict.value
)
def test_severity_rises_in_the_order_written(milder: Verdict, worse: Verdict) -> None:
    assert judgement_of(milder, worse).verdict() is worse


def test_rows_of_all_checks_are_strung_together() -> None:
    checks = (result_of(FOUR), result_of(None), result_of(made_up_findings()))
    assert 5 == len(list(Judgement(checks).rows()))


def test_findings_cannot_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        FOUR.verdict = ()  # type: ignore[misc]


def test_every_column_is_as_long_as_the_findings() -> None:
    """The builder of this test is honest: a wrong length would go unseen elsewhere."""
    for field in dataclasses.fields(Findings):
        column = getattr(FOUR, field.name)
        if isinstance(column, np.ndarray | tuple):
            assert len(FOUR) == len(column), field.name
