"""CSV and key=value lines."""

from __future__ import annotations

import math

import pytest
from protocol_layouts import csv, good, key_value, only_bad, whole

from harness.descriptions.board import FrameField
from harness.errors import DescriptionError
from harness.protocols.checks import CHECKS
from harness.protocols.frame_decoder import decoder_for
from harness.protocols.frame_events import BadReason

PLAIN = csv(start="", check="none")


def checked(body: str) -> bytes:
    """A line of the usual CSV layout with the right check."""
    return f">{body}*{CHECKS['crc16-modbus'].compute(body.encode()):04X}\n".encode()


def test_a_checked_line_gives_its_values() -> None:
    """Scaled, with the line as it came."""
    line = checked("17,3300,3301,-1")
    (frame,) = good(whole(csv(), line))
    assert (17, line.strip()) == (frame.sequence, frame.raw)
    assert [3.3, 3.301] == pytest.approx(frame.values[:2])
    assert math.isnan(frame.values[2])


@pytest.mark.parametrize("end", [b"\r\n", b" \n", b"\r"])
def test_a_check_may_be_lower_case_and_be_followed_by_space(end: bytes) -> None:
    """Both are in use."""
    assert 1 == len(good(whole(csv(), checked("17,1,2,3").strip().lower() + end)))


BAD_LINES = [
    (csv(), b">17,1,2,3*0000\n", BadReason.BAD_CHECK, "expected the check F24B, got 0000"),
    (
        csv(),
        b">17,1,2,3\n",
        BadReason.MALFORMED,
        'expected "*" and 4 hex digits at the end, got "17,1,2,3"',
    ),
    (
        csv(),
        b">17,1,2,3*12\n",
        BadReason.MALFORMED,
        'expected 4 hex digits after "*", got "12"',
    ),
    (
        csv(),
        b">17,1,2,3*+123\n",
        BadReason.MALFORMED,
        'expected 4 hex digits after "*", got "+123"',
    ),
    (
        csv(),
        b"boot v1.2\n",
        BadReason.NOISE,
        'expected a line that begins with ">", got "boot v1.2"',
    ),
    (csv(), checked("17,1,2"), BadReason.WRONG_FIELD_COUNT, "expected 4 fields, got 3"),
    (csv(), checked("17,1,2,3,4"), BadReason.WRONG_FIELD_COUNT, "expected 4 fields, got 5"),
    (
        PLAIN,
        b"17,1,abc,3\n",
        BadReason.NOT_A_NUMBER,
        'cell_voltage 2: expected a number, got "abc"',
    ),
    (PLAIN, b"17,1,,3\n", BadReason.NOT_A_NUMBER, 'cell_voltage 2: expected a number, got ""'),
    (
        PLAIN,
        b"17,nan,2,3\n",
        BadReason.NOT_A_NUMBER,
        'cell_voltage 1: expected a number, got "nan"',
    ),
    (
        PLAIN,
        b"17,1,2,inf\n",
        BadReason.NOT_A_NUMBER,
        'cell_voltage 3: expected a number, got "inf"',
    ),
    (
        PLAIN,
        b"17,1,2,1e999\n",
        BadReason.NOT_A_NUMBER,
        'cell_voltage 3: expected a number, got "1e999"',
    ),
    (
        PLAIN,
        b"17,1_0,2,3\n",
        BadReason.NOT_A_NUMBER,
        'cell_voltage 1: expected a number, got "1_0"',
    ),
    (PLAIN, b"1.5,1,2,3\n", BadReason.NOT_A_NUMBER, 'sequence: expected a whole number, got "1.5"'),
    (
        PLAIN,
        b"17,1,\xff,3\n",
        BadReason.MALFORMED,
        r'expected ASCII characters, got "17,1,\xff,3"',
    ),
    (
        csv(start="", check="none", longest_bytes=8),
        b"17,1,2,3,4\n",
        BadReason.TOO_LONG,
        "expected at most 8 bytes a line, got more",
    ),
    (
        csv(start="", check="none", separator=";", decimal=","),
        b"17;1,5;2.5;3\n",
        BadReason.NOT_A_NUMBER,
        'cell_voltage 2: expected a number with a decimal comma, got "2.5"',
    ),
    (
        key_value(),
        b"seq=1;c1=3;c3=3\n",
        BadReason.MALFORMED,
        'expected the key "c2", got a frame without it',
    ),
    (
        key_value(),
        b"seq=1;c1=3;c2=3;c1=3;c3=3\n",
        BadReason.MALFORMED,
        'expected the key "c1" once, got it twice',
    ),
    (
        key_value(),
        b"seq=1;c1=3;c2;c3=3\n",
        BadReason.MALFORMED,
        'expected key=value, got "c2"',
    ),
    (
        key_value(),
        b"seq=1;c1=3;c2=3.1V;c3=3\n",
        BadReason.NOT_A_NUMBER,
        'cell_voltage 2 at key "c2": expected a number, got "3.1V"',
    ),
]


@pytest.mark.parametrize(
    ("layout", "line", "reason", "detail"),
    BAD_LINES,
    ids=[str(c[1]) + c[2].name for c in BAD_LINES],
)
def test_a_bad_line_gives_its_reason_and_no_value(
    layout: object, line: bytes, reason: BadReason, detail: str
) -> None:
    """One event, which says what was expected and what came."""
    assert (reason, detail) == only_bad(whole(layout, line))


def test_eleven_cells_instead_of_twelve_are_told() -> None:
    """The board of another revision on the bench."""
    layout = csv(FrameField(quantity="cell_voltage", channels=(1, 12)), start="", check="none")
    line = ",".join(["3300"] * 11).encode() + b"\n"
    assert "expected 12 fields, got 11" == only_bad(whole(layout, line))[1]


def test_ignored_fields_may_hold_anything() -> None:
    """Text, or nothing."""
    layout = csv(
        FrameField(quantity="ignored"),
        FrameField(quantity="stack_voltage"),
        FrameField(quantity="ignored"),
        start="",
        check="none",
    )
    assert [(39.6,)] == [f.values for f in good(whole(layout, b"fw_1.2,39.6,\n"))]


def test_keys_come_in_any_order_among_unknown_ones() -> None:
    """Spaces and a trailing separator are taken off."""
    (frame,) = good(whole(key_value(), b"c3=3; fan = off;c1=1;seq=9;c2=2;\n"))
    assert ((1.0, 2.0, 3.0), 9) == (frame.values, frame.sequence)


def test_flag_fields_may_share_a_key() -> None:
    """Each takes bits of its own."""
    layout = key_value(
        FrameField(quantity="thermistor_open", key="flags", channels=(1, 2), bit=0),
        FrameField(quantity="thermistor_short", key="flags", channels=(1, 2), bit=2),
    )
    assert [(1.0, 0.0, 0.0, 1.0)] == [f.values for f in good(whole(layout, b"flags=9\n"))]


def test_a_decimal_comma_needs_another_separator() -> None:
    """Otherwise no frame could be read."""
    with pytest.raises(DescriptionError) as caught:
        decoder_for(csv(decimal=","))
    assert 'frame.separator: expected another one than "," beside a decimal comma, got ","' == str(
        caught.value
    )
