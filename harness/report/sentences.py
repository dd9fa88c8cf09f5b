"""Plain sentences from findings, worst first: pure, no layout, no number of its own.

`verdict_sentence` is the one sentence under the verdict; `statements` are all that is not a
pass, channels that say the same thing taken together.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from harness.finding import Finding, Judgement
from harness.metrology.decision import Verdict
from harness.report.quantities import (
    error_decimals,
    error_unit,
    limit_text,
    number_text,
    point_text,
    size_text,
    uncertainty_text,
)
from harness.report.ranking import worst_first
from harness.report.summary import CheckSummary, check_title, summarise

# So many channels with errors of one sign are told in one sentence; two are told singly,
# because two faults of different causes are as likely as one of both.
FEWEST_GROUPED = 3

# More sentences than this under a verdict are no longer read.
MOST_IN_VERDICT = 3

_DIRECTIONS = (" up", " down")


@dataclass(frozen=True)
class Statement:
    """One sentence about one or more channels of a check, or about the check as a whole."""

    check: str
    verdict: Verdict
    text: str
    is_about_check: bool = False


def is_measured(finding: Finding) -> bool:
    """Whether the finding is an error with an uncertainty, not a yes-or-no fact."""
    return not (math.isnan(finding.error) or math.isnan(finding.expanded_uncertainty))


def channel_list(channels: Iterable[int]) -> str:
    """Channel numbers with runs drawn together: "1-3, 7 and 9"."""
    ordered = sorted(set(channels))
    runs: list[list[int]] = []
    for channel in ordered:
        if runs and channel == runs[-1][-1] + 1:
            runs[-1].append(channel)
        else:
            runs.append([channel])
    parts = [text for run in runs for text in _run_texts(run)]
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def _run_texts(run: Sequence[int]) -> list[str]:
    return [f"{run[0]}-{run[-1]}"] if len(run) > 2 else [str(channel) for channel in run]


def subject_text(finding: Finding) -> str:
    """ "Cell 5"; the stack has no number."""
    name = finding.subject.capitalize()
    return (
        name if finding.subject == "stack" or not finding.channel else f"{name} {finding.channel}"
    )


def place_text(finding: Finding) -> str:
    """The finding's point without its direction: "3.300 V"."""
    point = finding.point
    for direction in _DIRECTIONS:
        point = point.removesuffix(direction)
    return point_text(point)


def finding_sentence(finding: Finding) -> str:
    """One finding in one sentence, with limit and U where it has them."""
    if not _is_told_by_number(finding):
        return _fact_sentence(finding, subject_text(finding), place_text(finding))
    size = size_text(finding.error, finding.unit, finding.expanded_uncertainty)
    where = place_text(finding)
    says = f"{subject_text(finding)} {_predicate(finding, size)} at {where}{_bounds(finding)}"
    return f"{says}{_qualifier(finding)}."


def _predicate(finding: Finding, size: str, *, is_plural: bool = False) -> str:
    if finding.check == "noise":
        return f"{'have' if is_plural else 'has'} noise of {size}"
    verb = "read" if is_plural else "reads"
    if not any(digit in size for digit in "123456789"):
        # Rounded as its U is, nothing is left of the error.
        return f"{verb} right, error {size},"
    return f"{verb} {size} {'high' if finding.error >= 0 else 'low'}"


def _bounds(finding: Finding) -> str:
    limit = limit_text(finding.limit, finding.unit)
    return f", limit {limit}, U {uncertainty_text(finding.expanded_uncertainty, finding.unit)}"


def _qualifier(finding: Finding) -> str:
    """What the verdict means where it is neither pass nor fail."""
    if finding.verdict is Verdict.CONDITIONAL_PASS:
        meaning = "inside the limit, but by less than U"
    elif finding.verdict is Verdict.CONDITIONAL_FAIL:
        meaning = "outside the limit, but by less than U"
    elif finding.verdict is Verdict.CANNOT_DECIDE:
        ratio = number_text(finding.test_uncertainty_ratio, 2)
        meaning = f"cannot decide, limit / U is only {ratio}"
    else:
        meaning = ""
    return "".join(f"; {part}" for part in (meaning, finding.reason.rstrip(".")) if part)


def _fact_sentence(finding: Finding, subject: str, where: str) -> str:
    """A yes-or-no finding, or one that has no number: its own reason carries it."""
    reason = point_text(finding.reason.rstrip("."))
    kind = {Verdict.NOT_RUN: "not run: ", Verdict.CANNOT_DECIDE: "cannot decide: "}.get(
        finding.verdict, ""
    )
    if not reason:
        return f"{subject}, {where}: {finding.verdict.value}."
    if re.search(rf"\b{finding.channel}\b", reason) and not kind:
        return f"{reason[0].upper()}{reason[1:]}."
    return f"{subject}, {where}: {kind}{reason}."


def statements(judgement: Judgement) -> tuple[Statement, ...]:
    """Everything that is not a pass, worst first, one statement a cause where one can tell.

    Checks that were not run are among them. Of each channel only the worst finding is told.
    """
    worst = [p.row for p in worst_first(judgement)]
    told = _channel_worst(f for f in worst if f.verdict is not Verdict.PASS)
    groups: dict[tuple[object, ...], list[Finding]] = {}
    for finding in told:
        groups.setdefault(_likeness(finding), []).append(finding)
    places = _places(worst)
    found = [s for group in groups.values() for s in _told_together(group, places)]
    found += [_not_run(check) for check in summarise(judgement) if check.note]
    return tuple(sorted(found, key=lambda statement: -statement.verdict.severity))


