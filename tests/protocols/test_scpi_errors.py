"""The error queue and the bits that errors set."""

from __future__ import annotations

import pytest

from harness.protocols.scpi_errors import (
    LONGEST_TEXT,
    ErrorQueue,
    EventBits,
    ScpiFault,
    error_reply,
    event_bit,
)
from harness.protocols.scpi_reply import parse_error


def test_the_queue_is_first_in_first_out() -> None:
    """And says so when it is empty."""
    queue = ErrorQueue()
    queue.push(-113, "FOO")
    queue.push(-222)
    assert [
        '-113,"Undefined header;FOO"',
        '-222,"Data out of range"',
        '0,"No error"',
    ] == [queue.pop() for _ in range(3)]


def test_overflow_replaces_the_last_entry() -> None:
    """The oldest errors, which explain the rest, are kept."""
    queue = ErrorQueue(length=2)
    entered = [queue.push(number) for number in (-101, -102, -103)]
    assert [-101, -102, -350] == entered
    assert [-101, -350] == [parse_error(queue.pop()).number for _ in range(2)]


@pytest.mark.parametrize(
    ("number", "bit"),
    [
        (0, EventBits(0)),
        (-100, EventBits.COMMAND_ERROR),
        (-199, EventBits.COMMAND_ERROR),
        (-222, EventBits.EXECUTION_ERROR),
        (-350, EventBits.DEVICE_ERROR),
        (-410, EventBits.QUERY_ERROR),
        (12, EventBits.DEVICE_ERROR),
    ],
)
def test_the_hundreds_choose_the_event_bit(number: int, bit: EventBits) -> None:
    """Positive numbers are the device's own."""
    assert bit == event_bit(number)


def test_a_long_text_is_cut_and_quotes_are_doubled() -> None:
    """So that the reply can be read back."""
    text = parse_error(error_reply(-113, '"' * 500)).text
    assert LONGEST_TEXT == len(text)
    assert 'Undefined header;"' == text[:18]


def test_a_fault_says_what_it_is() -> None:
    """For whoever drives a device outside of a message."""
    assert '-222,"Data out of range;61"' == str(ScpiFault(-222, "61"))
