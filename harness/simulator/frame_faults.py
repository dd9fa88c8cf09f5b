"""What a poor link or firmware does to frames: text for numbers, bad checks, garbage, gaps.

Works on frames already encoded; draws its luck from the generator it is given.
"""

from __future__ import annotations

import json
import math
import struct
from dataclasses import replace

import numpy as np

from harness.descriptions.board import BinaryFrame, FrameField, FrameLayout, JsonFrame, TextFrame
from harness.protocols.checks import CHECKS
from harness.simulator.faults import LinkFault


def shortened_layout(layout: FrameLayout, cells_sent: int | None) -> FrameLayout:
    """The layout of a firmware that sends only so many cell values; None changes nothing."""
    if cells_sent is None:
        return layout
    fields = [_shortened(field, cells_sent) for field in layout.fields]
    return replace(layout, fields=tuple(field for field in fields if field is not None))


def _shortened(field: FrameField, cells_sent: int) -> FrameField | None:
    if field.quantity != "cell_voltage":
        return field
    first, last = field.channels or (1, 1)
    if first > cells_sent:
        return None
    if field.channels is None or last <= cells_sent:
        return field
    return replace(field, channels=(first, cells_sent))


class FrameTampering:
    """Applies the planted link faults to one encoded frame after another."""

    def __init__(
        self, fault: LinkFault, layout: FrameLayout, generator: np.random.Generator
    ) -> None:
        self._fault = fault
        self._layout = layout
        self._generator = generator
        self._frames = 0
        self._is_clean = fault == replace(
            LinkFault(),
            silent_after_seconds=fault.silent_after_seconds,
            unplugged_after_seconds=fault.unplugged_after_seconds,
            cells_sent=fault.cells_sent,
            refresh_ratio=fault.refresh_ratio,
        )

    def tampered(self, frame: bytes) -> bytes:
        """The bytes that leave the board in place of `frame`; empty when it is dropped."""
        if self._is_clean:
            return frame
        fault = self._fault
        self._frames += 1
        before = b""
        if fault.noise_line and self._frames % fault.noise_line_every_frames == 0:
            before = fault.noise_line.encode("latin-1") + b"\r\n"
        if self._happens(fault.garbage_share):
            before += self._generator.bytes(fault.garbage_bytes)
        if self._happens(fault.dropped_share):
            return before
        if self._happens(fault.text_share):
            frame = with_text(frame, self._layout, fault.text_field, fault.text)
        if self._happens(fault.bad_check_share):
            frame = self._damaged(frame)
        return before + frame

    def _happens(self, share: float) -> bool:
        return share > 0 and self._generator.random() < share

    def _damaged(self, frame: bytes) -> bytes:
        """The frame with one digit or byte of its payload changed and its check left alone."""
        if isinstance(self._layout, BinaryFrame):
            at = len(self._layout.sync)
            return frame[:at] + bytes([frame[at] ^ 0x10]) + frame[at + 1 :]
        digits = [i for i, byte in enumerate(frame) if chr(byte).isdigit()]
        at = digits[len(digits) // 2] if digits else 0
        return frame[:at] + bytes([frame[at] ^ 0x01]) + frame[at + 1 :]


def with_text(frame: bytes, layout: FrameLayout, index: int, text: str) -> bytes:
    """The frame with `text` in field `index` (from 0), and a check that is right.

    A binary frame can carry no text: its field becomes a float's NaN when it is a float.
    """
    if isinstance(layout, TextFrame):
        return _text_in_line(frame, layout, index, text)
    if isinstance(layout, JsonFrame):
        return _text_in_json(frame, index, text)
    return _nan_in_binary(frame, layout, index)


def _text_in_line(frame: bytes, layout: TextFrame, index: int, text: str) -> bytes:
    line = frame.decode("latin-1")
    body = line.rstrip("\r\n")
    end = line[len(body) :]
    body = body.removeprefix(layout.start)
    if layout.check != "none":
        body = body.rpartition(layout.check_mark)[0]
    parts = body.split(layout.separator)
    at = min(index, len(parts) - 1)
    key, equals, _ = parts[at].partition("=")
    parts[at] = key + equals + text if layout.form == "key-value" else text
    body = layout.separator.join(parts)
    if layout.check == "none":
        return (layout.start + body + end).encode("latin-1")
    check = CHECKS[layout.check]
    digits = check.to_hex(check.compute(body.encode("latin-1")))
    return (layout.start + body + layout.check_mark + digits + end).encode("latin-1")


def _text_in_json(frame: bytes, index: int, text: str) -> bytes:
    record = json.loads(frame)
    key = list(record)[min(index, len(record) - 1)]
    if isinstance(record[key], list):
        record[key][0] = text
    else:
        record[key] = text
    end = frame[len(frame.rstrip(b"\r\n")) :]
    return json.dumps(record, separators=(",", ":")).encode() + end


def _nan_in_binary(frame: bytes, layout: BinaryFrame, index: int) -> bytes:
    kinds = [f.type for f in layout.fields for _ in range(_width(f))]
    kind = kinds[min(index, len(kinds) - 1)]
    if kind is None or not kind.startswith("f"):
        return frame
    check = CHECKS[layout.check]
    start = len(layout.sync)
    at = start + sum(int(k[1:3].rstrip("lb")) // 8 for k in kinds[:index] if k is not None)
    order = "<" if kind.endswith("le") else ">"
    payload = frame[start : len(frame) - check.size_bytes]
    payload = payload[: at - start] + struct.pack(order + "f", math.nan) + payload[at - start + 4 :]
    covered = frame[:start] + payload if layout.check_covers_sync else payload
    digits = check.compute(covered).to_bytes(check.size_bytes, layout.check_order)
    return frame[:start] + payload + digits


def _width(field: FrameField) -> int:
    if field.channels is None or field.bit is not None:
        return 1
    return field.channels[1] - field.channels[0] + 1
