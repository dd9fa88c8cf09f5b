"""Effective degrees of freedom, three worked examples.

JCGM 100:2008, G.4.1 (product of three), and two classroom examples. Confidence: partly from
memory. Tolerances: half the last printed digit; the third example's source rounds on the way.
"""

from __future__ import annotations

import math

import numpy as np
from published_item import published

from harness.metrology.budget import welch_satterthwaite
from harness.metrology.coverage import t_factor
from harness.metrology.propagation import sensitivities

ITEM = published("welch-satterthwaite")


def column(values: list[float]) -> np.ndarray:
    return np.array(values, dtype=float)[:, None]


def test_product_of_three() -> None:
    """G.4.1: relative uncertainties of 0.25 %, 0.57 %, 0.82 % from 10, 5, 15 readings."""
    u = column(ITEM.inputs["gum_g4"]["relative_u_percent"])
    nu = float(welch_satterthwaite(u, column(ITEM.inputs["gum_g4"]["n"]) - 1)[0])
    combined, factor = float(np.sqrt((u**2).sum())), float(t_factor(0.95, nu))
    assert ITEM.agrees("G.4 u_c %", combined)
    assert ITEM.agrees("G.4 nu_eff", nu)
    assert ITEM.agrees("G.4 t95(19)", factor)
    assert ITEM.agrees("G.4 U95 %", factor * combined)


def test_with_infinite_degrees_of_freedom() -> None:
    nu = welch_satterthwaite(column(ITEM.inputs["second"]["u"]), column([9, math.inf]))
    assert ITEM.agrees("second nu_eff", nu[0])


def test_quotient_times_factor() -> None:
    """y = x1 / x2 * f with 9, 19 and 19 degrees of freedom."""
    rows = np.array([ITEM.inputs["third"][key] for key in ("X1", "X2", "Yu")])
    values, u, nu = rows.T
    row = sensitivities(lambda x: np.array([x[0] / x[1] * x[2]]), values, u)[0]
    parts = np.abs(row * u)
    combined = float(np.sqrt((parts**2).sum()))
    degrees = float(welch_satterthwaite(parts[:, None], nu[:, None])[0])
    assert ITEM.agrees("third y", values[0] / values[1] * values[2])
    assert ITEM.agrees("third u", combined)
    assert ITEM.agrees("third nu_eff", degrees)
    assert ITEM.agrees("third U95", float(t_factor(0.95, degrees)) * combined)
