"""The report on a terminal: rich renderables whose words carry the meaning without colour.

Imports rich and this package's pure modules only: no plotting, no templates.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Group, RenderableType
from rich.table import Table as RichTable
from rich.text import Text

from harness.finding import Judgement
from harness.metrology.decision import Verdict
from harness.report.budget_rows import budget_rows
from harness.report.quantities import (
    error_unit,
    freedom_text,
    limit_text,
    number_text,
    percent_text,
    point_text,
    small_text,
    value_text,
)
from harness.report.ranking import Placed, worst_first
from harness.report.sentences import (
    Statement,
    finding_sentence,
    statements,
    subject_text,
    verdict_sentence,
)
from harness.report.summary import outcome_text, summarise
from harness.report.tables import expanded_cell, signed_cell
from harness.report.wording import SIMULATED

_STYLES = {
    Verdict.PASS: "bold green",
    Verdict.CONDITIONAL_PASS: "bold cyan",
    Verdict.NOT_RUN: "bold yellow",
    Verdict.CANNOT_DECIDE: "bold yellow",
    Verdict.CONDITIONAL_FAIL: "bold magenta",
    Verdict.FAIL: "bold red",
    Verdict.ABORTED: "bold red",
}

MOST_STATEMENTS = 8

# A term with less of the variance than this changes U by less than half a per cent.
SMALLEST_ADVISED_SHARE = 0.01


def summary(
    judgement: Judgement,
    *,
    is_simulated: bool = False,
    end_reason: str = "",
    remarks: Sequence[str] = (),
) -> RenderableType:
    """The verdict on the first line, why, then a line a check and what is not a pass.

    `remarks` are sentences about the run itself (`harness.report.remarks`).
    """
    verdict = judgement.verdict()
    parts: list[RenderableType] = [
        Text.assemble(
            (verdict.value.upper(), _STYLES[verdict]),
            f"  {verdict_sentence(judgement, end_reason)}",
        ),
    ]
    if is_simulated:
        parts.append(Text(SIMULATED, style="bold"))
    parts += [Text(f"Indicative only: {reason}") for reason in judgement.indicative]
    parts += [Text(remark) for remark in remarks]
    parts.append(_checks(judgement))
    parts += _statements(judgement)
    return Group(*parts)


def _checks(judgement: Judgement) -> RichTable:
    table = _table()
    for heading in ("check", "verdict", "findings"):
        table.add_column(heading, overflow="fold")
    for check in summarise(judgement):
        style = _STYLES[check.verdict]
        table.add_row(
            Text(check.title), Text(check.verdict.value, style=style), Text(outcome_text(check))
        )
    return table


def _statements(judgement: Judgement) -> list[RenderableType]:
    found = [s for s in statements(judgement) if not s.is_about_check]
    lines: list[RenderableType] = [_statement(s) for s in found[:MOST_STATEMENTS]]
    more = len(found) - MOST_STATEMENTS
    return [*lines, Text(f"and {more} more in the report")] if more > 0 else lines


def _statement(statement: Statement) -> Text:
    """The sentence with its verdict before it, unless it says the verdict itself."""
    said = f"{statement.verdict.value}: "
    is_said = said in statement.text
    return Text.assemble("" if is_said else (said, _STYLES[statement.verdict]), statement.text)


def worst_findings(judgement: Judgement, most: int = 10) -> RenderableType:
    """The worst findings as a table, worst first."""
    table = _table()
    for heading in ("channel", "point"):
        table.add_column(heading, overflow="fold")
    for heading in ("error", "U", "limit", "T / U"):
        table.add_column(heading, justify="right", overflow="fold")
    table.add_column("verdict", overflow="fold")
    for placed in worst_first(judgement)[:most]:
        finding = placed.row
        table.add_row(
            Text(subject_text(finding)),
            Text(point_text(finding.point)),
            Text(signed_cell(finding.error, finding)),
            Text(expanded_cell(finding.expanded_uncertainty, finding.unit)),
            Text(limit_text(finding.limit, finding.unit)),
            Text(number_text(finding.test_uncertainty_ratio, 2)),
            Text(finding.verdict.value, style=_STYLES[finding.verdict]),
        )
    return table


def budget(placed: Placed) -> RenderableType:
    """One finding with the whole budget behind it, largest term first."""
    finding = placed.row
    head = Text.assemble(
        (finding.verdict.value.upper(), _STYLES[finding.verdict]), f"  {finding_sentence(finding)}"
    )
    rows = budget_rows(placed)
    if not rows:
        return Group(head, Text("No uncertainty budget stands behind this finding."))
    lines = [
        f"indication {value_text(finding.indication, finding.unit)}, "
        f"reference {value_text(finding.reference, finding.unit)}, "
        f"error {signed_cell(finding.error, finding)}",
        f"u {expanded_cell(finding.standard_uncertainty, finding.unit)}, "
        f"k {number_text(finding.coverage_factor)}, "
        f"U {expanded_cell(finding.expanded_uncertainty, finding.unit)} (absolute), "
        f"{expanded_cell(finding.channel_to_channel_uncertainty, finding.unit)} "
        "(channel to channel)",
        f"effective degrees of freedom {freedom_text(finding.degrees_of_freedom)}, "
        f"limit {limit_text(finding.limit, finding.unit)}, "
        f"T / U {number_text(finding.test_uncertainty_ratio, 2)}",
        f"probability of false accept {percent_text(finding.false_accept_probability)}, "
        f"of false reject {percent_text(finding.false_reject_probability)}",
    ]
    return Group(head, *map(Text, lines), _budget_table(placed), *_advice(placed))


def _budget_table(placed: Placed) -> RichTable:
    shown = error_unit(placed.findings.unit)
    table = _table()
    table.add_column("contribution", overflow="fold", ratio=1)
    for heading in (f"u, {shown.symbol}", "share"):
        table.add_column(heading, justify="right", no_wrap=True)
    for heading in ("shape", "dof", "acts on"):
        table.add_column(heading, no_wrap=True)
    for row in budget_rows(placed):
        table.add_row(
            Text(row.name),
            small_text(row.standard_uncertainty * shown.factor),
            percent_text(row.share),
            row.shape,
            freedom_text(row.degrees_of_freedom),
            "all alike" if row.is_common else "channel",
        )
    return table


def _advice(placed: Placed) -> list[Text]:
    """What would reduce the terms that matter, largest first."""
    lines = []
    for row in budget_rows(placed):
        if row.share >= SMALLEST_ADVISED_SHARE and row.reduce_by:
            share = percent_text(row.share)
            lines.append(Text(f"To reduce {row.name} ({share} of the variance): {row.reduce_by}."))
    return lines


def _table() -> RichTable:
    """Without boxes: they say nothing, and stay when output goes to a file."""
    return RichTable(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="underline")
