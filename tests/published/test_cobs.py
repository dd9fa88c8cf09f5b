"""Consistent overhead byte stuffing: the table of worked encodings.

Source: the 1999 paper on consistent overhead byte stuffing and the widely copied example
table. Confidence: read in a public copy. Tolerance 0. No layout is framed this way yet; the
test holds the library that one would use to the published table. The 00 that ends a frame on
the wire is not part of the encoding.
"""

from __future__ import annotations

import pytest
from cobs import cobs

TO_FE = bytes(range(0x01, 0xFF))
TO_FF = bytes(range(0x01, 0x100))

TABLE = [
    (b"", b"\x01"),
    (b"\x00", b"\x01\x01"),
    (b"\x00\x00", b"\x01\x01\x01"),
    (b"\x00\x11\x00", b"\x01\x02\x11\x01"),
    (b"\x11\x22\x00\x33", b"\x03\x11\x22\x02\x33"),
    (b"\x11\x22\x33\x44", b"\x05\x11\x22\x33\x44"),
    (b"\x11\x00\x00\x00", b"\x02\x11\x01\x01\x01"),
    (TO_FE, b"\xff" + TO_FE),
    (b"\x00" + TO_FE, b"\x01\xff" + TO_FE),
    (TO_FF, b"\xff" + TO_FE + b"\x02\xff"),
    (TO_FF[1:] + b"\x00", b"\xff" + TO_FF[1:] + b"\x01\x01"),
    (TO_FF[2:] + b"\x00\x01", b"\xfe" + TO_FF[2:] + b"\x02\x01"),
]
ROWS = pytest.mark.parametrize(
    ("raw", "encoded"), TABLE, ids=[raw[:4].hex(" ") + f" ({len(raw)})" for raw, _ in TABLE]
)


@ROWS
def test_encoding(raw: bytes, encoded: bytes) -> None:
    """As the table has it."""
    assert encoded == cobs.encode(raw)


@ROWS
def test_decoding(raw: bytes, encoded: bytes) -> None:
    """Back again."""
    assert raw == cobs.decode(encoded)


def test_the_form_that_is_not_minimal_decodes_too() -> None:
    """A stored document ends 254 non-zero bytes with 01, which adds nothing."""
    assert TO_FE == cobs.decode(b"\xff" + TO_FE + b"\x01")


def test_the_overhead_is_at_most_one_byte_for_each_254() -> None:
    """The bound that the method is named after."""
    for length in (1, 253, 254, 255, 508, 509, 1000):
        raw = b"\x55" * length
        assert len(cobs.encode(raw)) <= length + -(-length // 254)
        assert b"\x00" not in cobs.encode(raw)
