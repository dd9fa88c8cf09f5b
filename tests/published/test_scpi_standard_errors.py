"""Standard error numbers, their texts and classes, and the form of an entry.

Source: SCPI-1999 vol. 2, 21.8. Confidence: partly from memory.
"""

from __future__ import annotations

import pytest

from harness.protocols.scpi_errors import ERROR_TEXTS, ErrorQueue, EventBits, event_bit
from harness.protocols.scpi_reply import parse_error

TEXTS = {
    0: "No error",
    -100: "Command error",
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -114: "Header suffix out of range",
    -120: "Numeric data error",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -124: "Too many digits",
    -128: "Numeric data not allowed",
    -130: "Suffix error",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -140: "Character data error",
    -141: "Invalid character data",
    -150: "String data error",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -168: "Block data not allowed",
    -200: "Execution error",
    -220: "Parameter error",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -300: "Device-specific error",
    -310: "System error",
    -350: "Queue overflow",
    -400: "Query error",
    -410: "Query INTERRUPTED",
    -420: "Query UNTERMINATED",
    -430: "Query DEADLOCKED",
    -440: "Query UNTERMINATED after indefinite response",
}


@pytest.mark.parametrize(("number", "text"), TEXTS.items())
def test_the_text_of_a_standard_number(number: int, text: str) -> None:
    """Letter by letter."""
    assert text == ERROR_TEXTS[number]


@pytest.mark.parametrize(
    ("hundreds", "bit"),
    [
        (-1, EventBits.COMMAND_ERROR),
        (-2, EventBits.EXECUTION_ERROR),
        (-3, EventBits.DEVICE_ERROR),
        (-4, EventBits.QUERY_ERROR),
    ],
)
def test_a_class_sets_its_event_bit(hundreds: int, bit: EventBits) -> None:
    """-1xx CME, -2xx EXE, -3xx DDE, -4xx QYE."""
    numbers = [number for number in TEXTS if number // -100 == -hundreds]
    assert numbers
    assert {bit} == {event_bit(number) for number in numbers}


def test_an_empty_queue_says_no_error() -> None:
    """Both signs of zero are in use and mean the same."""
    assert '0,"No error"' == ErrorQueue().pop()
    assert parse_error('+0,"No error"') == parse_error('0,"No error"')


def test_device_information_follows_a_semicolon() -> None:
    """<NR1>,"<description>[;<device info>]"."""
    queue = ErrorQueue()
    queue.push(-222, "61 V")
    assert '-222,"Data out of range;61 V"' == queue.pop()


def test_overflow_takes_the_place_of_the_last_entry() -> None:
    """The first errors are kept."""
    queue = ErrorQueue(length=3)
    for number in (-101, -102, -103, -104, -108):
        queue.push(number)
    assert [-101, -102, -350, 0] == [parse_error(queue.pop()).number for _ in range(4)]
