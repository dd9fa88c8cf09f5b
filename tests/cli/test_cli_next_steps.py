"""What to call next is complete and can be pasted."""

from __future__ import annotations

import shlex
from pathlib import Path
from types import SimpleNamespace

from made_up_findings import judgement_of, made_up_findings, result_of

from harness.cli.next_steps import call, next_steps
from harness.cli.options import RESULTS
from harness.finding import Judgement
from harness.metrology.decision import Verdict


def judged(judgement: Judgement) -> SimpleNamespace:
    """A judged run around `judgement`."""
    return SimpleNamespace(header=SimpleNamespace(short_id="1234abcd"), judgement=judgement)


def test_the_usual_folder_is_not_named() -> None:
    assert "tapproof show 1234abcd" == call(RESULTS, "show", "1234abcd")


def test_another_folder_is_named_and_quoted() -> None:
    words = ["tapproof", "show", "1", "--results", "/tmp/my results"]
    assert words == shlex.split(call(Path("/tmp/my results"), "show", "1"))


def test_the_worst_number_is_explained() -> None:
    """Of three cells the second fails."""
    verdicts = (Verdict.PASS, Verdict.FAIL, Verdict.CONDITIONAL_FAIL)
    (line,) = next_steps(judged(judgement_of(*verdicts)), RESULTS)
    assert line.endswith(": tapproof explain 1234abcd 'cell 2' '3.300 V up'")


def test_numbers_without_an_uncertainty_have_nothing_to_explain() -> None:
    findings = made_up_findings((Verdict.FAIL,), expanded_uncertainty=float("nan"))
    assert [] == next_steps(judged(Judgement((result_of(findings),))), RESULTS)


def test_a_run_without_findings_has_no_next_step() -> None:
    assert [] == next_steps(judged(Judgement(())), RESULTS)
