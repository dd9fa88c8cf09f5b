"""What the error figures share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from report_builder import cell_accuracy, thermistor_accuracy

from harness.report.figures.panels import (
    channel_errors,
    common_scale,
    has_one_limit,
    series_names,
    series_of,
)


@pytest.mark.parametrize(
    ("series", "point"), [("up", "3.300 V up"), ("", "3.300 V"), ("", "25.0 degC")]
)
def test_the_series_is_what_follows_the_unit(series: str, point: str) -> None:
    assert series == series_of(point)


def test_directions_are_the_series_of_a_sweep() -> None:
    assert series_names(cell_accuracy()) == ("up", "down")


def test_errors_of_a_channel_are_ordered_by_stimulus_and_in_millivolts() -> None:
    findings = cell_accuracy()
    rows = channel_errors(findings, 5)
    assert len(rows.error) == 14
    assert (np.diff(rows.x) > -0.01).all()
    mine = findings.error[findings.channel == 5]
    assert sorted(mine * 1e3) == pytest.approx(sorted(rows.error))


def test_without_reference_the_nominal_stands_in() -> None:
    findings = cell_accuracy()
    rows = channel_errors(replace(findings, reference=findings.reference * np.nan), 1)
    assert rows.x[0] == 2.5


def test_the_scale_holds_every_error_with_its_bar() -> None:
    findings = cell_accuracy()
    reach = np.abs(findings.error) + findings.expanded_uncertainty
    assert common_scale(findings) == pytest.approx(1.1 * reach.max() * 1e3)


def test_the_scale_shows_the_limit_of_a_good_board() -> None:
    assert common_scale(cell_accuracy(has_fault=False)) == pytest.approx(6.5)


def test_a_dead_channel_does_not_flatten_the_others() -> None:
    findings = cell_accuracy()
    dead = replace(findings, error=np.where(findings.channel == 8, -3.3, findings.error))
    assert common_scale(dead) == pytest.approx(20.0)


def test_a_limit_that_changes_is_known() -> None:
    assert has_one_limit(cell_accuracy())
    assert not has_one_limit(thermistor_accuracy())
