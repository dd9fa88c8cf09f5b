"""Binary frames and resynchronisation."""

from __future__ import annotations

import math
import struct

import pytest
from protocol_layouts import binary, good, only_bad, reasons, whole

from harness.descriptions.board import BinaryFrame, FrameField
from harness.protocols.binary_frames import NOISE_BYTES, BinaryDecoder
from harness.protocols.frame_decoder import decoder_for
from harness.protocols.frame_encoder import encoder_for
from harness.protocols.frame_events import BadFrame, BadReason, GoodFrame, PartialFrame

FRAME = encoder_for(binary()).encode([3.3, 3.301, 3.302], 17)


def test_a_frame_gives_its_values() -> None:
    """Every field type in both byte orders, mixed in one frame."""
    types = ["u8", "i8", "u16le", "u16be", "i16le", "i16be", "u32le", "u32be", "i32le", "i32be"]
    fields = [
        FrameField(quantity="cell_voltage", channels=(at, at), type=name)  # type: ignore[arg-type]
        for at, name in enumerate([*types, "f32le", "f32be"], start=1)
    ]
    layout = binary(*fields, check="none")
    payload = (
        struct.pack("<BbH", 1, -2, 3)
        + struct.pack(">H", 4)
        + struct.pack("<h", -5)
        + struct.pack(">h", -6)
        + struct.pack("<I", 7)
        + struct.pack(">I", 8)
        + struct.pack("<i", -9)
        + struct.pack(">i", -10)
        + struct.pack("<f", 1.5)
        + struct.pack(">f", -2.5)
    )
    frames = good(whole(layout, 2 * (b"\xa5\x5a" + payload) + b"\xa5\x5a"))
    assert [(1, -2, 3, 4, -5, -6, 7, 8, -9, -10, 1.5, -2.5)] * 2 == [f.values for f in frames]


def test_ignored_bytes_are_passed_over() -> None:
    """With the width of their type."""
    layout = binary(
        FrameField(quantity="ignored", type="u32le", channels=(1, 2)),
        FrameField(quantity="stack_voltage", type="u8"),
        check="sum8",
    )
    data = bytes([0xA5, 0x5A, *range(8), 39, (sum(range(8)) + 39) & 0xFF])
    assert [(39.0,)] == [f.values for f in good(whole(layout, data))]


def test_a_marker_means_no_value() -> None:
    """65535 as declared."""
    (frame,) = good(whole(binary(), encoder_for(binary()).encode([3.3, math.nan, 3.3])))
    assert [False, True, False] == [math.isnan(value) for value in frame.values]


@pytest.mark.parametrize("order", ["little", "big"])
@pytest.mark.parametrize("covers", [True, False])
def test_the_check_is_where_and_as_declared(order: str, covers: bool) -> None:
    """Byte order, and whether the sync is covered."""
    layout = binary(check="crc32-iso", check_order=order, check_covers_sync=covers)
    other = binary(check="crc32-iso", check_order=order, check_covers_sync=not covers)
    data = encoder_for(layout).encode([1, 2, 3])
    assert 1 == len(good(whole(layout, data)))
    assert [BadReason.BAD_CHECK] == reasons(whole(other, data))


def test_a_bad_check_gives_no_value() -> None:
    """The detail names both checks."""
    broken = bytearray(FRAME)
    broken[4] ^= 1
    reason, detail = only_bad(whole(binary(), bytes(broken)))
    assert BadReason.BAD_CHECK is reason
    assert detail.startswith("expected the check ")


def test_a_nan_behind_a_good_check_is_bad() -> None:
    """A float field can carry one."""
    layout = binary(FrameField(quantity="stack_voltage", type="f32le"), check="sum8")
    payload = struct.pack("<f", math.nan)
    data = b"\xa5\x5a" + payload + bytes([sum(payload) & 0xFF])
    assert (
        BadReason.NOT_A_NUMBER,
        "stack_voltage: expected a finite number, got nan",
    ) == only_bad(whole(layout, data))


def test_the_frame_after_a_lost_byte_is_found() -> None:
    """The search goes on inside the frame that failed."""
    events = whole(binary(), FRAME[:5] + FRAME[6:] + FRAME)
    assert [BadFrame, GoodFrame] == [type(event) for event in events]


def test_sync_bytes_inside_a_payload_do_no_harm() -> None:
    """A cell reads 0x5AA5 millivolts; the frame before is broken."""
    inside = encoder_for(binary()).encode([0x5AA5 / 1000] * 3, 18)
    broken = bytearray(inside)
    broken[-1] ^= 0xFF
    events = whole(binary(), inside + bytes(broken) + inside)
    assert [GoodFrame, BadFrame, GoodFrame] == [type(event) for event in events]
    assert [BadReason.BAD_CHECK] == reasons(events)


def test_noise_between_frames_is_reported_once() -> None:
    """With the bytes."""
    events = whole(binary(), FRAME + b"garbage" + FRAME)
    assert [GoodFrame, BadFrame, GoodFrame] == [type(event) for event in events]
    noise = events[1]
    assert isinstance(noise, BadFrame)
    assert (BadReason.NOISE, b"garbage") == (noise.reason, noise.raw)
    assert "expected the sync bytes A5 5A, got 7 bytes without them" == noise.detail


def test_the_frame_cut_by_the_opening_is_no_fault() -> None:
    """At most one frame's bytes, and only before the first good one."""
    events = decoder_for(binary()).receive(FRAME[3:] + FRAME + FRAME[3:] + FRAME)
    assert [PartialFrame, GoodFrame, BadFrame, GoodFrame] == [type(event) for event in events]


def test_endless_noise_is_reported_and_not_kept() -> None:
    """A wrong baud rate is heard of while the board talks."""
    decoder = BinaryDecoder(binary(), starts_mid_stream=False)
    events = [event for _ in range(100) for event in decoder.receive(b"\x00" * 1000)]
    assert 100_000 // NOISE_BYTES == len(events)
    assert len(decoder._buffer) <= NOISE_BYTES


def test_endless_syncs_do_not_grow_the_decoder() -> None:
    """The worst garbage: a sync at every second byte."""
    decoder = BinaryDecoder(binary(), starts_mid_stream=False)
    for _ in range(50):
        decoder.receive(b"\xa5\x5a" * 500)
    assert len(decoder._buffer) <= len(FRAME)


UNCHECKED: BinaryFrame = binary(check="none")


def test_without_a_check_lock_needs_two_syncs() -> None:
    """The rest of a frame that holds a sync gives no value."""
    inside = encoder_for(UNCHECKED).encode([0x5AA5 / 1000, 1.0, 2.0], 1)
    plain = encoder_for(UNCHECKED).encode([1.0, 2.0, 3.0], 2)
    frames = good(decoder_for(UNCHECKED).receive(inside[3:] + plain * 3))
    assert [(1.0, 2.0, 3.0)] * 3 == [frame.values for frame in frames]


def test_without_a_check_lock_is_lost_with_the_distance() -> None:
    """After a lost byte nothing is taken until two syncs fit again."""
    plain = encoder_for(UNCHECKED).encode([1.0, 2.0, 3.0], 2)
    frames = good(whole(UNCHECKED, plain * 2 + plain[:-1] + plain * 2 + b"\xa5\x5a"))
    assert all(f.values[:2] == (1.0, 2.0) for f in frames)
    assert 4 <= len(frames)
