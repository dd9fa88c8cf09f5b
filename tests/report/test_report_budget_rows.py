"""The rows of one budget."""

from __future__ import annotations

import pytest
from report_builder import cell_accuracy, thermistor_faults

from harness.report.budget_rows import budget_rows
from harness.report.ranking import Placed


def test_largest_first() -> None:
    names = [row.name for row in budget_rows(Placed(cell_accuracy(), 0))]
    assert names[:3] == ["board repeatability", "board resolution", "meter accuracy"]


def test_shares_are_of_the_variance_and_sum_to_one() -> None:
    rows = budget_rows(Placed(cell_accuracy(), 0))
    assert sum(row.share for row in rows) == pytest.approx(1.0)
    variance = sum(row.standard_uncertainty**2 for row in rows)
    assert rows[0].share == pytest.approx(2.2e-4**2 / variance)


def test_common_contributions_are_marked() -> None:
    rows = budget_rows(Placed(cell_accuracy(), 0))
    assert [row.name for row in rows if row.is_common] == ["meter accuracy"]


def test_a_fact_has_no_rows() -> None:
    assert budget_rows(Placed(thermistor_faults(), 0)) == ()
