"""Binary frames: sync bytes, fields of fixed layout, check.

The start byte may occur inside a payload, so a sync that the check disproves is passed over
and the search goes on right behind its first byte. Memory is bounded by one frame and
`NOISE_BYTES`.
"""

from __future__ import annotations

import itertools
import struct
from collections.abc import Sequence

from harness.descriptions.board import BinaryFrame
from harness.protocols.checks import CHECKS
from harness.protocols.frame_columns import Column, WireSlot, type_bits, wire_slots
from harness.protocols.frame_events import (
    BadFrame,
    BadReason,
    FrameEvent,
    FrameFault,
    GoodFrame,
    PartialFrame,
)
from harness.protocols.frame_values import ValueReader

# Bytes without a sync are reported in pieces of this size, so that a board at the wrong baud
# rate is heard of while it talks.
NOISE_BYTES = 1024

_CODES = {"u8": "B", "i8": "b", "u16": "H", "i16": "h", "u32": "I", "i32": "i", "f32": "f"}


def type_code(binary_type: str) -> str:
    """Byte order and `struct` code of a binary type: "u16le" gives "<H"."""
    order = ">" if binary_type.endswith("be") else "<"
    return order + _CODES[binary_type.removesuffix("le").removesuffix("be")]


def packed_runs(slots: Sequence[WireSlot]) -> list[struct.Struct]:
    """The layout of `slots` back to back, one `Struct` for each run of one byte order.

    Ignored fields are padding, so the runs hold one number for each of the other slots.
    """
    codes = [(type_code(slot.field.type or ""), slot) for slot in slots]
    return [
        struct.Struct(
            order
            + "".join(
                f"{type_bits(slot.field.type or '') // 8}x" if slot.role == "ignored" else code[1]
                for code, slot in run
            )
        )
        for order, run in itertools.groupby(codes, key=lambda pair: pair[0][0])
    ]


def _itself(number: float) -> float:
    return number


class BinaryParser:
    """One candidate frame: check and fields."""

    def __init__(self, layout: BinaryFrame) -> None:
        slots = wire_slots(layout)
        runs = packed_runs(slots)
        offsets = itertools.accumulate((run.size for run in runs), initial=0)
        self._runs = list(zip(runs, offsets, strict=False))
        self._check = CHECKS[layout.check]
        self._order = layout.check_order
        self.sync = bytes(layout.sync)
        self.has_check = self._check.bits > 0
        self._payload_begin = len(self.sync)
        self._payload_end = self._payload_begin + sum(run.size for run in runs)
        self._checked_from = 0 if layout.check_covers_sync else self._payload_begin
        self.length = self._payload_end + self._check.size_bytes
        kept = [slot for slot in slots if slot.role != "ignored"]
        self._reader = ValueReader(kept, _itself)
        self.columns: tuple[Column, ...] = self._reader.columns

    def verify(self, frame: bytes) -> None:
        """Compare the check of `frame`.

        Raises
        ------
        FrameFault : they differ.
        """
        computed = self._check.compute(frame[self._checked_from : self._payload_end])
        written = int.from_bytes(frame[self._payload_end :], self._order)
        if computed != written:
            raise FrameFault(
                BadReason.BAD_CHECK,
                f"expected the check {self._check.to_hex(computed)}, "
                f"got {self._check.to_hex(written)}",
            )

    def values(self, frame: bytes) -> GoodFrame:
        """The frame whose check has been verified.

        Raises
        ------
        FrameFault : a number is not finite.
        """
        raws: tuple[float, ...] = ()
        for run, offset in self._runs:
            raws += run.unpack_from(frame, self._payload_begin + offset)
        return self._reader.read(raws, frame)


