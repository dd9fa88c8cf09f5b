"""JSON lines to frames: one object a line, values at declared keys or in arrays.

null means "no value". A number must be a JSON number: text is none, and NaN and Infinity are
not JSON (RFC 8259, section 6). Keys that no field names are passed over.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, NoReturn

from harness.descriptions.board import JsonFrame
from harness.protocols.frame_columns import Column, WireSlot, wire_slots
from harness.protocols.frame_events import BadReason, FrameFault, GoodFrame, excerpt
from harness.protocols.frame_values import ValueReader


def _refuse_constant(name: str) -> NoReturn:
    raise FrameFault(BadReason.NOT_A_NUMBER, f"expected JSON numbers only, got {name}")


def _distinct(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise FrameFault(
            BadReason.MALFORMED, f'expected the key "{excerpt(twice)}" once, got it twice'
        )
    return found


_DECODER = json.JSONDecoder(object_pairs_hook=_distinct, parse_constant=_refuse_constant)


class JsonParser:
    """Lines that hold one JSON object each."""

    def __init__(self, layout: JsonFrame) -> None:
        self._slots = [slot for slot in wire_slots(layout) if slot.role != "ignored"]
        self._reader = ValueReader(self._slots, _read_number)
        self.columns: tuple[Column, ...] = self._reader.columns

    def parse(self, line: bytes) -> GoodFrame:
        """The frame in `line`.

        Raises
        ------
        FrameFault : whatever is wrong with it.
        """
        document = self._document(line)
        return self._reader.read_fresh(list(self._found(document)), line)

    def _document(self, line: bytes) -> dict[str, Any]:
        if not line.lstrip().startswith(b"{"):
            raise FrameFault(
                BadReason.NOISE, f'expected a line that begins with "{{", got "{excerpt(line)}"'
            )
        try:
            document: dict[str, Any] = _DECODER.decode(line.decode("utf-8"))
        except (ValueError, RecursionError) as error:
            # A deeply nested array runs into the interpreter's recursion limit.
            raise FrameFault(
                BadReason.MALFORMED, f'expected one JSON object, got "{excerpt(line)}" ({error})'
            ) from None
        return document

    def _found(self, document: dict[str, Any]) -> Iterator[Any]:
        for slot in self._slots:
            found: Any = document
            for key in slot.path:
                if not isinstance(found, dict) or key not in found:
                    raise FrameFault(
                        BadReason.MALFORMED,
                        f'expected the key "{".".join(slot.path)}", got a frame without it',
                    )
                found = found[key]
            yield found if slot.index is None else _element(slot, found)


def _element(slot: WireSlot, found: Any) -> Any:
    if not isinstance(found, list):
        raise FrameFault(
            BadReason.MALFORMED,
            f'key "{".".join(slot.path)}": expected an array, got "{excerpt(str(found))}"',
        )
    if len(found) != slot.count or slot.index is None:
        raise FrameFault(
            BadReason.WRONG_FIELD_COUNT,
            f'key "{".".join(slot.path)}": expected {slot.count} values, got {len(found)}',
        )
    return found[slot.index]


def _read_number(content: Any) -> float | None:
    if content is None:
        return None
    if isinstance(content, (int, float)):
        try:
            return float(content)
        except OverflowError:
            raise ValueError("expected a smaller number") from None
    raise ValueError("expected a number")
