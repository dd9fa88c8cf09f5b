"""Checks by their declared names; their values are in tests/published."""

from __future__ import annotations

import typing

import pytest

from harness.descriptions.board import CheckName
from harness.protocols.checks import CHECKS, sum8, xor8


def test_every_declared_check_exists() -> None:
    """A description cannot name one that the decoder lacks."""
    assert set(typing.get_args(CheckName)) == set(CHECKS)


@pytest.mark.parametrize("name", [name for name in CHECKS if name != "none"])
def test_a_flipped_bit_is_found(name: CheckName) -> None:
    """By each check, wherever it is."""
    check = CHECKS[name]
    frame = bytearray(range(20))
    before = check.compute(bytes(frame))
    for bit in range(8 * len(frame)):
        frame[bit // 8] ^= 1 << bit % 8
        assert before != check.compute(bytes(frame))
        frame[bit // 8] ^= 1 << bit % 8


@pytest.mark.parametrize(
    ("name", "expected"), [("none", 1.0), ("xor8", 1 / 256), ("crc32-iso", 2**-32)]
)
def test_the_residual_probability_is_two_to_the_minus_bits(
    name: CheckName, expected: float
) -> None:
    """What garbage passes with."""
    assert expected == CHECKS[name].residual_probability


def test_simple_checks_are_simple() -> None:
    """Exclusive or, and the sum without carry."""
    assert (0x12 ^ 0xFE, (0x12 + 0xFE) & 0xFF) == (xor8(b"\x12\xfe"), sum8(b"\x12\xfe"))


def test_hex_keeps_leading_zeros() -> None:
    """In upper case, as wide as the check."""
    assert ("0A", "000A", 2, 4) == (
        CHECKS["xor8"].to_hex(10),
        CHECKS["crc16-arc"].to_hex(10),
        CHECKS["crc16-arc"].size_bytes,
        CHECKS["crc16-arc"].hex_digits,
    )
