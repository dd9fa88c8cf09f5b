"""The invented run of `report_builder`, rendered once for all report tests."""

from __future__ import annotations

import pytest
from report_builder import report_input

from harness.report.document import ReportInput
from harness.report.html import render_html


@pytest.fixture(scope="session")
def report() -> ReportInput:
    """The whole run with its two faults."""
    return report_input()


@pytest.fixture(scope="session")
def page(report: ReportInput) -> str:
    """Its HTML, with breaking spaces again so that sentences can be searched."""
    return render_html(report).replace("\u00a0", " ")