class BinaryDecoder:
    """Finds frames in a byte stream that may be cut anywhere.

    Parameters
    ----------
    starts_mid_stream : the first bytes may be the rest of a frame, which is then no fault.

    Notes
    -----
    Without a check nothing tells a sync from the same bytes inside a payload. Such a layout is
    locked on to only where one sync follows another at the distance of a frame, and lock is
    lost where none follows.
    """

    def __init__(self, layout: BinaryFrame, *, starts_mid_stream: bool = True) -> None:
        self._parser = BinaryParser(layout)
        self.columns: tuple[Column, ...] = self._parser.columns
        self._buffer = bytearray()
        # Bytes of the stream that may belong to the frame cut by the opening.
        self._partial_bytes = self._parser.length - 1 if starts_mid_stream else 0
        self._passed = 0  # bytes of the stream before the buffer
        self._at = 0  # next byte to examine
        self._unexplained = 0  # first byte behind all that is reported
        self._is_locked = False

    def receive(self, data: bytes) -> list[FrameEvent]:
        """The events that `data` completes, in the order of the stream."""
        self._buffer += data
        events: list[FrameEvent] = []
        while self._advance(events):
            pass
        self._forget()
        return events

    def _advance(self, events: list[FrameEvent]) -> bool:
        """Examine the next sync; False when more bytes are needed."""
        sync = self._parser.sync
        at = self._buffer.find(sync, self._at)
        if not sync.startswith(bytes(self._buffer[self._at : self._at + len(sync)])):
            self._is_locked = False
        if at < 0:
            self._at = max(self._at, len(self._buffer) - len(sync) + 1)
            self._report_noise(events, self._at, is_whole=False)
            return False
        self._at = at
        self._report_noise(events, at, is_whole=True)
        end = at + self._parser.length
        if len(self._buffer) < end + (0 if self._is_trusted() else len(sync)):
            return False
        self._judge(events, at, end)
        return True

    def _is_trusted(self) -> bool:
        return self._parser.has_check or self._is_locked

    def _judge(self, events: list[FrameEvent], at: int, end: int) -> None:
        """Decide on the candidate from `at` to `end`."""
        frame = bytes(self._buffer[at:end])
        if not self._is_trusted() and not self._buffer.startswith(self._parser.sync, end):
            self._at = at + 1
            return
        try:
            self._parser.verify(frame)
        except FrameFault as fault:
            self._pass_over(events, frame, fault, at, end)
            return
        self._at = self._unexplained = end
        self._is_locked = True
        self._partial_bytes = 0
        try:
            events.append(self._parser.values(frame))
        except FrameFault as fault:
            events.append(BadFrame(fault.reason, fault.detail, frame))

    def _pass_over(
        self, events: list[FrameEvent], frame: bytes, fault: FrameFault, at: int, end: int
    ) -> None:
        """Go on behind the first byte of a disproved sync; report it unless it lies inside
        a frame that has been reported already."""
        if at >= self._unexplained:
            if self._passed + at < self._partial_bytes:
                events.append(PartialFrame(frame))
            else:
                events.append(BadFrame(fault.reason, fault.detail, frame))
            self._unexplained = end
        self._at = at + 1

    def _report_noise(self, events: list[FrameEvent], end: int, *, is_whole: bool) -> None:
        """Report unexplained bytes before `end`; an unfinished stretch in full pieces only."""
        while end - self._unexplained >= (1 if is_whole else NOISE_BYTES):
            begin = self._unexplained
            piece = bytes(self._buffer[begin : min(end, begin + NOISE_BYTES)])
            self._unexplained += len(piece)
            if self._passed + self._unexplained <= self._partial_bytes:
                events.append(PartialFrame(piece))
            else:
                sync = self._parser.sync.hex(" ").upper()
                events.append(
                    BadFrame(
                        BadReason.NOISE,
                        f"expected the sync bytes {sync}, got {len(piece)} bytes without them",
                        piece,
                    )
                )

    def _forget(self) -> None:
        """Drop the bytes that are both examined and reported."""
        done = min(self._at, self._unexplained)
        if done:
            del self._buffer[:done]
            self._passed += done
            self._at -= done
            self._unexplained -= done
