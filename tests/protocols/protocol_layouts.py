"""Layouts that the tests of frames share, and ways to feed a decoder."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from harness.descriptions.board import BinaryFrame, FrameField, JsonFrame, TextFrame
from harness.protocols.frame_decoder import decoder_for
from harness.protocols.frame_events import BadFrame, BadReason, FrameEvent, GoodFrame

CELLS = FrameField(quantity="cell_voltage", channels=(1, 3), scale=0.001, invalid=(-1.0,))
SEQUENCE = FrameField(quantity="sequence")
FLAGS = FrameField(quantity="thermistor_open", channels=(1, 2), bit=0)


def csv(*fields: FrameField, **settings: Any) -> TextFrame:
    """A CSV layout: ">" start, CRC-16, sequence and three cells unless told otherwise."""
    chosen = {"start": ">", "check": "crc16-modbus", **settings}
    return TextFrame(form="csv", fields=fields or (SEQUENCE, CELLS), **chosen)


def key_value(*fields: FrameField, **settings: Any) -> TextFrame:
    """A key=value layout without a check: sequence and three cells in volts."""
    usual = (
        FrameField(quantity="sequence", key="seq"),
        FrameField(quantity="cell_voltage", channels=(1, 3), key="c{channel}"),
    )
    chosen = {"separator": ";", **settings}
    return TextFrame(form="key-value", fields=fields or usual, **chosen)


def json_lines(*fields: FrameField, **settings: Any) -> JsonFrame:
    """A JSON layout: sequence and an array of three cells in volts."""
    usual = (
        FrameField(quantity="sequence", key="seq"),
        FrameField(quantity="cell_voltage", channels=(1, 3), key="bank.cells"),
    )
    return JsonFrame(form="json-lines", fields=fields or usual, **settings)


def binary(*fields: FrameField, **settings: Any) -> BinaryFrame:
    """A binary layout: A5 5A, sequence and three cells of 16 bits, CRC-16."""
    usual = (
        FrameField(quantity="sequence", type="u16le"),
        FrameField(
            quantity="cell_voltage",
            channels=(1, 3),
            type="u16le",
            scale=0.001,
            invalid=(65535.0,),
        ),
    )
    chosen = {"sync": (0xA5, 0x5A), **settings}
    return BinaryFrame(form="binary", fields=fields or usual, **chosen)


ALL_FORMS = {
    "csv": csv(),
    "csv decimal comma": csv(separator=";", decimal=",", check="none", start=""),
    "key-value": key_value(),
    "key-value with check": key_value(start="$", check="xor8"),
    "json-lines": json_lines(),
    "binary": binary(),
    "binary without check": binary(check="none"),
    "binary, sum, sync covered": binary(check="sum8", check_covers_sync=True),
}


def whole(layout: Any, data: bytes) -> list[FrameEvent]:
    """The events of a stream that is whole from its first byte."""
    return decoder_for(layout, starts_mid_stream=False).receive(data)


def in_pieces(layout: Any, data: bytes, cuts: Iterable[int], **how: bool) -> list[FrameEvent]:
    """The events of a stream received in pieces that end at `cuts`."""
    decoder = decoder_for(layout, **how)
    events: list[FrameEvent] = []
    begin = 0
    for end in (*sorted(cuts), len(data)):
        events += decoder.receive(data[begin:end])
        begin = end
    return events


def good(events: Sequence[FrameEvent]) -> list[GoodFrame]:
    """The good frames among `events`."""
    return [event for event in events if isinstance(event, GoodFrame)]


def reasons(events: Sequence[FrameEvent]) -> list[BadReason]:
    """The reasons of the bad frames among `events`."""
    return [event.reason for event in events if isinstance(event, BadFrame)]


def only_bad(events: Sequence[FrameEvent]) -> tuple[BadReason, str]:
    """Reason and detail of the one event, which is bad."""
    (event,) = events
    assert isinstance(event, BadFrame)
    return event.reason, event.detail
