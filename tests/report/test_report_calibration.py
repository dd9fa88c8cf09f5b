"""Instruments and the state of their calibration."""

from __future__ import annotations

import datetime
from dataclasses import replace

from report_builder import instruments, report_input

from harness.report.calibration import instrument_table, traceability_remarks


def test_an_overdue_instrument_is_marked() -> None:
    line = instrument_table(report_input()).lines[0]
    assert line.cells[4] == "2026-03-02, OVERDUE"
    assert line.is_marked


def test_due_on_the_day_of_the_run_is_not_overdue() -> None:
    supply = replace(instruments()[0], due=datetime.date(2026, 11, 25))
    line = instrument_table(report_input(instruments=(supply,))).lines[0]
    assert line.cells[4] == "2026-11-25"


def test_the_reference_has_its_column_and_certificate() -> None:
    line = instrument_table(report_input()).lines[1]
    assert line.cells == (
        "meter (meter)",
        "Generic,Meter-6,M-0001,1.0",
        "M-0001",
        "2026-03-02",
        "2027-03-02",
        "1 year",
        "K-2026-0317",
    )


def test_a_reference_without_certificate_is_not_traceable() -> None:
    meter = replace(instruments()[1], certificate="")
    report = report_input(instruments=(meter,))
    expected = "reference not traceable, specification assumed"
    assert expected == instrument_table(report).lines[0].cells[-1]
    assert traceability_remarks(report) == (f"Meter: {expected}.",)


def test_a_decade_checked_by_the_meter_is_no_reference() -> None:
    assert instrument_table(report_input()).lines[2].cells[-1] == "no reference here"


def test_what_is_no_reference_needs_no_certificate() -> None:
    assert traceability_remarks(report_input()) == ()
