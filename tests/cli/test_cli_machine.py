"""A judged run as JSON: numbers that do not apply are null, and nothing is lost."""

from __future__ import annotations

import dataclasses
import json
import math
from types import SimpleNamespace

import pytest
from made_up_findings import judgement_of, made_up_findings, result_of

from harness.cli import machine
from harness.cli.machine import judged_as_json, print_json
from harness.finding import Finding, Judgement
from harness.metrology.decision import Verdict


def judged(judgement: Judgement):
    """A judged run around `judgement`."""
    header = SimpleNamespace(
        id="1234abcd-0000",
        state=SimpleNamespace(value="finished"),
        end_reason="",
        serial_number="H-1",
        board_name="Heron",
    )
    decision = SimpleNamespace(rule="guard-band", coverage_probability=0.95)
    plan = SimpleNamespace(name="Quick", decision=decision)
    return SimpleNamespace(header=header, setup=SimpleNamespace(plan=plan), judgement=judgement)


def test_verdict_and_exit_code_come_first() -> None:
    told = judged_as_json(judged(judgement_of(Verdict.FAIL)))
    assert ["verdict", "exit_code"] == list(told)[:2]
    assert ("fail", 1) == (told["verdict"], told["exit_code"])


def test_a_finding_has_all_its_columns_but_those_of_its_check() -> None:
    (check,) = judged_as_json(judged(judgement_of(Verdict.PASS)))["checks"]
    (finding,) = check["findings"]
    names = {field.name for field in dataclasses.fields(Finding)}
    assert names - {"check", "check_index", "run"} == set(finding)
    assert ("cell-accuracy", 0) == (check["check"], check["index"])


def test_what_does_not_apply_is_null_and_what_has_no_bound_is_a_word() -> None:
    (check,) = judged_as_json(judged(judgement_of(Verdict.PASS)))["checks"]
    (finding,) = check["findings"]
    assert (None, "infinite") == (
        finding["false_accept_probability"],
        finding["degrees_of_freedom"],
    )


def test_a_check_not_run_has_its_reason_and_no_findings() -> None:
    reason = "this bench lacks a meter path to the stack"
    told = judged_as_json(judged(Judgement((result_of(None, not_run=reason),))))
    assert [(reason, [], "not run")] == [
        (check["not_run"], check["findings"], check["verdict"]) for check in told["checks"]
    ]


def test_more_values_are_added_at_the_end() -> None:
    told = judged_as_json(judged(judgement_of(Verdict.PASS)), {"ratio": 1.05})
    assert ("ratio", 1.05) == list(told.items())[-1]


def test_everything_survives_json() -> None:
    findings = made_up_findings((Verdict.PASS, Verdict.FAIL))
    told = judged_as_json(judged(Judgement((result_of(findings), result_of(None)))))
    assert told == json.loads(json.dumps(told, allow_nan=False))


def test_one_line_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    print_json({"point": "25.0 °C", "nothing": None})
    assert '{"point": "25.0 °C", "nothing": null}\n' == capsys.readouterr().out


def test_a_number_that_is_none_is_never_printed() -> None:
    """NaN is no JSON; it must have become null before."""
    with pytest.raises(ValueError, match="not JSON compliant"):
        print_json({"value": math.nan})


def test_no_judging_is_imported_for_the_list_of_runs() -> None:
    """`tapproof runs --json` needs `print_json` only; scipy would cost it a second."""
    assert not hasattr(machine, "JudgedRun")
