"""Constant current, a voltage that is not held, a voltage from outside."""

from __future__ import annotations

import math

import pytest

from harness.descriptions.instrument import SupplyModel
from harness.instruments.envelope import ChannelState
from harness.instruments.regulation import Measured, regulation_fault, tolerance_volts

MODEL = SupplyModel(
    role="supply",
    name="S",
    identity="S",
    highest_volts=6.0,
    highest_amperes=0.5,
    highest_protection_volts=6.6,
    output_ohms=0.01,
)
STATE = ChannelState(possible_volts=(3.3,), limit_amperes=0.1)


def fault(volts: float, amperes: float) -> str:
    return regulation_fault(Measured(volts, amperes), STATE, 4.5, MODEL)


@pytest.mark.parametrize("volts", [3.3, 3.266, 4.5])
def test_plausible_voltages_are_no_fault(volts):
    """Within accuracy and drop below; above, only the ceiling counts: outputs fall slowly."""
    assert "" == fault(volts, 0.0979)


@pytest.mark.parametrize(
    ("volts", "amperes", "words"),
    [
        (3.3, 0.098, "constant current"),
        (3.3, math.nan, "constant current"),
        (3.26, 0.01, "expected 3.3 V within 0.0343 V, got 3.26 V"),
        (math.nan, 0.01, "broken sense lead"),
        (4.54, 0.01, "drives the channel from outside"),
    ],
)
def test_implausible_values_are_told(volts, amperes, words):
    """What is not a number is never plausible."""
    assert words in fault(volts, amperes)


def test_tolerance_adds_both_accuracies_and_leads():
    """At 10 V: 2 x 500 ppm, 2 x 5 mV, 20 mV."""
    assert pytest.approx(0.04) == tolerance_volts(10.0, MODEL)
