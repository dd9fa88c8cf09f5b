"""The decoder of a declared layout: bytes in, as they come, frame events out.

Sans-I/O: it neither opens nor waits. Any way of cutting the stream gives the same events; no
value is ever taken from a frame whose check is bad.
"""

from __future__ import annotations

from typing import Protocol

from harness.descriptions.board import BinaryFrame, FrameLayout, JsonFrame, TextFrame
from harness.protocols.binary_frames import BinaryDecoder
from harness.protocols.frame_columns import Column
from harness.protocols.frame_events import (
    BadFrame,
    BadReason,
    FrameEvent,
    FrameFault,
    GoodFrame,
    PartialFrame,
)
from harness.protocols.json_frames import JsonParser
from harness.protocols.line_splitter import LineSplitter
from harness.protocols.text_frames import CsvParser, KeyValueParser


class FrameDecoder(Protocol):
    """Turns the bytes of one board into events."""

    @property
    def columns(self) -> tuple[Column, ...]:
        """(quantity, channel) of each value of a good frame, in order."""
        ...

    def receive(self, data: bytes) -> list[FrameEvent]:
        """The events that `data` completes, in the order of the stream."""
        ...


def decoder_for(layout: FrameLayout, *, starts_mid_stream: bool = True) -> FrameDecoder:
    """A fresh decoder of `layout`.

    Parameters
    ----------
    starts_mid_stream : the stream was joined while the board was talking, so what comes
        before the first line end (before the first good binary frame, at most one frame) is a
        `PartialFrame` and no fault. False for a stream that is whole from its first byte.

    Raises
    ------
    DescriptionError : the layout cannot be decoded; see `frame_columns.wire_slots`.
    """
    if isinstance(layout, BinaryFrame):
        return BinaryDecoder(layout, starts_mid_stream=starts_mid_stream)
    return LineDecoder(layout, starts_mid_stream=starts_mid_stream)


class LineDecoder:
    """Decodes layouts that put one frame on a line."""

    def __init__(self, layout: TextFrame | JsonFrame, *, starts_mid_stream: bool = True) -> None:
        self._parser = _parser_of(layout)
        self._parse = self._parser.parse
        self.columns: tuple[Column, ...] = self._parser.columns
        self._longest = layout.longest_bytes
        self._start = b"" if isinstance(layout, JsonFrame) else layout.start.encode()
        self._splitter = LineSplitter(layout.longest_bytes)
        self._is_first = starts_mid_stream

    def receive(self, data: bytes) -> list[FrameEvent]:
        """The events that `data` completes, in the order of the stream."""
        events: list[FrameEvent] = []
        lines = self._splitter.receive(data)
        if self._is_first and lines:
            self._is_first = False
            first = lines.pop(0)
            if first:
                events.append(PartialFrame(first))
        for line in lines:
            try:
                if line and len(line) <= self._longest:
                    events.append(self._parse(line))
                elif line:
                    events.append(self._too_long(line))
            except FrameFault as fault:
                events += self._salvage(line, fault)
        return events

    def _too_long(self, line: bytes) -> BadFrame:
        return BadFrame(
            BadReason.TOO_LONG,
            f"expected at most {self._longest} bytes a line, got more",
            line[: self._longest],
        )

    def _salvage(self, line: bytes, fault: FrameFault) -> list[FrameEvent]:
        """A bad line, and the good frame behind the last start inside it, if there is one.

        A lost line end, or a broken frame cut short, glues the next frame to it.
        """
        if not line.strip(b" \t\0"):
            return []
        at = line.rfind(self._start) if self._start else 0
        if at > 0:
            try:
                frame = self._parse(line[at:])
            except FrameFault:
                pass
            else:
                lost = line[:at]
                found: list[FrameEvent] = [] if not lost.strip(b" \t\0") else [_glued(lost, fault)]
                return [*found, frame]
        return [BadFrame(fault.reason, fault.detail, line)]


def _glued(lost: bytes, fault: FrameFault) -> BadFrame:
    return BadFrame(fault.reason, f"{fault.detail}; the next frame began in the same line", lost)


def _parser_of(layout: TextFrame | JsonFrame) -> CsvParser | KeyValueParser | JsonParser:
    if isinstance(layout, JsonFrame):
        return JsonParser(layout)
    if layout.form == "csv":
        return CsvParser(layout)
    return KeyValueParser(layout)


__all__ = [
    "BadFrame",
    "BadReason",
    "FrameDecoder",
    "FrameEvent",
    "GoodFrame",
    "LineDecoder",
    "PartialFrame",
    "decoder_for",
]
