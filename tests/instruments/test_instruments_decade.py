"""The resistance source's messages."""

from __future__ import annotations

import pytest
from scripted_wire import transport

from harness.descriptions.instrument import DecadeModel
from harness.errors import MisuseError
from harness.instruments.decade import Decade
from harness.instruments.faults import SetPointMismatch

PLACE = "decade (TCPIP::bench::5025::SOCKET)"
OK = '+0,"No error"'
MODEL = DecadeModel(role="decade", name="D", identity="D", lowest_ohms=1.0, highest_ohms=1e6)


def decade(wire) -> Decade:
    return Decade(transport(wire, "decade"), MODEL)


def test_nearest_step_is_set_and_read_back(script):
    """What stands is returned."""
    wire = script(("RES 10000.0;:RES?;:SYST:ERR?", f"1.00000E+04;{OK}"))
    assert 10_000.0 == decade(wire).set_resistance(10_000.4)


def test_difference_in_read_back_is_told(script):
    """Another value stands than was set."""
    with pytest.raises(SetPointMismatch) as caught:
        decade(script(("RES 10.0;:RES?;:SYST:ERR?", f"11;{OK}"))).set_resistance(10.0)
    assert str(caught.value) == (
        f'{PLACE}: sent "RES 10.0": expected 10 ohm read back, got 11 ohm; '
        "check step_ohms in the model description"
    )


@pytest.mark.parametrize("ohms", [0.5, 2e6, float("inf"), float("nan")])
def test_value_outside_the_range_is_not_sent(script, ohms):
    """The plan asks for what the decade cannot do."""
    with pytest.raises(MisuseError) as caught:
        decade(script()).set_resistance(ohms)
    assert str(caught.value) == (
        f"{PLACE}: expected a resistance from 1 ohm to 1e+06 ohm, got {ohms:g} ohm; "
        "correct the plan's points"
    )


def test_setting_is_read(script):
    """As a reading with its raw text."""
    reading = decade(script(("RES?", "+1.00000E+04"))).get_resistance()
    assert (10_000.0, "+1.00000E+04") == (reading.value, reading.raw)
