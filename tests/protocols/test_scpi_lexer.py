"""Messages, headers and parameters taken apart."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from harness.protocols.scpi_errors import ScpiFault
from harness.protocols.scpi_lexer import Unit, block_length, parse_unit, units


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        ("", []),
        (";", []),
        ("*IDN?", ["*IDN?"]),
        (" VOLT 3 ;\tCURR 1;", ["VOLT 3", "CURR 1"]),
        ('DISP "a;b";*CLS', ['DISP "a;b"', "*CLS"]),
        ("DISP 'a;b';*CLS", ["DISP 'a;b'", "*CLS"]),
        ("DATA #13a;b;*CLS", ["DATA #13a;b", "*CLS"]),
        ("DATA #0a;b", ["DATA #0a;b"]),
    ],
)
def test_messages_are_cut_at_free_semicolons(message: str, expected: list[str]) -> None:
    """Strings and blocks hide theirs; empty commands are accepted."""
    assert expected == list(units(message))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("VOLT?", Unit("VOLT", True, ())),
        (":SOUR:VOLT 3.3, MAX", Unit(":SOUR:VOLT", False, ("3.3", "MAX"))),
        ("ROUT:CLOS (@101,103:105)", Unit("ROUT:CLOS", False, ("(@101,103:105)",))),
        ('DISP "a,b"', Unit("DISP", False, ('"a,b"',))),
        ("*ESE\t32", Unit("*ESE", False, ("32",))),
    ],
)
def test_a_command_is_taken_apart(text: str, expected: Unit) -> None:
    """Commas in lists and strings separate nothing."""
    assert expected == parse_unit(text)


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("VOLT é", -101),
        ("VOLT 1,,2", -101),
        ("VOLT 1,", -101),
        ("123", -102),
        ("VOLT::LEV 1", -102),
        ("VOLT=3", -102),
        ("A234567890123 1", -112),
    ],
)
def test_what_is_no_command_faults(text: str, number: int) -> None:
    """By the standard numbers."""
    with pytest.raises(ScpiFault) as caught:
        parse_unit(text)
    assert number == caught.value.number


@pytest.mark.parametrize("text", ["#", "#x", "#2x3", "#3 12abc", "VOLT"])
def test_what_is_no_block_has_no_length(text: str) -> None:
    """A hexadecimal number or a bare # is none."""
    assert 0 == block_length(text, 0)


@given(st.text())
def test_no_message_breaks_the_lexer(message: str) -> None:
    """Any text is either taken apart or faulted."""
    for text in units(message):
        try:
            unit = parse_unit(text)
        except ScpiFault:
            continue
        assert text.startswith(unit.header)