def _channel_worst(findings: Iterable[Finding]) -> list[Finding]:
    """The first (worst) finding of each check, channel and, without number, reason."""
    seen: set[tuple[object, ...]] = set()
    kept = []
    for finding in findings:
        key = (finding.check_index, finding.channel, "" if is_measured(finding) else finding.reason)
        if key not in seen:
            seen.add(key)
            kept.append(finding)
    return kept


def _likeness(finding: Finding) -> tuple[object, ...]:
    """Findings with equal likeness may share a sentence."""
    if _is_told_by_number(finding):
        return (finding.check_index, finding.verdict, finding.error >= 0, finding.limit)
    return (finding.check_index, finding.verdict, finding.reason)


def _is_told_by_number(finding: Finding) -> bool:
    """Whether its numbers say it all; where it did not settle, say, the reason does."""
    is_doubted = finding.verdict in (Verdict.CANNOT_DECIDE, Verdict.NOT_RUN) and finding.reason
    return is_measured(finding) and not is_doubted


def _places(findings: Iterable[Finding]) -> dict[tuple[object, ...], set[str]]:
    """The points at which each reason was given."""
    places: dict[tuple[object, ...], set[str]] = {}
    for finding in findings:
        if not _is_told_by_number(finding):
            places.setdefault(_likeness(finding), set()).add(point_text(finding.point))
    return places


def _told_together(
    group: list[Finding], places: dict[tuple[object, ...], set[str]]
) -> list[Statement]:
    first = group[0]
    said_at = places.get(_likeness(first), set())
    where = f"{len(said_at)} points" if len(said_at) > 1 else place_text(first)
    if not _is_told_by_number(first):
        subject = subject_text(first)
        if len(group) > 1:
            subject = f"{first.subject.capitalize()}s {channel_list(f.channel for f in group)}"
        text = _fact_sentence(first, subject, where)
    elif len(group) == 1:
        text = finding_sentence(first)
    elif len(group) >= FEWEST_GROUPED:
        text = _range_sentence(group)
    else:
        return [Statement(f.check, f.verdict, finding_sentence(f)) for f in group]
    return [Statement(first.check, first.verdict, text)]


def _range_sentence(group: Sequence[Finding]) -> str:
    """Several channels that err to one side: the span of their worst errors."""
    worst = max(group, key=lambda f: abs(f.error))
    least = min(group, key=lambda f: abs(f.error))
    unit = error_unit(worst.unit)
    decimals = error_decimals(worst.unit, worst.expanded_uncertainty)
    low, high = (f"{abs(f.error) * unit.factor:.{decimals}f}" for f in (least, worst))
    size = f"{high if low == high else f'{low} to {high}'} {unit.symbol}"
    subject = f"{worst.subject.capitalize()}s {channel_list(f.channel for f in group)}"
    predicate = _predicate(worst, size, is_plural=True)
    return (
        f"{subject} {predicate}, worst {subject_text(worst).lower()} at {place_text(worst)}"
        f"{_bounds(worst)}{_qualifier(worst)}."
    )


def _not_run(check: CheckSummary) -> Statement:
    return Statement(check.check, Verdict.NOT_RUN, f"{check.title}: {check.note}.", True)


def verdict_sentence(judgement: Judgement, end_reason: str = "") -> str:
    """The plain words under the verdict: the gravest statement, and how many more there are."""
    return " ".join(verdict_sentences(judgement, end_reason, most=1))


def verdict_sentences(
    judgement: Judgement, end_reason: str = "", most: int = MOST_IN_VERDICT
) -> tuple[str, ...]:
    """The plain sentences under the verdict: what decided it.

    Parameters
    ----------
    end_reason : what the run said about its end, for a run that was aborted.
    most : so many statements as grave as the gravest are told, the rest counted.
    """
    found = statements(judgement)
    parts = []
    if judgement.was_aborted:
        why = f": {end_reason.rstrip('.')}" if end_reason else ""
        parts.append(f"The run ended before its plan did{why}.")
    if not found and not judgement.was_aborted:
        parts.append(_all_inside(judgement))
    told = [s.text for s in found if s.verdict is found[0].verdict][:most]
    more = len(found) - len(told)
    if more:
        told.append(f"{more} more {'statement' if more == 1 else 'statements'} below.")
    return (*parts, *told)


def _all_inside(judgement: Judgement) -> str:
    total = sum(1 for _ in judgement.rows())
    if not total:
        return "Nothing was measured."
    checks = sum(1 for check in judgement.checks if check.findings is not None)
    noun = "check" if checks == 1 else "checks"
    return f"All {total} findings of {checks} {noun} are inside their limits."


def _under_title(text: str, title: str) -> str:
    """A sentence that stands under its check's title need not begin with it."""
    rest = text.removeprefix(f"{title}: ")
    return f"{rest[0].upper()}{rest[1:]}"


def by_check(found: Sequence[Statement]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Statements gathered by check, as (title, sentences), in order of first appearance."""
    order = {s.check: i for i, s in reversed(list(enumerate(found)))}
    ordered = sorted(found, key=lambda s: order[s.check])
    return tuple(
        (check_title(check), tuple(_under_title(s.text, check_title(check)) for s in group))
        for check, group in groupby(ordered, key=lambda s: s.check)
    )
