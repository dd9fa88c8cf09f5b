"""Check values of CRC algorithms for the ASCII string "123456789".

Source: the public catalogue of parametrised CRC algorithms. Confidence: partly from memory.
Tolerance 0: these are whole numbers. Each value is also worked out here bit by bit from the
algorithm's parameters, so a misremembered one would show.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest

from harness.descriptions.board import CheckName
from harness.protocols.checks import CHECKS

STRING = b"123456789"


class Algorithm(NamedTuple):
    """Parameters as the catalogue lists them; `ours` is the name in a board description."""

    ours: CheckName
    width: int
    poly: int
    init: int
    is_reflected: bool
    xorout: int
    check: int


CATALOGUE = {
    "CRC-16/MODBUS": Algorithm("crc16-modbus", 16, 0x8005, 0xFFFF, True, 0, 0x4B37),
    "CRC-16/ARC": Algorithm("crc16-arc", 16, 0x8005, 0, True, 0, 0xBB3D),
    "CRC-16/KERMIT": Algorithm("crc16-kermit", 16, 0x1021, 0, True, 0, 0x2189),
    "CRC-16/XMODEM": Algorithm("crc16-xmodem", 16, 0x1021, 0, False, 0, 0x31C3),
    "CRC-16/IBM-3740": Algorithm("crc16-ibm3740", 16, 0x1021, 0xFFFF, False, 0, 0x29B1),
    "CRC-8/SMBUS": Algorithm("crc8-smbus", 8, 0x07, 0, False, 0, 0xF4),
    "CRC-8/MAXIM-DOW": Algorithm("crc8-maxim", 8, 0x31, 0, True, 0, 0xA1),
    "CRC-32/ISO-HDLC": Algorithm(
        "crc32-iso", 32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF, 0xCBF43926
    ),
}

CASES = pytest.mark.parametrize("algorithm", CATALOGUE.values(), ids=list(CATALOGUE))


def reflected(value: int, bits: int) -> int:
    """The lowest `bits` bits in reverse order."""
    return int(f"{value:0{bits}b}"[::-1], 2)


def bit_by_bit(algorithm: Algorithm, data: bytes) -> int:
    """The CRC by its definition: long division, one bit at a time."""
    top = 1 << (algorithm.width - 1)
    mask = (1 << algorithm.width) - 1
    register = algorithm.init
    for byte in data:
        fed = reflected(byte, 8) if algorithm.is_reflected else byte
        register ^= fed << (algorithm.width - 8)
        for _ in range(8):
            register = (register << 1) ^ (algorithm.poly if register & top else 0)
        register &= mask
    if algorithm.is_reflected:
        register = reflected(register, algorithm.width)
    return register ^ algorithm.xorout


@CASES
def test_the_declared_check_gives_the_catalogued_value(algorithm: Algorithm) -> None:
    """The function behind each name of a board description."""
    assert algorithm.check == CHECKS[algorithm.ours].compute(STRING)


@CASES
def test_the_definition_gives_the_catalogued_value(algorithm: Algorithm) -> None:
    """Worked out from the parameters alone."""
    assert algorithm.check == bit_by_bit(algorithm, STRING)


@CASES
def test_the_declared_check_follows_the_definition_on_other_data(algorithm: Algorithm) -> None:
    """Lengths from none to more than a frame."""
    data = bytes(range(200))
    for length in (0, 1, 2, 63, 64, 200):
        assert bit_by_bit(algorithm, data[:length]) == CHECKS[algorithm.ours].compute(data[:length])


def test_every_crc_on_offer_is_catalogued() -> None:
    """A new one must come with its published check value."""
    assert {name for name in CHECKS if name.startswith("crc")} == {
        algorithm.ours for algorithm in CATALOGUE.values()
    }
