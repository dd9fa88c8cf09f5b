"""The report as one self-contained HTML file: figures inside, no script, no outside request.

Everything that comes from a description, a board or an operator is escaped by the template;
only the figures, made here, go in as they are. The same input gives the same bytes.
"""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from harness.errors import RecordError
from harness.report.calibration import instrument_table, traceability_remarks
from harness.report.conditions import conditions
from harness.report.document import ReportInput
from harness.report.figures.gallery import gallery
from harness.report.ranking import worst_with_budget
from harness.report.sentences import by_check, finding_sentence, statements, verdict_sentences
from harness.report.tables import (
    MOST_EVENTS,
    budget_table,
    check_table,
    event_table,
    facts,
    full_tables,
    is_other_plan,
    uncertainty_table,
    worst_table,
)
from harness.report.wording import (
    CAUTIONS,
    IN_HOUSE,
    RELATES_ONLY,
    SIMULATED,
    decision_rule_words,
    method_notes,
)

_NUMBER_AND_UNIT = re.compile(r"(?<=[0-9]) (?=(?:mV|V|°C|s|Ω|mA|%)(?![0-9A-Za-z]))")


def render_html(report: ReportInput) -> str:
    """The whole report as the text of one HTML file (UTF-8 when written)."""
    return _environment().get_template("report.html").render(_context(report))


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("harness.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals["svg"] = Markup
    environment.filters["together"] = together
    return environment


def write_report(report: ReportInput, path: Path) -> None:
    """Write the report to `path` as a whole or not at all; folders are made.

    Raises
    ------
    RecordError : the folder or the file cannot be written.
    """
    text = render_html(report)
    part = path.with_name(f"{path.name}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part.write_bytes(text.encode("utf-8"))
        part.replace(path)
    except OSError as error:
        raise RecordError(
            f"{path}: expected to write the report here, got: {error.strerror or error}; choose "
            "a folder that can be written and make the report again from the record"
        ) from error


def together(text: str) -> str:
    """`text` with a space that does not break between a number and its unit."""
    return _NUMBER_AND_UNIT.sub("\u00a0", text)


def _context(report: ReportInput) -> dict[str, object]:
    judgement = report.judgement
    worst = worst_with_budget(judgement)
    verdict = judgement.verdict()
    return {
        "verdict": verdict.value,
        "verdict_class": verdict.name.lower().replace("_", "-"),
        "verdict_sentences": verdict_sentences(judgement, report.end_reason),
        "indicative": judgement.indicative,
        "remarks": report.remarks,
        "traceability": traceability_remarks(report),
        "simulated": SIMULATED if report.is_simulated else "",
        "facts": facts(report),
        "statements": by_check(statements(judgement)),
        "checks": check_table(judgement),
        "figures": gallery(report),
        "worst": worst_table(judgement),
        "total": sum(1 for _ in judgement.rows()),
        "budget_sentence": finding_sentence(worst.row) if worst else "",
        "budget": budget_table(worst) if worst else None,
        "uncertainty": uncertainty_table(judgement),
        "decision": decision_rule_words(report.setup.plan.decision),
        "instruments": instrument_table(report),
        "conditions": conditions(report),
        "method": method_notes(report.setup),
        "events": event_table(report),
        "full": full_tables(judgement),
        "in_house": IN_HOUSE,
        "relates_only": RELATES_ONLY,
        "cautions": CAUTIONS,
        "serial_number": report.serial_number,
        "board_name": report.setup.board.name,
        "run_id": report.run_id,
        "page_id": re.sub(r"[^0-9A-Za-z-]", "", report.run_id),
        "software_version": report.software_version,
        "setup_sha256": report.setup_sha256,
        "judged_sha256": report.judged_sha256 if is_other_plan(report) else "",
        "more_events": max(0, len(report.events) - MOST_EVENTS),
    }
