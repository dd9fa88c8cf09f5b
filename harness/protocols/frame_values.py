"""From what stands in a frame to its values: scale, offset, flag bits, "no value" markers.

The one place where raw numbers become SI values, common to all framings. A number that is not
finite is never a value.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from operator import getitem, itemgetter
from typing import Any

from harness.protocols.frame_columns import FLAGS, Column, WireSlot
from harness.protocols.frame_events import BadReason, FrameFault, GoodFrame, excerpt

# All counts of 16 bits fit; texts longer than any sensible number are read each time.
_REMEMBERED = 1 << 16
_LONGEST_REMEMBERED = 12


class SlotNumbers(dict[Any, float]):
    """What stands on the wire, to the number it means in slots of one kind.

    A board repeats the same few thousand values for ever, and looking one up costs less than
    reading, checking and scaling it anew. Memory is bounded by `_REMEMBERED` entries.

    Parameters
    ----------
    slot : a slot of the kind.
    read : from what stands on the wire to the raw number, None for "no value"; raises
        ValueError.
    """

    def __init__(self, slot: WireSlot, read: Callable[[Any], float | None]) -> None:
        super().__init__()
        self._read = read
        self._field = slot.field
        self._is_flag = bool(slot.columns) and slot.columns[0][0] in FLAGS
        self._is_sequence = slot.role == "sequence"
        self._comes_again = bool(slot.columns)  # sequence and uptime do not

    def __missing__(self, written: Any) -> float:
        """As `fresh`, remembered where it is worth it."""
        number = self.fresh(written)
        is_short = not isinstance(written, str) or len(written) <= _LONGEST_REMEMBERED
        if self._comes_again and is_short:
            if len(self) >= _REMEMBERED:
                self.clear()
            self[written] = number
        return number

    def fresh(self, written: Any) -> float:
        """The number that `written` means; NaN for a "no value" marker.

        SI for values and the uptime; as it is for the sequence and for flags with `bit`; 0 or
        1 for flags without.

        Raises
        ------
        ValueError : it is no finite number, or a flag or sequence is not whole.
        """
        if isinstance(written, bool) and not self._is_flag:
            raise ValueError("expected a number")
        raw = self._read(written)
        if raw is None or raw in self._field.invalid:
            return math.nan
        if self._is_flag:
            return self._flag(raw)
        if self._is_sequence:
            return _whole(raw)
        number = raw * self._field.scale + self._field.offset
        if not math.isfinite(number):
            raise ValueError("expected a finite number")
        return number

    def _flag(self, raw: float) -> float:
        if raw < 0:
            raise ValueError("expected a number that is not negative")
        return _whole(raw) if self._field.bit is not None else float(_whole(raw) != 0)


def _whole(raw: float) -> float:
    if raw % 1:  # NaN, so true, for NaN and infinity as well
        raise ValueError("expected a whole number")
    return raw


class ValueReader:
    """Reads the frames of one layout.

    Parameters
    ----------
    slots : the slots whose contents `read` is given, in that order; ignored ones left out.
    read : from what stands on the wire to a raw number, None for "no value"; raises ValueError.
    """

    def __init__(self, slots: Sequence[WireSlot], read: Callable[[Any], float | None]) -> None:
        self._slots = tuple(slots)
        self.columns: tuple[Column, ...] = tuple(c for slot in slots for c in slot.columns)
        kinds: dict[object, SlotNumbers] = {}
        self._numbers = [kinds.setdefault(_kind(slot), SlotNumbers(slot, read)) for slot in slots]
        self._gather = _gatherer([at for at, slot in enumerate(slots) for _ in slot.columns])
        self._bits = _bit_places(slots)
        self._sequence = _place_of("sequence", slots)
        self._uptime = _place_of("uptime", slots)

    def read(self, written: Sequence[Any], raw: bytes) -> GoodFrame:
        """The frame of these contents, one a slot; `raw` is the frame as received.

        Raises
        ------
        FrameFault : one of them is no finite number, or not whole where it must be.
        """
        try:
            numbers = list(map(getitem, self._numbers, written))
        except ValueError:
            raise self._fault(written) from None
        return self._frame(numbers, raw)

    def read_fresh(self, written: Sequence[Any], raw: bytes) -> GoodFrame:
        """As `read`, without memory: for contents that compare equal and differ, as true and
        1 do, or that cannot be looked up.

        Raises
        ------
        FrameFault : as `read`.
        """
        try:
            numbers = [n.fresh(w) for n, w in zip(self._numbers, written, strict=True)]
        except ValueError:
            raise self._fault(written) from None
        return self._frame(numbers, raw)

    def _frame(self, numbers: Sequence[float], raw: bytes) -> GoodFrame:
        values = self._gather(numbers)
        if self._bits:
            values = self._with_bits(values, numbers)
        return GoodFrame(
            tuple(values),
            None if self._sequence is None else _counted(numbers[self._sequence]),
            None if self._uptime is None else _present(numbers[self._uptime]),
            raw,
        )

    def _with_bits(self, values: Sequence[float], numbers: Sequence[float]) -> Sequence[float]:
        """The values with flag numbers resolved into one bit a channel."""
        spread = list(values)
        for at, column, bit in self._bits:
            number = numbers[at]
            if number == number:  # NaN, "no value", holds for every bit
                spread[column] = float(int(number) >> bit & 1)
        return spread

    def _fault(self, written: Sequence[Any]) -> FrameFault:
        """The fault of the first of `written` that is not what its slot needs."""
        for slot, numbers, content in zip(self._slots, self._numbers, written, strict=True):
            try:
                numbers.fresh(content)
            except ValueError as error:
                return FrameFault(
                    BadReason.NOT_A_NUMBER, f"{slot.label}: {error}, got {_shown(content)}"
                )
        return FrameFault(BadReason.NOT_A_NUMBER, "expected numbers only")


def _shown(content: Any) -> str:
    if isinstance(content, bool):
        return str(content).lower()
    return f'"{excerpt(content)}"' if isinstance(content, str) else excerpt(str(content))


def _counted(number: float) -> int | None:
    """The sequence number; None where the board marked it as absent."""
    return int(number) if number == number else None


def _present(number: float) -> float | None:
    return number if number == number else None


def _kind(slot: WireSlot) -> object:
    """Slots of equal kind mean the same by the same contents."""
    field = slot.field
    group = slot.columns[0][0] in FLAGS if slot.columns else slot.role
    return group, field.scale, field.offset, field.invalid, field.bit is None


def _bit_places(slots: Sequence[WireSlot]) -> list[tuple[int, int, int]]:
    """(slot, column, bit) of each flag that is one bit of a number."""
    places: list[tuple[int, int, int]] = []
    column = 0
    for at, slot in enumerate(slots):
        if slot.field.bit is not None:
            places += [(at, column + i, slot.field.bit + i) for i in range(len(slot.columns))]
        column += len(slot.columns)
    return places


def _place_of(role: str, slots: Sequence[WireSlot]) -> int | None:
    return next((at for at, slot in enumerate(slots) if slot.role == role), None)


def _gatherer(places: list[int]) -> Callable[[Sequence[float]], Sequence[float]]:
    """What picks the numbers at `places`; a slice where they follow each other."""
    begin = places[0] if places else 0
    if places == list(range(begin, begin + len(places))):
        return itemgetter(slice(begin, begin + len(places)))
    return itemgetter(*places)
