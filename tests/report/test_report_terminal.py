"""Terminal output: the words carry the meaning."""

from __future__ import annotations

import io
import subprocess
import sys
from dataclasses import replace

import pytest
from report_builder import judgement, passing_judgement, thermistor_faults
from rich.console import Console, RenderableType

from harness.report.ranking import Placed, worst_with_budget
from harness.report.terminal import budget, summary, worst_findings


def printed(renderable: RenderableType, width: int = 80) -> str:
    """As a plain file sees it."""
    console = Console(file=io.StringIO(), width=width, color_system=None)
    console.print(renderable)
    text = console.file.getvalue()  # type: ignore[attr-defined]
    return "\n".join(line.rstrip() for line in text.splitlines())


def test_the_first_line_is_the_verdict() -> None:
    first = printed(summary(judgement())).splitlines()[0]
    assert first == (
        "FAIL  Thermistor 2 open reads -58.8 °C with no flag. 3 more statements below."
    )


def test_a_pass_is_one_line_and_its_checks() -> None:
    assert printed(summary(passing_judgement())).splitlines() == [
        "PASS  All 168 findings of 1 check are inside their limits.",
        "check          verdict  findings",
        "Cell accuracy  pass     168 pass",
    ]


def test_every_check_has_its_line() -> None:
    text = printed(summary(judgement()), width=120)
    assert "Cell accuracy                      fail     14 fail, 154 pass" in text
    assert "not run: this bench lacks individual cell set-points" in text


def test_both_faults_are_told() -> None:
    text = printed(summary(judgement()))
    assert "fail: Cell 5 reads 13.1 mV high at 3.650 V, limit 5 mV, U 0.7 mV." in text
    assert "fail: Thermistor 2 reads 3.88 °C high at 60.0 °C" in text


def test_a_simulated_run_says_so_below_the_verdict() -> None:
    text = printed(summary(judgement(), is_simulated=True))
    assert text.splitlines()[1] == "SIMULATED BENCH, invented data"


def test_an_indicative_verdict_says_why() -> None:
    indicative = replace(passing_judgement(), indicative=("meter overdue",))
    assert "Indicative only: meter overdue" in printed(summary(indicative))


def test_nothing_printed_is_read_as_markup() -> None:
    indicative = replace(passing_judgement(), indicative=("[red]x[/red] [1]",))
    assert "[red]x[/red] [1]" in printed(summary(indicative))


def test_worst_findings_are_worst_first() -> None:
    lines = printed(worst_findings(judgement(), most=3)).splitlines()
    assert len(lines) == 4
    assert lines[2].split() == [
        "Cell",
        "5",
        "3.650",
        "V",
        "up",
        "+13.12",
        "mV",
        "0.66",
        "mV",
        "5",
        "mV",
        "7.5",
        "fail",
    ]


def test_explain_lists_the_largest_term_first() -> None:
    placed = worst_with_budget(judgement())
    assert placed is not None
    lines = printed(budget(placed)).splitlines()
    assert lines[0] == "FAIL  Cell 5 reads 13.1 mV high at 3.650 V, limit 5 mV, U 0.7 mV."
    table = next(i for i, line in enumerate(lines) if line.startswith("contribution"))
    assert lines[table + 1].split() == [
        "board",
        "repeatability",
        "0.22",
        "66",
        "%",
        "t",
        "4",
        "channel",
    ]


def test_explain_says_what_would_reduce_what_matters() -> None:
    placed = worst_with_budget(judgement())
    assert placed is not None
    text = printed(budget(placed), width=120)
    assert "To reduce board repeatability (66 % of the variance): take more frames a point." in text
    assert "To reduce relay thermal EMF" not in text


def test_a_fact_has_no_budget_and_says_so() -> None:
    text = printed(budget(Placed(thermistor_faults(), 2)))
    assert "No uncertainty budget stands behind this finding." in text


@pytest.mark.parametrize("heavy", ["matplotlib", "jinja2", "pandas"])
def test_importing_the_terminal_part_brings_nothing_heavy(heavy: str) -> None:
    code = f"import sys, harness.report.terminal; sys.exit({heavy!r} in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
