"""CRC-16 of Modbus over serial line: worked frames, low byte sent first.

Source: MODBUS over Serial Line V1.02, 6.2.2 and appendix B; MODBUS Application Protocol
V1.1b3, examples. Confidence: partly from memory. Tolerance 0: whole numbers.
"""

from __future__ import annotations

import pytest

from harness.descriptions.board import BinaryFrame, FrameField
from harness.protocols.checks import CHECKS
from harness.protocols.frame_decoder import decoder_for
from harness.protocols.frame_events import GoodFrame

CRC = CHECKS["crc16-modbus"].compute

FRAMES = [
    "02 07 41 12",
    "11 03 00 6B 00 03 76 87",
    "11 01 00 13 00 25 0E 84",
    "11 02 00 C4 00 16 BA A9",
    "11 04 00 08 00 01 B2 98",
    "01 03 00 00 00 0A C5 CD",
    "01 04 02 FF FF B8 80",
    "11 03 06 AE 41 56 52 43 40 49 AD",
    "01 03 00 00 00 02 C4 0B",
]


@pytest.mark.parametrize("frame", FRAMES)
def test_a_worked_frame_carries_its_crc_low_byte_first(frame: str) -> None:
    """The last two bytes are the CRC of the others."""
    data = bytes.fromhex(frame)
    assert data[-2:] == CRC(data[:-2]).to_bytes(2, "little")


@pytest.mark.parametrize("frame", FRAMES)
def test_a_frame_with_its_crc_has_crc_zero(frame: str) -> None:
    """The receiver's short cut."""
    assert 0 == CRC(bytes.fromhex(frame))


@pytest.mark.parametrize(
    ("data", "expected"), [(b"\x02\x07", 0x1241), (b"", 0xFFFF), (b"\x00", 0x40BF)]
)
def test_single_values(data: bytes, expected: int) -> None:
    """Appendix B's value, no bytes, one zero byte."""
    assert expected == CRC(data)


def test_a_layout_with_this_check_takes_a_worked_frame() -> None:
    """Two registers as a binary layout: address and function as sync, the CRC over all."""
    layout = BinaryFrame(
        form="binary",
        sync=(0x01, 0x03),
        fields=(FrameField(quantity="cell_voltage", channels=(1, 2), type="u16be"),),
        check="crc16-modbus",
        check_order="little",
        check_covers_sync=True,
    )
    decoder = decoder_for(layout, starts_mid_stream=False)
    (event,) = decoder.receive(bytes.fromhex("01 03 00 00 00 02 C4 0B"))
    assert isinstance(event, GoodFrame)
    assert (0.0, 2.0) == event.values
