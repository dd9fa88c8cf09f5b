"""The instruments of a run and the state of their calibration on that day."""

from __future__ import annotations

from harness.report.document import ReportInput, ReportInstrument
from harness.report.quantities import MISSING
from harness.report.tables import Line, Table
from harness.report.wording import COLUMN_WORDS, NOT_TRACEABLE


def instrument_table(report: ReportInput) -> Table:
    """Instruments with their calibration state on the day of the run."""
    return Table(
        "instruments",
        (
            "instrument",
            "identity",
            "serial",
            "calibrated",
            "due",
            "specification column",
            "certificate",
        ),
        tuple(_instrument_line(instrument, report) for instrument in report.instruments),
    )


def is_overdue(instrument: ReportInstrument, report: ReportInput) -> bool:
    """Whether its calibration was due before the day of the run."""
    return instrument.due is not None and instrument.due < report.started.date()


def is_reference(instrument: ReportInstrument, report: ReportInput) -> bool:
    """Whether errors were judged against it: the meter, or a decade that no meter checks."""
    if instrument.role == "meter":
        return True
    return instrument.role == "decade" and report.setup.bench.paths.meter_at_decade is None


def _instrument_line(instrument: ReportInstrument, report: ReportInput) -> Line:
    late = is_overdue(instrument, report)
    due = instrument.due.isoformat() if instrument.due else "not stated"
    counts = is_reference(instrument, report)
    certificate = instrument.certificate or (NOT_TRACEABLE if counts else "no reference here")
    return Line(
        (
            f"{instrument.name} ({instrument.role})",
            instrument.identity or "not asked",
            instrument.serial or MISSING,
            instrument.calibrated.isoformat() if instrument.calibrated else "not stated",
            f"{due}, OVERDUE" if late else due,
            COLUMN_WORDS.get(instrument.column, instrument.column) if counts else MISSING,
            certificate,
        ),
        late or (counts and not instrument.certificate),
    )


def traceability_remarks(report: ReportInput) -> tuple[str, ...]:
    """Which references no certificate stands behind; the judgement tells what is overdue."""
    return tuple(
        f"{i.name.capitalize()}: {NOT_TRACEABLE}."
        for i in report.instruments
        if is_reference(i, report) and not i.certificate
    )
