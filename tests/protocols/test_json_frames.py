"""JSON lines."""

from __future__ import annotations

import math

import pytest
from protocol_layouts import good, json_lines, only_bad, reasons, whole

from harness.descriptions.board import FrameField
from harness.protocols.frame_events import BadReason


def test_an_object_gives_its_values() -> None:
    """Through nested keys and arrays; other keys are passed over."""
    line = b'{"name":"x","bank":{"cells":[3.1,3.2,3],"fan":null},"seq":4}\n'
    (frame,) = good(whole(json_lines(), line))
    assert ((3.1, 3.2, 3.0), 4) == (frame.values, frame.sequence)


def test_null_means_no_value() -> None:
    """JSON has no NaN; this is how boards leave a channel out."""
    (frame,) = good(whole(json_lines(), b'{"seq":null,"bank":{"cells":[3.1,null,3]}}\n'))
    assert math.isnan(frame.values[1])
    assert frame.sequence is None


def test_keys_may_name_the_channel() -> None:
    """Instead of an array."""
    layout = json_lines(FrameField(quantity="temperature", channels=(1, 2), key="t{channel}.c"))
    assert [(21.0, 22.0)] == [
        f.values for f in good(whole(layout, b'{"t1":{"c":21},"t2":{"c":22}}\n'))
    ]


def test_flags_may_be_true_and_false() -> None:
    """Values may not."""
    layout = json_lines(FrameField(quantity="thermistor_open", channels=(1, 2), key="open"))
    assert [(1.0, 0.0)] == [f.values for f in good(whole(layout, b'{"open":[true,false]}\n'))]


@pytest.mark.parametrize(
    ("line", "reason", "detail"),
    [
        (
            '{"seq":1,"bank":{"cells":[3,3]}}',
            BadReason.WRONG_FIELD_COUNT,
            'key "bank.cells": expected 3 values, got 2',
        ),
        (
            '{"seq":1,"bank":{"cells":3}}',
            BadReason.MALFORMED,
            'key "bank.cells": expected an array, got "3"',
        ),
        (
            '{"seq":1,"bank":[3,3,3]}',
            BadReason.MALFORMED,
            'expected the key "bank.cells", got a frame without it',
        ),
        (
            '{"bank":{"cells":[3,3,3]}}',
            BadReason.MALFORMED,
            'expected the key "seq", got a frame without it',
        ),
        (
            '{"seq":1,"bank":{"cells":[3,"3",3]}}',
            BadReason.NOT_A_NUMBER,
            'cell_voltage 2 at key "bank.cells": expected a number, got "3"',
        ),
        (
            '{"seq":1,"bank":{"cells":[3,true,3]}}',
            BadReason.NOT_A_NUMBER,
            'cell_voltage 2 at key "bank.cells": expected a number, got true',
        ),
        (
            '{"seq":1,"bank":{"cells":[3,NaN,3]}}',
            BadReason.NOT_A_NUMBER,
            "expected JSON numbers only, got NaN",
        ),
        (
            '{"seq":1,"bank":{"cells":[3,1e999,3]}}',
            BadReason.NOT_A_NUMBER,
            'cell_voltage 2 at key "bank.cells": expected a finite number, got inf',
        ),
        (
            '{"seq":1,"seq":2,"bank":{"cells":[3,3,3]}}',
            BadReason.MALFORMED,
            'expected the key "seq" once, got it twice',
        ),
        ("boot v1.2", BadReason.NOISE, 'expected a line that begins with "{", got "boot v1.2"'),
    ],
)
def test_a_bad_object_gives_its_reason_and_no_value(
    line: str, reason: BadReason, detail: str
) -> None:
    """One event, which says what was expected and what came."""
    assert (reason, detail) == only_bad(whole(json_lines(), line.encode() + b"\n"))


@pytest.mark.parametrize(
    "line",
    [
        b'{"seq":1,"bank":{"cells":[3,3',
        b'{"seq":1} {"seq":2}',
        b'{"seq":"\xff"}',
        b'{"a":' + b"[" * 3000,
        b'{"seq":' + b"9" * 4080 + b"}",
        b"{" * 2000,
    ],
)
def test_broken_and_hostile_objects_are_malformed(line: bytes) -> None:
    """Cut short, not UTF-8, nested deeper than the interpreter can go, absurdly long."""
    assert [BadReason.MALFORMED] == reasons(whole(json_lines(), line + b"\n"))


def test_a_number_beyond_floats_is_no_number() -> None:
    """A whole number of 400 digits is JSON, and no voltage."""
    line = b'{"seq":1,"bank":{"cells":[3,' + b"9" * 400 + b",3]}}\n"
    assert [BadReason.NOT_A_NUMBER] == reasons(whole(json_lines(), line))
