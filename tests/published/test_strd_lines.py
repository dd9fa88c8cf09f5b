"""Straight lines with certified values.

NIST StRD, linear regression: Norris, NoInt1, NoInt2. Confidence: read in a public copy.
"""

from __future__ import annotations

import pytest
from published_item import published

from harness.metrology.line import explained_share, fit_line, fit_proportional


def test_norris() -> None:
    """36 points, line with intercept."""
    item = published("strd-norris")
    line = fit_line(item.inputs["x"], item.inputs["y"])
    assert item.agrees("B0", line.intercept)
    assert item.agrees("sd B0", line.intercept_uncertainty)
    assert item.agrees("B1", line.slope)
    assert item.agrees("sd B1", line.slope_uncertainty)
    assert item.agrees("residual sd", line.residual_standard_deviation)
    assert item.agrees("residual SS", line.residual_sum)
    assert item.agrees("R2", explained_share(item.inputs["y"], line))
    assert item.outputs["dof"] == line.degrees_of_freedom


@pytest.mark.parametrize("name", ["strd-noint1", "strd-noint2"])
def test_through_the_origin(name: str) -> None:
    """Lines without intercept; R^2 about zero."""
    item = published(name)
    line = fit_proportional(item.inputs["x"], item.inputs["y"])
    assert item.agrees("B1", line.slope)
    assert item.agrees("sd B1", line.slope_uncertainty)
    assert item.agrees("residual sd", line.residual_standard_deviation)
    assert item.agrees("SS", line.residual_sum)
    share = explained_share(item.inputs["y"], line, about_mean=False)
    assert item.agrees("R2 (about zero, not the mean)", share)
