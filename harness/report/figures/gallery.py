"""Which figures a report has, in which order, with title, caption and reason when one is absent."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from harness.finding import CheckResult, Findings
from harness.report.budget_rows import budget_rows
from harness.report.code_histogram import code_counts
from harness.report.document import ReportInput
from harness.report.figures.budget_contributions import budget_contributions
from harness.report.figures.error_against_voltage import error_against_voltage
from harness.report.figures.error_in_tap_basis import error_in_tap_basis
from harness.report.figures.error_map import LETTERS_IN_WORDS, error_map
from harness.report.figures.noise_histogram import noise_histogram
from harness.report.figures.stack_total import stack_total
from harness.report.figures.svg import svg_text
from harness.report.figures.temperature_error import temperature_error
from harness.report.ranking import worst_with_budget
from harness.report.sentences import place_text, subject_text
from harness.report.summary import check_title
from harness.report.tap_errors import tap_errors


@dataclass(frozen=True)
class Illustration:
    """One figure with its words; `svg` is empty and `missing` says why where there is none."""

    name: str
    title: str
    caption: str
    svg: str
    missing: str = ""


def gallery(report: ReportInput) -> tuple[Illustration, ...]:
    """All figures of `report`, in reading order."""
    of_checks = (i for check in report.judgement.checks for i in _of_check(report, check))
    return (*of_checks, *_worst_budget(report))


def _of_check(report: ReportInput, check: CheckResult) -> Iterator[Illustration]:
    draw = {
        "cell-accuracy": _cell_accuracy,
        "stack-total": _stack_total,
        "noise": _noise,
        "thermistor-accuracy": _thermistor_accuracy,
    }.get(check.check)
    if draw is None:
        return
    if check.findings is None or not len(check.findings):
        why = check.not_run or "no point was acquired"
        yield Illustration(
            f"{check.check}-{check.check_index}", check_title(check.check), "", "", why
        )
        return
    yield from draw(report, check.findings)


def _has_guard_band(report: ReportInput) -> bool:
    return report.setup.plan.decision.rule == "guard-band"


def _cell_accuracy(report: ReportInput, findings: Findings) -> Iterator[Illustration]:
    place = findings.check_index
    name, title = f"error-{place}", "Cell error against reference voltage"
    yield Illustration(
        name,
        title,
        "One panel a cell, headed by its number and verdict; one scale for all. Triangles up "
        "and down are the two directions of the sweep, drawn a little apart. Bars are U. A "
        "point beyond the scale stands at the edge, and the largest such error is written.",
        svg_text(
            error_against_voltage(findings, has_guard_band=_has_guard_band(report)), name, title
        ),
    )
    yield _tap_basis(report, findings)
    name, title = f"map-{place}", "Error of every cell at every point"
    yield Illustration(
        name,
        title,
        f"Numbers are errors in mV; letters: {LETTERS_IN_WORDS}. Colour repeats the number. "
        "An empty field was not visited.",
        svg_text(error_map(findings), name, title),
    )


def _tap_basis(report: ReportInput, findings: Findings) -> Illustration:
    name, title = f"taps-{findings.check_index}", "The same errors in tap basis"
    points = tap_errors(findings, report.setup.plan.decision.coverage_probability)
    if not points:
        why = "not every cell from 1 up was measured, so the running sum cannot be formed"
        return Illustration(name, title, "", "", why)
    return Illustration(
        name,
        title,
        "Sum of the errors of all cells below each tap. A bad tap shows as a single spike, a "
        "bad channel as a step that stays. What is common to all channels (the meter's gain) "
        "adds linearly in the sum, the rest in quadrature.",
        svg_text(error_in_tap_basis(points), name, title),
    )


def _stack_total(report: ReportInput, findings: Findings) -> Iterator[Illustration]:
    name, title = f"stack-{findings.check_index}", "Stack voltage error"
    yield Illustration(
        name,
        title,
        "Each panel says what is compared with what; bars are U. Where reference cells are "
        "compared with the reference stack, the bench itself is checked and the limit is its U.",
        svg_text(stack_total(findings, has_guard_band=_has_guard_band(report)), name, title),
    )


def _noise(report: ReportInput, findings: Findings) -> Iterator[Illustration]:
    name, title = f"noise-{findings.check_index}", "Noise in codes"
    step = report.setup.board.cell_inputs.resolution_volts
    counts = code_counts(report.observations, findings.check_index, step)
    if not counts:
        yield Illustration(name, title, "", "", "no steady readings are in the record")
        return
    yield Illustration(
        name,
        title,
        "Steady readings counted in steps of the reported value (q), one panel a cell; s is "
        "the standard deviation. A single bar means that noise is far below the step.",
        svg_text(noise_histogram(counts, step), name, title),
    )


def _thermistor_accuracy(report: ReportInput, findings: Findings) -> Iterator[Illustration]:
    name, title = f"temperature-{findings.check_index}", "Temperature error against temperature"
    called = {k: t.name for k, t in enumerate(report.setup.board.thermistors, 1)}
    figure = temperature_error(
        findings, has_guard_band=_has_guard_band(report), names_of_thermistors=called
    )
    yield Illustration(
        name,
        title,
        "One panel a thermistor input, one scale for all. Bars are U; where the limit changes "
        "with temperature it is a dash at each point.",
        svg_text(figure, name, title),
    )


def _worst_budget(report: ReportInput) -> Iterator[Illustration]:
    placed = worst_with_budget(report.judgement)
    if placed is None:
        return
    rows, finding = budget_rows(placed), placed.row
    if not rows:
        return
    where = f"{subject_text(finding).lower()} at {place_text(finding)}"
    title = f"What makes up U of {where}"
    yield Illustration(
        "budget",
        title,
        "Largest first. Hatched bars act alike on all channels and do not disturb a comparison "
        "of channels with each other.",
        svg_text(budget_contributions(rows, finding.unit), "budget", title),
    )
