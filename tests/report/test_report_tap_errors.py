"""Cell errors in tap basis."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from report_builder import CELLS, cell_accuracy

from harness.metrology.budget import Budget, Contribution, Shape
from harness.report.tap_errors import tap_errors


def with_budget(u: float, is_common: bool) -> Budget:
    n = len(cell_accuracy())
    return Budget(
        (Contribution("x", np.full(n, u), Shape.NORMAL, np.full(n, np.inf), is_common, "", ""),)
    )


def test_tap_errors_are_running_sums() -> None:
    findings = cell_accuracy()
    first = tap_errors(findings)[0]
    assert first.point == "2.500 V up"
    np.testing.assert_allclose(first.error, np.cumsum(findings.error[:CELLS]))


def test_a_common_contribution_adds_linearly() -> None:
    """Correlation +1 (GUM 5.2.2, note 1): U of 12 cells is 12 times that of one."""
    points = tap_errors(replace(cell_accuracy(), budget=with_budget(1e-4, True)))
    np.testing.assert_allclose(
        points[0].expanded, 1.95996398e-4 * np.arange(1, CELLS + 1), rtol=1e-6
    )


def test_channel_contributions_add_in_quadrature() -> None:
    points = tap_errors(replace(cell_accuracy(), budget=with_budget(1e-4, False)))
    np.testing.assert_allclose(
        points[0].expanded, 1.95996398e-4 * np.sqrt(np.arange(1, CELLS + 1)), rtol=1e-6
    )


def test_a_missing_cell_leaves_all_taps_above_it_open() -> None:
    findings = cell_accuracy()
    error = findings.error.copy()
    error[3] = np.nan
    taps = tap_errors(replace(findings, error=error))[0].error
    assert list(np.isnan(taps)) == [False] * 3 + [True] * 9


def test_points_without_every_cell_have_no_sum() -> None:
    findings = cell_accuracy()
    channel = findings.channel.copy()
    channel[0] = 13
    assert "2.500 V up" not in [p.point for p in tap_errors(replace(findings, channel=channel))]


def test_without_budget_the_sum_has_no_uncertainty() -> None:
    expanded = tap_errors(replace(cell_accuracy(), budget=None))[0].expanded
    assert np.isnan(expanded).all()


def test_repeatability_gains_degrees_of_freedom_in_the_sum() -> None:
    """Welch-Satterthwaite: 12 equal terms with 4 have 48; t(48) is 2.0106, t(4) 2.7764."""
    n = len(cell_accuracy())
    part = Contribution("s", np.full(n, 1e-4), Shape.STUDENT, np.full(n, 4.0), False, "", "")
    points = tap_errors(replace(cell_accuracy(), budget=Budget((part,))))
    assert points[0].expanded[0] == pytest.approx(2.7764e-4, rel=1e-4)
    assert points[0].expanded[11] == pytest.approx(2.0106e-4 * np.sqrt(12), rel=1e-4)
