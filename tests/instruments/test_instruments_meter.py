"""The multimeter's messages and readings."""

from __future__ import annotations

import math

import pytest
from scripted_wire import transport

from harness.descriptions.instrument import (
    AccuracyColumn,
    AgeColumn,
    Integration,
    MeterCommands,
    MeterModel,
    MeterRange,
)
from harness.errors import MisuseError
from harness.instruments.faults import InstrumentRefused, UnexpectedReply
from harness.instruments.meter import Meter, range_for
from harness.protocols.scpi_reply import ReadingState

PLACE = "meter (TCPIP::bench::5025::SOCKET)"
OK = '+0,"No error"'


def ranges(*values: float) -> tuple[MeterRange, ...]:
    accuracy = {AgeColumn.YEAR: AccuracyColumn(ppm_of_reading=35.0, ppm_of_range=5.0)}
    return tuple(MeterRange(range_value=v, accuracy=accuracy) for v in values)


def model(**changes) -> MeterModel:
    declared = {
        "role": "meter",
        "name": "M",
        "identity": "M",
        "voltage_ranges": ranges(100.0, 1.0, 10.0),
        "resistance_ranges": ranges(1e4, 1e5),
        "integration": (
            Integration(power_line_cycles=1.0, resolution_ppm_of_range=1.0, noise_ppm_of_range=1.0),
        ),
    }
    return MeterModel(**{**declared, **changes})


def meter(wire, **changes) -> Meter:
    return Meter(transport(wire), model(**changes), line_frequency_hertz=50.0)


CONFIGURE = "CONF:VOLT:DC 10.0;:VOLT:DC:NPLC 1.0;:SAMP:COUN {};:SYST:ERR?"


def test_configuration_is_one_message_and_not_repeated(script):
    """The same again sends nothing."""
    made = meter(script((CONFIGURE.format(3), OK)))
    made.configure_voltage(3.3, 1.0, 3)
    made.configure_voltage(3.6, 1.0, 3)


def test_change_of_function_configures_again(script):
    """Volts, ohms, volts."""
    made = meter(
        script(
            (CONFIGURE.format(1), OK),
            ("CONF:RES 100000.0;:RES:NPLC 10.0;:SAMP:COUN 1;:SYST:ERR?", OK),
            (CONFIGURE.format(1), OK),
        )
    )
    made.configure_voltage(3.3, 1.0, 1)
    made.configure_resistance(32_000.0, 10.0, 1)
    made.configure_voltage(3.3, 1.0, 1)


def test_refused_configuration_is_sent_again_next_time(script):
    """After a refusal nobody knows what stands."""
    made = meter(
        script(
            (CONFIGURE.format(1), '-222,"Data out of range"'),
            ("SYST:ERR?", OK),
            (CONFIGURE.format(1), OK),
        )
    )
    with pytest.raises(InstrumentRefused):
        made.configure_voltage(3.3, 1.0, 1)
    made.configure_voltage(3.3, 1.0, 1)


def test_readings_keep_overload_and_not_a_number_apart(script):
    """Typed, and never a number."""
    made = meter(script((CONFIGURE.format(3), OK), ("READ?", "+3.3E+00,+9.9E+37,9.91E37")))
    made.configure_voltage(3.3, 1.0, 3)
    good, overload, neither = made.read()
    assert (3.3, ReadingState.GOOD) == (good.value, good.state)
    assert (True, ReadingState.OVERLOAD) == (math.isnan(overload.value), overload.state)
    assert (True, ReadingState.NOT_A_NUMBER) == (math.isnan(neither.value), neither.state)


def test_started_readings_are_fetched_later(script):
    """Other work fits in between."""
    made = meter(script((CONFIGURE.format(1), OK), ("READ?", "1.5")))
    made.configure_voltage(3.3, 1.0, 1)
    made.start_read()
    assert [1.5] == [reading.value for reading in made.finish_read()]


def test_time_out_grows_with_the_integration(script):
    """100 readings of 10 cycles at 50 Hz with auto-zero take 40 s."""
    wire = script((CONFIGURE.replace("NPLC 1.0", "NPLC 10.0").format(100), OK), ("READ?", "1"))
    made = meter(wire)
    made.configure_voltage(3.3, 10.0, 100)
    with pytest.raises(UnexpectedReply):
        made.read()
    assert [3.0, 43.0] == wire.timeouts


@pytest.mark.parametrize(("said", "expected"), [("abc,1.0", "a number"), ("1.0", "2 numbers")])
def test_reply_of_the_wrong_form_is_told(script, said, expected):
    """Text, or too few."""
    made = meter(script((CONFIGURE.format(2), OK), ("READ?", said)))
    made.configure_voltage(3.3, 1.0, 2)
    with pytest.raises(UnexpectedReply) as caught:
        made.read()
    assert str(caught.value) == (
        f'{PLACE}: sent "READ?": expected {expected}, got "{said.split(",")[0]}"; '
        "compare the command with the instrument's manual and the model description"
    )


@pytest.mark.parametrize(
    ("value", "expected"), [(0.5, 1.0), (-1.0, 1.0), (1.01, 10.0), (43.2, 100.0), (500.0, 100.0)]
)
def test_smallest_range_that_holds_the_value(value, expected):
    """The largest when none does: it will overload, and be told so."""
    assert expected == range_for(ranges(100.0, 1.0, 10.0), value).range_value


def test_reading_before_configuring_is_our_fault(script):
    """The meter would measure whatever it did last."""
    with pytest.raises(MisuseError) as caught:
        meter(script()).read()
    assert f"{PLACE}: expected to be configured before reading" == str(caught.value)


def test_resistance_needs_ranges(script):
    """A voltmeter measures no ohms."""
    with pytest.raises(MisuseError) as caught:
        meter(script(), resistance_ranges=()).configure_resistance(1e4, 1.0, 1)
    assert str(caught.value) == (
        f"{PLACE}: expected resistance_ranges in its model description, got none"
    )


def test_several_readings_need_a_count(script):
    """A meter without a count takes one at a time."""
    plain = MeterCommands(set_count="", set_voltage_cycles="")
    with pytest.raises(MisuseError) as caught:
        meter(script(), commands=plain).configure_voltage(3.3, 1.0, 2)
    assert f"{PLACE}: expected 1 reading (its model has no set_count), got 2" == str(caught.value)
