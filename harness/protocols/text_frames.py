"""Text lines to frames: CSV and key=value, with an optional start and check.

A parser is given one line and returns its frame or raises `FrameFault`; it keeps nothing
between lines. The check is verified before a number is looked at.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from harness.descriptions.board import TextFrame
from harness.errors import DescriptionError
from harness.protocols.checks import CHECKS
from harness.protocols.frame_columns import Column, wire_slots
from harness.protocols.frame_events import BadReason, FrameFault, GoodFrame, excerpt
from harness.protocols.frame_values import ValueReader

_HEX_DIGITS = frozenset(b"0123456789abcdefABCDEF")


class Envelope:
    """What stands round the fields of a text line: start, check mark, check."""

    def __init__(self, layout: TextFrame) -> None:
        self._start = layout.start.encode()
        self._mark = layout.check_mark.encode()
        self._check = CHECKS[layout.check]
        self._compute = self._check.compute
        self._digits = self._check.hex_digits
        # The usual spelling, compared first because it is fast: upper case, nothing behind.
        self._written = b"%%0%dX" % self._digits

    def payload(self, line: bytes) -> bytes:
        """The characters between start and mark; without a check, all after the start.

        Raises
        ------
        FrameFault : no start (noise), no check (malformed), another check (bad check).
        """
        start = self._start
        if start:
            if not line.startswith(start):
                raise FrameFault(
                    BadReason.NOISE,
                    f'expected a line that begins with "{start.decode()}", got "{excerpt(line)}"',
                )
            line = line[len(start) :]
        if not self._digits:
            return line
        payload, mark, written = line.rpartition(self._mark)
        if not mark:
            raise self._without_check(line)
        computed = self._compute(payload)
        if written != self._written % computed and computed != self._read_check(written):
            raise FrameFault(
                BadReason.BAD_CHECK,
                f"expected the check {self._check.to_hex(computed)}, "
                f"got {written.strip().decode('ascii').upper()}",
            )
        return payload

    def _read_check(self, written: bytes) -> int:
        digits = written.rstrip()
        if len(digits) != self._digits or not _HEX_DIGITS.issuperset(digits):
            raise FrameFault(
                BadReason.MALFORMED,
                f'expected {self._digits} hex digits after "{self._mark.decode()}", '
                f'got "{excerpt(written)}"',
            )
        return int(digits, 16)

    def _without_check(self, line: bytes) -> FrameFault:
        return FrameFault(
            BadReason.MALFORMED,
            f'expected "{self._mark.decode()}" and {self._digits} hex digits at the end, '
            f'got "{excerpt(line[-12:])}"',
        )


def number_reader(layout: TextFrame) -> Callable[[str], float]:
    """What reads a number as the layout writes it: decimal point or comma, no grouping.

    The result raises ValueError for a text that is no finite number.

    Raises
    ------
    DescriptionError : decimal commas between fields that a comma separates.
    """
    if layout.decimal == ".":
        return _read_point
    if "," in layout.separator:
        raise DescriptionError(
            'frame.separator: expected another one than "," beside a decimal comma, '
            f'got "{layout.separator}"'
        )
    return _read_comma


def _read_point(text: str) -> float:
    try:
        number = math.nan if "_" in text else float(text)  # "1_000" is Python, not a number
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise ValueError("expected a number")
    return number


def _read_comma(text: str) -> float:
    if "." in text:
        raise ValueError("expected a number with a decimal comma")
    return _read_point(text.replace(",", "."))


def _ascii(payload: bytes) -> str:
    """The payload as text.

    Raises
    ------
    FrameFault : a byte beyond ASCII: the wrong baud rate makes many of them.
    """
    try:
        return payload.decode("ascii")
    except UnicodeDecodeError:
        raise FrameFault(
            BadReason.MALFORMED, f'expected ASCII characters, got "{excerpt(payload)}"'
        ) from None


class CsvParser:
    """Lines of fields in a fixed order."""

    def __init__(self, layout: TextFrame) -> None:
        slots = wire_slots(layout)
        self._envelope = Envelope(layout)
        self._separator = layout.separator
        self._fields = len(slots)
        kept = [slot for slot in slots if slot.role != "ignored"]
        places = [at for at, slot in enumerate(slots) if slot.role != "ignored"]
        self._pick = None if len(kept) == len(slots) else places
        self._reader = ValueReader(kept, number_reader(layout))
        self.columns: tuple[Column, ...] = self._reader.columns

    def parse(self, line: bytes) -> GoodFrame:
        """The frame in `line`.

        Raises
        ------
        FrameFault : whatever is wrong with it.
        """
        text = _ascii(self._envelope.payload(line))
        fields = text.split(self._separator)
        if len(fields) != self._fields:
            raise FrameFault(
                BadReason.WRONG_FIELD_COUNT,
                f"expected {self._fields} fields, got {len(fields)}",
            )
        if self._pick is not None:
            fields = [fields[at] for at in self._pick]
        return self._reader.read(fields, line)


class KeyValueParser:
    """Lines of key=value pairs in any order; keys that no field names are passed over."""

    def __init__(self, layout: TextFrame) -> None:
        self._envelope = Envelope(layout)
        self._separator = layout.separator
        kept = [slot for slot in wire_slots(layout) if slot.role != "ignored"]
        self._keys = [slot.path[0] for slot in kept]
        self._known = frozenset(self._keys)
        self._reader = ValueReader(kept, number_reader(layout))
        self.columns: tuple[Column, ...] = self._reader.columns

    def parse(self, line: bytes) -> GoodFrame:
        """The frame in `line`.

        Raises
        ------
        FrameFault : whatever is wrong with it.
        """
        pairs = self._pairs(_ascii(self._envelope.payload(line)))
        if not self._known <= pairs.keys():
            missing = next(key for key in self._keys if key not in pairs)
            raise FrameFault(
                BadReason.MALFORMED, f'expected the key "{missing}", got a frame without it'
            )
        return self._reader.read([pairs[key] for key in self._keys], line)

    def _pairs(self, text: str) -> dict[str, str]:
        pairs: dict[str, str] = {}
        for part in text.split(self._separator):
            key, equals, value = part.partition("=")
            key = key.strip()
            if not equals:
                if not key:
                    continue  # a trailing separator
                raise FrameFault(BadReason.MALFORMED, f'expected key=value, got "{excerpt(part)}"')
            if key in pairs:
                raise FrameFault(
                    BadReason.MALFORMED, f'expected the key "{excerpt(key)}" once, got it twice'
                )
            pairs[key] = value
        return pairs
