"""Replies read by the controller."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.errors import InstrumentError
from harness.protocols.scpi_numbers import format_reading
from harness.protocols.scpi_reply import (
    DeviceError,
    Identity,
    ReadingState,
    ReplyFormatError,
    parse_boolean,
    parse_error,
    parse_identity,
    parse_reading,
    parse_readings,
    split_replies,
)


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("+3.700E0", None, 3.7),
        (" 3.7\r", None, 3.7),
        ("3.700V", "V", 3.7),
        ("3700 mV", "V", 3.7),
        ("-1.5E-3", "V", -0.0015),
        ("10.02 kOhm", "ohm", 10020.0),
        ("21.4 C", "degC", 21.4),
    ],
)
def test_a_reading_is_read(text: str, unit: str | None, expected: float) -> None:
    """Numbers with and without the unit that was asked for."""
    reading = parse_reading(text, unit)
    assert ReadingState.GOOD is reading.state
    assert expected == pytest.approx(reading.value, rel=1e-15)


@pytest.mark.parametrize(
    "text",
    ["9.9E37", "+9.90000000E+37", "-9.9E37", "9.9e37", "1e400", "INF", "NINF", "-INFinity", "2E36"],
)
def test_overload_is_a_state_and_no_number(text: str) -> None:
    """Whatever the number of digits, and for either sign."""
    reading = parse_reading(text)
    assert ReadingState.OVERLOAD is reading.state
    assert math.isnan(reading.value)
    assert text == reading.raw


@pytest.mark.parametrize("text", ["9.91E37", "+9.91000000E+37", "NAN"])
def test_not_a_number_is_told_from_overload(text: str) -> None:
    """9.91E37 is not 9.9E37."""
    assert ReadingState.NOT_A_NUMBER is parse_reading(text).state


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("", None, 'expected a number, got ""'),
        ("ERROR", None, 'expected a number, got "ERROR"'),
        ("3.7V", None, 'expected a number, got "3.7V"'),
        ("3.7A", "V", 'expected a number in V, got "3.7A"'),
        ("10 mOhm", "ohm", 'expected a number in ohm, got "10 mOhm"'),
        ("3.7,3.8", None, 'expected a number, got "3.7,3.8"'),
        ("1_000", None, 'expected a number, got "1_000"'),
    ],
)
def test_other_replies_are_refused(text: str, unit: str | None, message: str) -> None:
    """The message says what was expected and repeats the reply."""
    with pytest.raises(ReplyFormatError) as caught:
        parse_reading(text, unit)
    assert message == str(caught.value)


def test_a_malformed_reply_is_the_instruments_fault() -> None:
    """Faces need not know the kind: it is an instrument's error and a ValueError."""
    assert issubclass(ReplyFormatError, InstrumentError)
    assert issubclass(ReplyFormatError, ValueError)


@given(st.floats(min_value=-1e35, max_value=1e35))
def test_what_a_meter_writes_is_read_back(value: float) -> None:
    """NR3 with 8 decimals is good to half of the last digit."""
    reading = parse_reading(format_reading(value))
    assert value == pytest.approx(reading.value, rel=0.6e-8)


def test_a_list_of_readings_keeps_its_order_and_its_states() -> None:
    """An overload among readings stays where it is."""
    readings = parse_readings("+1.0E0,+9.9E37,+3.0E0")
    assert [1.0, 3.0] == [r.value for r in readings if r.state is ReadingState.GOOD]
    assert ReadingState.OVERLOAD is readings[1].state


def test_a_list_with_a_hole_is_refused() -> None:
    """Nothing is skipped."""
    with pytest.raises(ReplyFormatError):
        parse_readings("1,,3")


@pytest.mark.parametrize(
    ("text", "number", "described"),
    [
        ('0,"No error"', 0, "No error"),
        ('+0,"No error"', 0, "No error"),
        ('-222,"Data out of range;extra"', -222, "Data out of range;extra"),
        ('-222, "said ""no"""', -222, 'said "no"'),
        ("-113,Undefined header", -113, "Undefined header"),
        ("0", 0, ""),
        ('101,"mine"', 101, "mine"),
    ],
)
def test_an_error_is_read(text: str, number: int, described: str) -> None:
    """Quoted or not, signed zero or not."""
    error = parse_error(text)
    assert (number, described) == (error.number, error.text)
    assert (number != 0) is error.is_error


def test_errors_are_the_same_when_their_numbers_are() -> None:
    """The text may carry anything behind the semicolon."""
    assert DeviceError(-222, "Data out of range") == parse_error('-222,"Data out of range;61"')


@pytest.mark.parametrize("text", ["", "No error", '"No error"', "1.5", "99999999999999999999"])
def test_what_is_no_error_is_refused(text: str) -> None:
    """An error has a number."""
    with pytest.raises(ReplyFormatError, match="expected an error"):
        parse_error(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("1", ("1",)),
        ('+3.3E0; 0,"No error"', ("+3.3E0", '0,"No error"')),
        ('0,"a;b";1', ('0,"a;b"', "1")),
        ("'a;b';1", ("'a;b'", "1")),
        ("", ("",)),
    ],
)
def test_replies_are_cut_outside_of_quotes(text: str, expected: tuple[str, ...]) -> None:
    """A semicolon in a text separates nothing."""
    assert expected == split_replies(text)


def test_an_identity_has_four_fields() -> None:
    """Commas beyond the third belong to the firmware."""
    assert Identity("Invented", "M1", "0", "1.0,2.0") == parse_identity("Invented, M1,0,1.0,2.0\n")


@pytest.mark.parametrize("text", ["", "Invented,M1,0", ",,,", "garbage"])
def test_fewer_fields_are_no_identity(text: str) -> None:
    """The message says what was expected."""
    with pytest.raises(ReplyFormatError, match="maker,model,serial number,firmware level"):
        parse_identity(text)


@pytest.mark.parametrize(
    ("text", "expected"), [("0", False), ("1\n", True), ("on", True), ("OFF", False), ("+1", True)]
)
def test_booleans_are_read(text: str, expected: bool) -> None:
    """0, 1, OFF, ON."""
    assert expected is parse_boolean(text)


@pytest.mark.parametrize("text", ["", "2", "TRUE", "0.0"])
def test_other_words_are_no_booleans(text: str) -> None:
    """Nothing is taken for "off" because it is not understood."""
    with pytest.raises(ReplyFormatError, match="expected 0, 1, OFF or ON"):
        parse_boolean(text)


@given(st.text(), st.sampled_from([None, "V", "ohm", "degC"]))
def test_no_reply_breaks_the_parsers(text: str, unit: str | None) -> None:
    """Any text is either read or refused with our own error."""
    for parse in (parse_error, parse_identity, parse_boolean, lambda t: parse_readings(t, unit)):
        try:
            parse(text)
        except ReplyFormatError:
            pass
    assert text.count(";") + 1 >= len(split_replies(text))
