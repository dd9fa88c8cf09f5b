"""SCPI number notation."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.protocols.scpi_numbers import (
    format_number,
    format_reading,
    split_decimal,
    suffix_multiplier,
)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_formatted_number_reads_back_as_itself(value: float) -> None:
    """No digit is lost between a set-point and its command."""
    assert (value, "") == split_decimal(format_number(value))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("273", (273.0, "")),
        ("0.273", (0.273, "")),
        ("+2.73E+2", (273.0, "")),
        ("2.73 e 2", (273.0, "")),
        (".5", (0.5, "")),
        ("5.", (5.0, "")),
        ("3.7V", (3.7, "V")),
        (" 3700 mV ", (3700.0, "mV")),
        ("3EV", (3.0, "EV")),
    ],
)
def test_numbers_and_suffixes_are_told_apart(text: str, expected: tuple[float, str]) -> None:
    """NR1, NR2, NR3, with and without suffix."""
    assert expected == split_decimal(text)


@pytest.mark.parametrize("text", ["", "V", "--3", "1_000_", "٣", "nan", "inf", "E5"])
def test_what_is_no_number_is_refused(text: str) -> None:
    """Python's own spellings of numbers do not count."""
    if text == "1_000_":
        assert (1.0, "_000_") == split_decimal(text)
        return
    with pytest.raises(ValueError, match="expected a decimal number"):
        split_decimal(text)


@pytest.mark.parametrize(
    ("suffix", "unit", "expected"),
    [
        ("", "V", 1.0),
        ("V", "V", 1.0),
        ("mV", "V", 1e-3),
        ("MV", "V", 1e-3),
        ("MAV", "V", 1e6),
        ("uV", "V", 1e-6),
        ("µV", "V", 1e-6),
        ("μV", "V", 1e-6),
        ("kOhm", "ohm", 1e3),
        ("kΩ", "ohm", 1e3),
        ("MOHM", "ohm", 1e6),
        ("MAOHM", "ohm", 1e6),
        ("mA", "A", 1e-3),
        ("MA", "A", 1e-3),
        ("CEL", "degC", 1.0),
        ("ms", "s", 1e-3),
    ],
)
def test_suffixes_multiply(suffix: str, unit: str, expected: float) -> None:
    """M is milli, except before ohm."""
    assert expected == suffix_multiplier(suffix, unit)


@pytest.mark.parametrize(
    ("suffix", "unit"), [("A", "V"), ("xV", "V"), ("m", "V"), ("mC", "degC"), ("V V", "V")]
)
def test_a_suffix_of_another_unit_is_refused(suffix: str, unit: str) -> None:
    """A value never changes unit silently."""
    with pytest.raises(ValueError, match="expected the unit"):
        suffix_multiplier(suffix, unit)


def test_digits_are_significant_ones() -> None:
    """A small set-point keeps as many digits as a large one."""
    assert "1.23457E-07" == format_number(1.234567e-7, digits=6)


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_number_that_is_not_finite_is_never_sent(value: float) -> None:
    """No instrument is told to set NaN."""
    with pytest.raises(ValueError, match="expected a finite number"):
        format_number(value)


def test_no_digits_are_refused() -> None:
    """Zero significant digits mean nothing."""
    with pytest.raises(ValueError, match="at least 1"):
        format_number(1.0, digits=0)


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (3.7, "+3.70000000E+00"),
        (-math.inf, "-9.90000000E+37"),
        (math.nan, "+9.91000000E+37"),
    ],
)
def test_readings_are_written_as_meters_write_them(value: float, expected: str) -> None:
    """Overload and not-a-number have SCPI's numbers."""
    assert expected == format_reading(value)
