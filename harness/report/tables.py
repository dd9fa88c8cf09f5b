"""The tables of a report as plain text cells; no layout, no markup."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from harness.finding import Finding, Findings, Judgement
from harness.metrology.decision import Verdict
from harness.report.budget_rows import budget_rows
from harness.report.document import ReportInput
from harness.report.quantities import (
    MISSING,
    error_decimals,
    error_unit,
    freedom_text,
    limit_text,
    number_text,
    percent_text,
    point_text,
    signed_number,
    small_text,
    uncertainty_number,
    value_text,
)
from harness.report.ranking import Placed, has_risk, worst_first
from harness.report.sentences import subject_text
from harness.report.summary import check_title, outcome_text, summarise

MOST_WORST = 20

# A line that fails for an hour must not fill the report; the record holds them all.
MOST_EVENTS = 40

# GUM 7.2.6: an uncertainty is quoted with at most two significant digits.
_DIGITS = 2


@dataclass(frozen=True)
class Line:
    """One row; `is_marked` lines are set apart (anything that is not a pass, overdue)."""

    cells: tuple[str, ...]
    is_marked: bool = False


@dataclass(frozen=True)
class Table:
    """Headings and lines; `numeric` holds the places of columns that are set flush right."""

    name: str
    headings: tuple[str, ...]
    lines: tuple[Line, ...]
    numeric: frozenset[int] = frozenset()


_SHORT_HEADINGS = (
    "channel",
    "point",
    "error",
    "limit T",
    "U",
    "verdict",
    "T / U",
    "k",
    "P(false accept)",
    "P(false reject)",
    "note",
)


def worst_table(judgement: Judgement) -> Table:
    """At most `MOST_WORST` findings, worst first."""
    chosen = [placed.row for placed in worst_first(judgement)[:MOST_WORST]]
    return Table(
        "worst",
        (*_SHORT_HEADINGS[:-1], "check", _SHORT_HEADINGS[-1]),
        tuple(Line(_worst_cells(f), _is_marked(f)) for f in chosen),
        frozenset({2, 3, 4, 6, 7, 8, 9}),
    )


def _worst_cells(finding: Finding) -> tuple[str, ...]:
    short = _short_cells(finding)
    return (*short[:-1], check_title(finding.check), short[-1])


def full_tables(judgement: Judgement) -> tuple[tuple[str, Table], ...]:
    """Every finding, a table a check, in the order of the run; (title, table)."""
    return tuple(
        (check_title(check.check), _full_table(check.findings))
        for check in judgement.checks
        if check.findings is not None
    )


def _full_table(findings: Findings) -> Table:
    more = ("indication", "reference", "u", "eff. dof", "U channel to channel")
    return Table(
        "full",
        (*_SHORT_HEADINGS[:-1], *more, _SHORT_HEADINGS[-1]),
        tuple(Line(_full_cells(f), _is_marked(f)) for f in findings.rows()),
        frozenset({2, 3, 4, 6, 7, 8, 9, 10, 11, 12, 13, 14}),
    )


def _is_marked(finding: Finding) -> bool:
    return finding.verdict is not Verdict.PASS


def _short_cells(finding: Finding) -> tuple[str, ...]:
    return (
        subject_text(finding),
        point_text(finding.point),
        signed_cell(finding.error, finding),
        limit_text(finding.limit, finding.unit),
        expanded_cell(finding.expanded_uncertainty, finding.unit),
        finding.verdict.value,
        number_text(finding.test_uncertainty_ratio, 2),
        number_text(finding.coverage_factor),
        percent_text(finding.false_accept_probability),
        percent_text(finding.false_reject_probability),
        point_text(finding.reason),
    )


def _full_cells(finding: Finding) -> tuple[str, ...]:
    short = _short_cells(finding)
    return (
        *short[:-1],
        value_text(finding.indication, finding.unit),
        value_text(finding.reference, finding.unit),
        expanded_cell(finding.standard_uncertainty, finding.unit),
        freedom_text(finding.degrees_of_freedom),
        expanded_cell(finding.channel_to_channel_uncertainty, finding.unit),
        short[-1],
    )


def signed_cell(value: float, finding: Finding) -> str:
    """An error with sign and unit, rounded as its U is."""
    if math.isnan(value):
        return MISSING
    unit = error_unit(finding.unit)
    decimals = error_decimals(finding.unit, finding.expanded_uncertainty, _DIGITS)
    return f"{signed_number(value * unit.factor, decimals)} {unit.symbol}".strip()


def expanded_cell(value: float, unit: str) -> str:
    """An uncertainty with its unit, two significant digits."""
    if math.isnan(value):
        return MISSING
    shown = error_unit(unit)
    decimals = error_decimals(unit, value, _DIGITS)
    return f"{uncertainty_number(value * shown.factor, decimals)} {shown.symbol}".strip()


def check_table(judgement: Judgement) -> Table:
    """What became of each check."""
    return Table(
        "checks",
        ("check", "verdict", "findings"),
        tuple(
            Line((s.title, s.verdict.value, outcome_text(s)), s.verdict is not Verdict.PASS)
            for s in summarise(judgement)
        ),
    )


def budget_table(placed: Placed) -> Table:
    """Every contribution behind one finding, largest first."""
    shown = error_unit(placed.findings.unit)
    return Table(
        "budget",
        (
            "contribution",
            f"u ({shown.symbol})",
            "share",
            "shape",
            "dof",
            "acts on",
            "what would reduce it",
            "where it comes from",
        ),
        tuple(
            Line(
                (
                    row.name,
                    small_text(row.standard_uncertainty * shown.factor),
                    percent_text(row.share),
                    row.shape,
                    freedom_text(row.degrees_of_freedom),
                    "all channels alike" if row.is_common else "this channel",
                    row.reduce_by,
                    row.source,
                )
            )
            for row in budget_rows(placed)
        ),
        frozenset({1, 2, 4}),
    )


def uncertainty_table(judgement: Judgement) -> Table:
    """Largest U of each check, absolute and from channel to channel, and the smallest T / U."""
    measured = [
        check.findings
        for check in judgement.checks
        if check.findings is not None and np.isfinite(check.findings.expanded_uncertainty).any()
    ]
    return Table(
        "uncertainty",
        ("check", "largest U, absolute", "largest U, channel to channel", "smallest T / U"),
        tuple(
            Line(
                (
                    check_title(f.check),
                    expanded_cell(_largest(f.expanded_uncertainty), f.unit),
                    expanded_cell(_largest(f.channel_to_channel_uncertainty), f.unit),
                    number_text(_smallest_ratio(f), 2),
                )
            )
            for f in measured
        ),
        frozenset({1, 2, 3}),
    )


def _smallest_ratio(findings: Findings) -> float:
    """The smallest T / U among findings that a decision rule stated."""
    ratios = [row.test_uncertainty_ratio for row in findings.rows() if has_risk(row)]
    return -_largest(-np.array(ratios, dtype=np.float64))


def _largest(values: np.ndarray) -> float:
    known = values[~np.isnan(values)]
    return float(known.max()) if len(known) else math.nan


def event_table(report: ReportInput) -> Table:
    """What happened first, at most `MOST_EVENTS`, with time since the run began."""
    return Table(
        "events",
        ("time (s)", "kind", "event"),
        tuple(Line((f"{e.seconds:.1f}", e.kind, e.text)) for e in report.events[:MOST_EVENTS]),
        frozenset({0}),
    )


def facts(report: ReportInput) -> tuple[tuple[str, str], ...]:
    """What was measured: (name, value), empty values left out."""
    board, bench = report.setup.board, report.setup.bench
    revision = f", revision {board.revision}" if board.revision else ""
    ended = f"{report.state}: {report.end_reason}" if report.end_reason else report.state
    pairs = (
        (
            "Board",
            f"{board.name}{revision}, {board.cells} cells, {len(board.thermistors)} thermistors",
        ),
        ("Serial number", report.serial_number or "not stated"),
        ("Plan", report.setup.plan.name),
        ("Bench", f"{bench.name} ({bench.wiring.topology})"),
        ("Station", report.station),
        ("Date", report.started.strftime("%Y-%m-%d %H:%M:%S %z")),
        ("Operator", report.operator or "not stated"),
        ("Run", report.run_id),
        ("Observations", _KINDS.get(report.kind, report.kind)),
        ("The run", ended),
        ("Judged", "under another plan than it was measured by" if is_other_plan(report) else ""),
        ("Notes", report.notes),
    )
    return tuple((name, value) for name, value in pairs if value)


def is_other_plan(report: ReportInput) -> bool:
    """Whether the run was judged under another plan than the record's own."""
    return report.judged_sha256 != report.setup_sha256


_KINDS = {
    "measured": "measured on the bench",
    "imported": "measured elsewhere and imported",
    "rehearsed": "rehearsed on the simulated twin of the bench",
}
