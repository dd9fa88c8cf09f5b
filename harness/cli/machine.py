"""A judged run as plain JSON values, for `--json`. Numbers that do not apply are null."""

from __future__ import annotations

import dataclasses
import json
import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import rich_click as click

from harness.cli.exit_codes import exit_code_of

if TYPE_CHECKING:  # `tapproof runs --json` needs none of the judging that these import
    from harness.finding import CheckResult, Finding
    from harness.run.rejudge import JudgedRun


def judged_as_json(judged: JudgedRun, extra: Mapping[str, object] | None = None) -> dict[str, Any]:
    """Verdict first, then every check with every finding; SI units, named by `unit`.

    Parameters
    ----------
    extra : further top-level values (timing, file paths).
    """
    verdict = judged.judgement.verdict()
    return {
        "verdict": verdict.value,
        "exit_code": int(exit_code_of(verdict)),
        "run": judged.header.id,
        "state": judged.header.state.value,
        "end_reason": judged.header.end_reason,
        "serial_number": judged.header.serial_number,
        "board": judged.header.board_name,
        "plan": judged.setup.plan.name,
        "decision_rule": judged.setup.plan.decision.rule,
        "coverage_probability": judged.setup.plan.decision.coverage_probability,
        "indicative_only": list(judged.judgement.indicative),
        "checks": [_check(check) for check in judged.judgement.checks],
        **(extra or {}),
    }


def _check(check: CheckResult) -> dict[str, Any]:
    findings = [] if check.findings is None else [_finding(f) for f in check.findings.rows()]
    return {
        "check": check.check,
        "index": check.check_index,
        "verdict": check.verdict().value,
        "not_run": check.not_run,
        "findings": findings,
    }


def _finding(finding: Finding) -> dict[str, Any]:
    row = dataclasses.asdict(finding)
    row["verdict"] = finding.verdict.value
    del row["check"], row["check_index"], row["run"]
    return {name: _plain(value) for name, value in row.items()}


def _plain(value: object) -> object:
    """JSON has no NaN and no infinity: null, and the word."""
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, float) and math.isinf(value):
        return "infinite"
    return value


def print_json(value: Mapping[str, object]) -> None:
    """One JSON object on standard output."""
    click.echo(json.dumps(value, ensure_ascii=False, allow_nan=False))
