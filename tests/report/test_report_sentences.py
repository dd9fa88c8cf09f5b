"""Exact sentences from findings."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from report_builder import (
    attributes,
    cell_accuracy,
    judgement,
    noise,
    one_finding,
    passing_judgement,
    stack_total,
)

from harness.finding import CheckResult, Finding, Findings, Judgement
from harness.metrology.decision import Verdict
from harness.report.sentences import (
    _range_sentence,
    by_check,
    channel_list,
    finding_sentence,
    statements,
    verdict_sentence,
    verdict_sentences,
)

NAN = math.nan


def only(findings: Findings, **changes: object) -> Judgement:
    """A judgement of one check."""
    return Judgement(
        (CheckResult(findings.check, findings.check_index, False, findings, **changes),)
    )  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "channels"),
    [
        ("5", [5]),
        ("5 and 7", [7, 5]),
        ("1-6", range(1, 7)),
        ("1-3, 7 and 9", [1, 2, 3, 7, 9]),
        ("1 and 2", [1, 2]),
    ],
)
def test_channel_numbers_are_drawn_together(text: str, channels: list[int]) -> None:
    assert text == channel_list(channels)


SENTENCES: list[tuple[str, str, Finding]] = [
    ("fail", "Cell 5 reads 12.1 mV high at 3.300 V, limit 5 mV, U 0.6 mV.", one_finding()),
    (
        "low",
        "Cell 5 reads 12.1 mV low at 3.300 V, limit 5 mV, U 0.6 mV.",
        one_finding(error=-0.01213),
    ),
    (
        "conditional-pass",
        "Cell 5 reads 4.8 mV high at 3.300 V, limit 5 mV, U 0.6 mV; inside the limit, but by "
        "less than U.",
        one_finding(error=0.0048, verdict=Verdict.CONDITIONAL_PASS),
    ),
    (
        "conditional-fail",
        "Cell 5 reads 5.2 mV high at 3.300 V, limit 5 mV, U 0.6 mV; outside the limit, but by "
        "less than U.",
        one_finding(error=0.0052, verdict=Verdict.CONDITIONAL_FAIL),
    ),
    (
        "poor-reference",
        "Cell 5 reads 1 mV high at 3.300 V, limit 5 mV, U 6 mV; cannot decide, limit / U is "
        "only 0.83.",
        one_finding(
            error=0.0012,
            expanded_uncertainty=0.006,
            test_uncertainty_ratio=0.8333,
            verdict=Verdict.CANNOT_DECIDE,
        ),
    ),
    (
        "unsettled",
        "Cell 5, 3.300 V: cannot decide: did not settle.",
        one_finding(verdict=Verdict.CANNOT_DECIDE, reason="did not settle"),
    ),
    (
        "no-value",
        "Cell 5, 3.300 V: not run: channel 5 sent no value.",
        one_finding(
            error=NAN,
            expanded_uncertainty=NAN,
            verdict=Verdict.NOT_RUN,
            reason="channel 5 sent no value",
        ),
    ),
    (
        "yes-or-no",
        "Channels 3 and 5 are swapped.",
        one_finding(error=NAN, expanded_uncertainty=NAN, reason="channels 3 and 5 are swapped"),
    ),
    (
        "no-reason",
        "Cell 5, cell 5 moved: pass.",
        one_finding(
            error=NAN, expanded_uncertainty=NAN, point="cell 5 moved", verdict=Verdict.PASS
        ),
    ),
    (
        "temperature",
        "Thermistor 2 reads 3.1 °C high at 60.0 °C, limit 1.5 °C, U 0.4 °C.",
        one_finding(
            subject="thermistor",
            channel=2,
            point="60.0 degC",
            unit="degC",
            error=3.1,
            limit=1.5,
            expanded_uncertainty=0.4,
        ),
    ),
    (
        "noise",
        "Cell 5 has noise of 1.40 mV at 3.300 V, limit 1 mV, U 0.11 mV.",
        one_finding(
            check="noise", error=0.0014, limit=0.001, expanded_uncertainty=0.00011, point="3.300 V"
        ),
    ),
    (
        "stack",
        "Stack reads 52 mV high at 39.600 V, limit 40 mV, U 8 mV.",
        one_finding(
            check="stack-total",
            subject="stack",
            channel=0,
            point="39.600 V",
            error=0.052,
            limit=0.04,
            expanded_uncertainty=0.0084,
        ),
    ),
]


@pytest.mark.parametrize(
    ("text", "finding"), [case[1:] for case in SENTENCES], ids=[case[0] for case in SENTENCES]
)
def test_finding_in_one_sentence(text: str, finding: Finding) -> None:
    assert text == finding_sentence(finding)


def test_two_faults_are_both_told_worst_first() -> None:
    expected = (
        "Thermistor 2 open reads -58.8 °C with no flag.",
        "Cell 5 reads 13.1 mV high at 3.650 V, limit 5 mV, U 0.7 mV.",
        "Thermistor 2 reads 3.88 °C high at 60.0 °C, limit 1.5 °C, U 0.11 °C.",
        "Mapping and liveness: not run: this bench lacks individual cell set-points.",
    )
    assert expected == tuple(s.text for s in statements(judgement()))


def test_verdict_is_followed_by_the_gravest_statement() -> None:
    expected = "Thermistor 2 open reads -58.8 °C with no flag. 3 more statements below."
    assert expected == verdict_sentence(judgement())


def test_verdict_names_up_to_three_of_the_gravest() -> None:
    assert len(verdict_sentences(judgement())) == 4
    assert verdict_sentences(judgement())[3] == "1 more statement below."


def test_a_pass_says_how_much_was_found() -> None:
    expected = "All 168 findings of 1 check are inside their limits."
    assert expected == verdict_sentence(passing_judgement())


def test_nothing_measured_is_no_pass() -> None:
    assert verdict_sentence(Judgement(())) == "Nothing was measured."


def test_an_aborted_run_says_why_first() -> None:
    expected = "The run ended before its plan did: board silent for 2 s."
    stopped = replace(passing_judgement(), was_aborted=True)
    assert expected == verdict_sentence(stopped, "board silent for 2 s")


def test_channels_that_err_to_one_side_share_a_sentence() -> None:
    findings = stack_total()
    error = [0.0061, 0.0079, 0.0074]
    together = replace(
        findings,
        check="cell-accuracy",
        subject="cell",
        channel=findings.step + 1,
        error=findings.error * 0 + error,
        limit=findings.limit * 0 + 0.005,
        expanded_uncertainty=findings.limit * 0 + 0.0006,
        verdict=(Verdict.FAIL,) * 3,
        point=("3.300 V up", "3.650 V up", "3.650 V up"),
    )
    expected = (
        "Cells 1-3 read 6.1 to 7.9 mV high, worst cell 2 at 3.650 V, limit 5 mV, U 0.6 mV.",
    )
    assert expected == tuple(s.text for s in statements(only(together)))


def test_noisy_channels_share_a_sentence() -> None:
    findings = noise()
    loud = replace(findings, error=findings.error * 3, verdict=(Verdict.FAIL,) * len(findings))
    (statement,) = statements(only(loud))
    assert statement.text.startswith("Cells 1-12 have noise of ")


def test_two_swapped_channels_are_told_once() -> None:
    swapped = attributes(
        check="mapping",
        check_index=0,
        subject="cell",
        unit="V",
        channel=(3, 4),
        point=("cell 3 moved", "cell 4 moved"),
        verdict=(Verdict.FAIL, Verdict.FAIL),
        reason=("channels 3 and 4 are swapped",) * 2,
    )
    assert tuple(s.text for s in statements(only(swapped))) == ("Channels 3 and 4 are swapped.",)


def test_a_reason_given_at_many_points_counts_them() -> None:
    findings = cell_accuracy(has_fault=False)
    is_lost = findings.channel == 11
    lost = replace(
        findings,
        error=findings.error + 0 * findings.error,
        verdict=tuple(Verdict.NOT_RUN if x else Verdict.PASS for x in is_lost),
        reason=tuple("channel 11 sent no value" if x else "" for x in is_lost),
    )
    expected = ("Cell 11, 14 points: not run: channel 11 sent no value.",)
    assert expected == tuple(s.text for s in statements(only(lost)))


def test_a_check_the_run_ended_in_is_told() -> None:
    (statement,) = statements(only(cell_accuracy(has_fault=False), stopped_after=9))
    expected = "Cell accuracy: the run ended inside this check, after 9 of its points."
    assert expected == statement.text


def test_under_its_title_a_sentence_does_not_repeat_it() -> None:
    titles = dict(by_check(statements(judgement())))
    expected = ("Not run: this bench lacks individual cell set-points.",)
    assert expected == titles["Mapping and liveness"]


def test_an_error_of_nothing_after_rounding_is_neither_high_nor_low() -> None:
    findings = cell_accuracy(has_fault=False)
    first = replace(findings.row(0), error=-2e-6, expanded_uncertainty=0.005)
    assert "reads right, error 0 mV, at" in finding_sentence(first)


def test_a_span_of_equal_ends_is_one_number() -> None:
    worst = [
        replace(
            cell_accuracy(has_fault=False).row(0),
            channel=cell,
            error=-0.0101,
            expanded_uncertainty=0.002,
            verdict=Verdict.FAIL,
            reason="",
        )
        for cell in range(1, 6)
    ]
    assert "read 10.1 mV low" in _range_sentence(worst)
