"""Losses, repeats and restarts from sequence numbers."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from protocol_layouts import binary, csv, json_lines

from harness.descriptions.board import FrameField
from harness.protocols.sequence import SequenceTracker, sequence_modulus


def counts(numbers: Sequence[int | None], modulus: int | None) -> tuple[int, int, int, int]:
    """(gaps, missing, duplicates, resets) after these sequence numbers."""
    tracker = SequenceTracker(modulus)
    for number in numbers:
        tracker.feed(number)
    return tracker.gaps, tracker.missing, tracker.duplicates, tracker.resets


@pytest.mark.parametrize(
    ("numbers", "modulus", "expected"),
    [
        ([5, 6, 7], 256, (0, 0, 0, 0)),
        ([254, 255, 0, 1], 256, (0, 0, 0, 0)),
        ([1, 2, 5, 6], 256, (1, 2, 0, 0)),
        ([254, 1], 256, (1, 2, 0, 0)),
        ([7, 7, 8], 256, (0, 0, 1, 0)),
        ([200, 100], 256, (0, 0, 0, 1)),
        ([60000, 0, 1], 65536, (1, 5535, 0, 0)),
        ([20000, 0, 1], 65536, (0, 0, 0, 1)),
        ([1000000, 0], None, (0, 0, 0, 1)),
        ([65535, 0], None, (0, 0, 0, 0)),
        ([9999, 0], None, (0, 0, 0, 0)),
        ([1, 5], None, (1, 3, 0, 0)),
        ([None, 5, None, 6], None, (0, 0, 0, 0)),
    ],
)
def test_sequences_are_counted(
    numbers: Sequence[int | None], modulus: int | None, expected: tuple[int, int, int, int]
) -> None:
    """Wraps are no gaps; the nearer way round decides between gap and reset."""
    assert expected == counts(numbers, modulus)


def test_a_falling_uptime_is_a_restart() -> None:
    """Equal uptimes are not."""
    tracker = SequenceTracker()
    for uptime in (1.0, 1.0, 2.0, 0.5, 0.6):
        tracker.feed(None, uptime)
    assert 1 == tracker.uptime_drops


def test_the_width_of_a_binary_counter_is_its_modulus() -> None:
    """Text does not tell its width, nor is a signed counter trusted to wrap in full."""
    signed = binary(FrameField(quantity="sequence", type="i16le"))
    assert [65536, None, None, None] == [
        sequence_modulus(layout) for layout in (binary(), signed, csv(), json_lines())
    ]
