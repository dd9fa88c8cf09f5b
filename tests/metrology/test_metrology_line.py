"""Straight lines: many at once, known answers, misuse."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import MisuseError
from harness.metrology.line import explained_share, fit_line, fit_proportional


def test_many_lines_at_once_equal_one_by_one() -> None:
    rng = np.random.default_rng(1)
    x = np.linspace(2.0, 4.2, 7)
    y = rng.normal(size=(3, 5, 7))
    together = fit_line(x, y, origin=3.0)
    alone = fit_line(x, y[2, 4], origin=3.0)
    assert float(alone.slope) == pytest.approx(together.slope[2, 4], rel=1e-12)
    assert float(alone.covariance) == pytest.approx(together.covariance[2, 4], rel=1e-12)
    assert (3, 5) == together.at(3.7)[1].shape


def test_exact_points_give_the_exact_line() -> None:
    line = fit_line([0, 1, 2, 3], [5, 7, 9, 11])
    assert (5.0, 2.0) == pytest.approx((float(line.intercept), float(line.slope)))
    assert pytest.approx(0.0, abs=1e-12) == float(line.residual_standard_deviation)


@pytest.mark.parametrize("proportional", [False, True])
def test_stated_uncertainties_are_the_scatter_of_repeated_fits(proportional: bool) -> None:
    """The mean square of the stated uncertainty is the variance of the slope."""
    rng = np.random.default_rng(2)
    x = np.array([1.0, 2.0, 3.0, 5.0, 8.0])
    y = 2.0 * x + 0.1 * rng.normal(size=(20_000, 5))
    lines = fit_proportional(x, y) if proportional else fit_line(x, y)
    stated = np.sqrt(np.mean(lines.slope_uncertainty**2))
    assert lines.slope.std() == pytest.approx(stated, rel=0.03)


def test_missing_point_spoils_its_own_line_only() -> None:
    y = np.array([[1.0, 2.0, 3.5], [1.0, np.nan, 3.0]])
    assert [False, True] == np.isnan(fit_line([1, 2, 3], y).slope).tolist()


@pytest.mark.parametrize(
    ("fit", "x", "text"),
    [
        (fit_line, [1.0, 2.0], "line: expected 3 points or more, got 2"),
        (fit_line, [2.0, 2.0, 2.0], "line: expected points at different x, got all the same x"),
        (fit_proportional, [1.0], "line: expected 2 points or more, got 1"),
        (fit_proportional, [0.0, 0.0], "line: expected points away from x = 0, got none"),
    ],
)
def test_misuse_is_told(fit, x: list[float], text: str) -> None:
    with pytest.raises(MisuseError) as caught:
        fit(x, x)
    assert text == str(caught.value)


def test_share_explained_and_correlation() -> None:
    """All of an exact line; intercept and slope correlate with minus the mean over the rms of x."""
    x = np.array([1.0, 2.0, 3.0])
    exact = fit_line(x, 2 * x + 1)
    assert pytest.approx(1.0) == float(explained_share(2 * x + 1, exact))
    rough = fit_line(x, [1.0, 2.0, 1.5])
    assert -2.0 / np.sqrt(14 / 3) == pytest.approx(float(rough.correlation))
