"""Checks that protect frames: exclusive or, sum and the catalogued CRCs, by declared name.

The CRCs come from fastcrc, which is verified against the published check values in
`tests/published`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import reduce
from operator import xor

from fastcrc import crc8, crc16, crc32

from harness.descriptions.board import CheckName


def xor8(data: bytes) -> int:
    """Exclusive or of all bytes, as in NMEA 0183 sentences; 0 for no bytes."""
    return reduce(xor, data, 0)


def sum8(data: bytes) -> int:
    """Sum of all bytes modulo 256; 0 for no bytes."""
    return sum(data) & 0xFF


@dataclass(frozen=True)
class Check:
    """One kind of check.

    compute : bytes to a non-negative number of `bits` bits.
    """

    name: CheckName
    bits: int
    compute: Callable[[bytes], int]

    @property
    def size_bytes(self) -> int:
        """Bytes of the check in a binary frame."""
        return self.bits // 8

    @property
    def hex_digits(self) -> int:
        """Hex digits of the check in a text frame."""
        return self.bits // 4

    @property
    def residual_probability(self) -> float:
        """Chance that a frame of random bytes passes: 2^-bits; 1 without a check."""
        return 2.0**-self.bits

    def to_hex(self, value: int) -> str:
        """The check as it stands in a text frame: upper-case, leading zeros."""
        return f"{value:0{self.hex_digits}X}"


def _no_check(data: bytes) -> int:
    del data
    return 0


def _all_checks() -> dict[CheckName, Check]:
    functions: dict[CheckName, tuple[int, Callable[[bytes], int]]] = {
        "none": (0, _no_check),
        "xor8": (8, xor8),
        "sum8": (8, sum8),
        "crc8-smbus": (8, crc8.smbus),
        "crc8-maxim": (8, crc8.maxim_dow),
        "crc16-modbus": (16, crc16.modbus),
        "crc16-ibm3740": (16, crc16.ibm_3740),
        "crc16-xmodem": (16, crc16.xmodem),
        "crc16-kermit": (16, crc16.kermit),
        "crc16-arc": (16, crc16.arc),
        "crc32-iso": (32, crc32.iso_hdlc),
    }
    return {name: Check(name, bits, compute) for name, (bits, compute) in functions.items()}


CHECKS: Mapping[CheckName, Check] = _all_checks()
