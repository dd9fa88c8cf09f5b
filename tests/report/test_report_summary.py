"""What became of each check."""

from __future__ import annotations

from report_builder import cell_accuracy, judgement

from harness.finding import CheckResult, Judgement
from harness.metrology.decision import Verdict
from harness.report.summary import check_title, outcome_text, summarise


def test_counts_are_worst_first() -> None:
    assert outcome_text(summarise(judgement())[1]) == "14 fail, 154 pass"


def test_a_check_not_run_says_why() -> None:
    expected = "not run: this bench lacks individual cell set-points"
    assert expected == outcome_text(summarise(judgement())[0])


def test_an_optional_check_not_run_says_so() -> None:
    left_out = Judgement((CheckResult("noise", 0, True, None, "no time"),))
    assert outcome_text(summarise(left_out)[0]) == "not run (optional): no time"


def test_a_check_without_reason_still_says_something() -> None:
    left_out = Judgement((CheckResult("noise", 0, False, None),))
    assert outcome_text(summarise(left_out)[0]) == "not run: no reason recorded"


def test_a_check_cut_short_is_no_pass() -> None:
    check = CheckResult("cell-accuracy", 0, False, cell_accuracy(0, has_fault=False), "", 9)
    (cut,) = summarise(Judgement((check,)))
    assert cut.verdict is Verdict.NOT_RUN
    assert outcome_text(cut) == ("168 pass; the run ended inside this check, after 9 of its points")


def test_an_unknown_check_is_named_by_its_kind() -> None:
    assert check_title("bleed-current") == "Bleed current"
