"""The tables as plain cells."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from report_builder import judgement, report_input, stack_total

from harness.finding import CheckResult, Judgement
from harness.report.document import ReportEvent
from harness.report.ranking import worst_with_budget
from harness.report.tables import (
    MOST_EVENTS,
    MOST_WORST,
    budget_table,
    check_table,
    event_table,
    facts,
    full_tables,
    uncertainty_table,
    worst_table,
)


def test_at_most_twenty_worst() -> None:
    assert len(worst_table(judgement()).lines) == MOST_WORST == 20


def test_a_line_has_error_limit_uncertainty_and_verdict() -> None:
    line = worst_table(judgement()).lines[1]
    assert line.cells == (
        "Cell 5",
        "3.650 V up",
        "+13.12 mV",
        "5 mV",
        "0.66 mV",
        "fail",
        "7.5",
        "2.45",
        "\u2013",
        "0.01 %",
        "Cell accuracy",
        "",
    )


def test_a_fact_shows_dashes_and_its_reason() -> None:
    line = worst_table(judgement()).lines[0]
    assert line.cells[2:5] == ("\u2013", "\u2013", "\u2013")
    assert line.cells[-1] == "thermistor 2 open reads -58.8 °C with no flag"


def test_every_line_is_as_long_as_the_headings() -> None:
    run = judgement()
    worst = worst_with_budget(run)
    assert worst is not None
    tables = [worst_table(run), check_table(run), budget_table(worst), uncertainty_table(run)]
    tables += [table for _, table in full_tables(run)]
    for table in tables:
        assert {len(table.headings)} == {len(line.cells) for line in table.lines}


def test_the_full_tables_hold_every_finding() -> None:
    run = judgement()
    assert sum(1 for _ in run.rows()) == sum(len(t.lines) for _, t in full_tables(run))


def test_what_is_not_a_pass_is_marked() -> None:
    assert [line.is_marked for line in check_table(judgement()).lines] == [
        True,
        True,
        False,
        False,
        True,
        True,
    ]


def test_budget_names_what_would_reduce_a_term() -> None:
    worst = worst_with_budget(judgement())
    assert worst is not None
    assert budget_table(worst).lines[2].cells == (
        "meter accuracy",
        "0.10",
        "14 %",
        "rectangular",
        "infinite",
        "all channels alike",
        "use the 24 h column after a fresh calibration",
        "1 year column of the meter's specification",
    )


def test_absolute_and_channel_to_channel_stand_side_by_side() -> None:
    assert uncertainty_table(judgement()).lines[0].cells == (
        "Cell accuracy",
        "0.66 mV",
        "0.65 mV",
        "7.5",
    )


def test_the_smallest_ratio_leaves_out_what_no_rule_stated() -> None:
    findings = stack_total(0)
    nan = np.full(3, np.nan)
    ratio = findings.test_uncertainty_ratio.copy()
    ratio[0] = 1.0
    accept = findings.false_accept_probability.copy()
    accept[0] = np.nan
    odd = replace(
        findings,
        test_uncertainty_ratio=ratio,
        false_accept_probability=accept,
        false_reject_probability=nan,
    )
    table = uncertainty_table(Judgement((CheckResult("stack-total", 0, False, odd),)))
    assert float(table.lines[0].cells[3]) > 4


def test_events_are_bounded() -> None:
    many = report_input(events=(ReportEvent(0.0, "note", "x"),) * (MOST_EVENTS + 5))
    assert MOST_EVENTS == len(event_table(many).lines)


def test_what_was_measured_names_board_plan_bench_date_operator_and_run() -> None:
    said = dict(facts(report_input()))
    assert said["Board"] == "Heron, revision B, 12 cells, 2 thermistors"
    assert said["Date"] == "2026-11-25 14:05:09 +0100"
    assert said["Bench"] == "Narrowboat ladder bench (ladder)"
    assert {"Serial number", "Plan", "Operator", "Run"} <= said.keys()


def test_a_run_judged_under_another_plan_says_so() -> None:
    other = replace(report_input(), judged_sha256="0" * 64)
    assert dict(facts(other))["Judged"] == "under another plan than it was measured by"
    assert "Judged" not in dict(facts(report_input()))
