"""Calibration of a thermometer: straight line through 11 corrections.

JCGM 100:2008, H.3 (table H.6, H.3.3 to H.3.5). Confidence: read in a public copy; the origin
that makes the correlation vanish (H.3.5) from memory.
"""

from __future__ import annotations

import numpy as np
import pytest
from published_item import published

from harness.metrology.line import fit_line

GUM = published("gum-h3")
T, B = GUM.inputs["t_k_degC"], GUM.inputs["b_k_degC"]
LINE = fit_line(T, B, origin=GUM.inputs["t0_degC"])


@pytest.mark.parametrize(
    ("quantity", "value"),
    [
        ("y1", LINE.intercept),
        ("s(y1)", LINE.intercept_uncertainty),
        ("y2", LINE.slope),
        ("s(y2)", LINE.slope_uncertainty),
        ("r(y1,y2)", LINE.correlation),
        ("s", LINE.residual_standard_deviation),
        ("b(30)", LINE.at(30.0)[0]),
        ("u(b(30))", LINE.at(30.0)[1]),
    ],
)
def test_fit(quantity: str, value: np.ndarray) -> None:
    assert GUM.agrees(quantity, float(value))


def test_degrees_of_freedom() -> None:
    assert GUM.outputs["dof"] == LINE.degrees_of_freedom


def test_correlation_vanishes_at_the_mean_temperature() -> None:
    """Taken at the mean of t_k, intercept and slope are uncorrelated (H.3.5)."""
    assert abs(float(fit_line(T, B, origin=float(np.mean(T))).correlation)) < 1e-9
