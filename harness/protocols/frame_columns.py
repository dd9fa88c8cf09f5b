"""What a declared layout puts on the wire, and which columns of values come out of it.

A field of the description may span several channels. `wire_slots` lists the single numbers as
they travel, in order; `columns` the values a decoded frame has, in order. Sequence, uptime and
ignored fields travel but are no columns; a flag field with `bit` travels once and gives one
column a channel.
"""

from __future__ import annotations

from dataclasses import dataclass

from harness.descriptions.board import (
    BinaryFrame,
    FrameField,
    FrameLayout,
    JsonFrame,
    TextFrame,
)
from harness.errors import DescriptionError
from harness.observation import Quantity

Column = tuple[Quantity, int]

OBSERVED: dict[str, Quantity] = {
    "cell_voltage": Quantity.CELL_VOLTAGE,
    "stack_voltage": Quantity.STACK_VOLTAGE,
    "temperature": Quantity.TEMPERATURE,
    "thermistor_open": Quantity.THERMISTOR_OPEN,
    "thermistor_short": Quantity.THERMISTOR_SHORT,
}
FLAGS = frozenset({Quantity.THERMISTOR_OPEN, Quantity.THERMISTOR_SHORT})

# Quantities that exist once a board: their column has channel 0 when none is declared.
_SINGLE = frozenset({"stack_voltage"})

# The widest flag field that a description can ask for: bits 0 to 31.
_TEXT_FLAG_BITS = 32
TYPE_BITS = {"u8": 8, "i8": 8, "u16": 16, "i16": 16, "u32": 32, "i32": 32, "f32": 32}


@dataclass(frozen=True)
class WireSlot:
    """One number on the wire.

    columns : what it gives; empty for sequence, uptime and ignored fields, several for a flag
        field with `bit`.
    path : keys from the outside in, for key=value and JSON; empty otherwise.
    index : place in the array at `path`; None when it is no array.
    count : length of that array; 0 when it is no array.
    """

    field: FrameField
    columns: tuple[Column, ...]
    path: tuple[str, ...] = ()
    index: int | None = None
    count: int = 0

    @property
    def role(self) -> str:
        """The declared quantity, `sequence`, `uptime` or `ignored`."""
        return self.field.quantity

    @property
    def label(self) -> str:
        """How messages call it: "cell_voltage 3", with its key where it has one."""
        channel = f" {self.columns[0][1]}" if self.columns and self.columns[0][1] else ""
        key = f' at key "{".".join(self.path)}"' if self.path else ""
        return f"{self.role}{channel}{key}"


def columns(layout: FrameLayout) -> tuple[Column, ...]:
    """(quantity, channel) of each value of a decoded frame, in order.

    Channels count from 1; the stack voltage has channel 0.

    Raises
    ------
    DescriptionError : as `wire_slots`.
    """
    return tuple(column for slot in wire_slots(layout) for column in slot.columns)


def wire_slots(layout: FrameLayout) -> tuple[WireSlot, ...]:
    """The single numbers of a frame in the order in which the layout declares them.

    Raises
    ------
    DescriptionError : the layout cannot be decoded: a binary field without type, a text or
        JSON field without key, one column or key declared twice, flag bits beyond the field.
    """
    slots = tuple(
        slot
        for number, field in enumerate(layout.fields, start=1)
        for slot in _slots_of(layout, field, number)
    )
    _refuse_repeats(slots)
    return slots


def _slots_of(layout: FrameLayout, field: FrameField, number: int) -> list[WireSlot]:
    place = f"frame.fields {number} ({field.quantity})"
    channels = _channels(field, place)
    _require_decodable(layout, field, len(channels), place)
    quantity = OBSERVED.get(field.quantity)
    cells = [] if quantity is None else [(quantity, channel) for channel in channels]
    if field.bit is not None:
        path = _path(layout, field.key, channels[0])
        return [WireSlot(field, tuple(cells), path)]
    is_array = isinstance(layout, JsonFrame) and len(channels) > 1 and "{channel}" not in field.key
    return [
        WireSlot(
            field=field,
            columns=tuple(cells[at : at + 1]),
            path=_path(layout, field.key, channel),
            index=at if is_array else None,
            count=len(channels) if is_array else 0,
        )
        for at, channel in enumerate(channels)
    ]


def _channels(field: FrameField, place: str) -> tuple[int, ...]:
    if field.channels is None:
        return (0,) if field.quantity in _SINGLE else (1,)
    first, last = field.channels
    if last < first:
        raise DescriptionError(
            f"{place}: channels: expected the lower number first, got {first} to {last}"
        )
    return tuple(range(first, last + 1))


def _path(layout: FrameLayout, key: str, channel: int) -> tuple[str, ...]:
    named = key.replace("{channel}", str(channel))
    if isinstance(layout, JsonFrame):
        return tuple(named.split("."))
    if isinstance(layout, TextFrame) and layout.form == "key-value":
        return (named,)
    return ()


def _require_decodable(layout: FrameLayout, field: FrameField, count: int, place: str) -> None:
    if field.quantity in ("sequence", "uptime") and count > 1:
        raise DescriptionError(f"{place}: channels: expected none, got {count} of them")
    if field.bit is not None and OBSERVED.get(field.quantity) not in FLAGS:
        raise DescriptionError(f"{place}: bit: expected only with a thermistor flag")
    if field.scale == 0:
        raise DescriptionError(f"{place}: scale: expected a number other than 0, got 0")
    if isinstance(layout, BinaryFrame):
        _require_binary(field, count, place)
    elif not isinstance(layout, TextFrame) or layout.form == "key-value":
        _require_key(layout, field, count, place)
    _require_bits(field, count, place)


def _require_binary(field: FrameField, count: int, place: str) -> None:
    if field.type is None:
        raise DescriptionError(f'{place}: type: expected one such as "u16le", got none')
    if field.bit is not None and field.type.startswith("f"):
        raise DescriptionError(
            f'{place}: type: expected a whole-number type with bit, got "{field.type}"'
        )


def _require_bits(field: FrameField, count: int, place: str) -> None:
    if field.bit is None:
        return
    width = _TEXT_FLAG_BITS if field.type is None else type_bits(field.type)
    if field.bit + count > width:
        raise DescriptionError(
            f"{place}: bit: expected bits below {width}, got {field.bit} to {field.bit + count - 1}"
        )


def _require_key(layout: FrameLayout, field: FrameField, count: int, place: str) -> None:
    if field.quantity == "ignored" and not field.key:
        raise DescriptionError(
            f"{place}: expected a key; keys that no field names are ignored anyway"
        )
    if not field.key:
        raise DescriptionError(f"{place}: key: expected the name of the value, got none")
    is_spread = count > 1 and field.bit is None
    if is_spread and not isinstance(layout, JsonFrame) and "{channel}" not in field.key:
        raise DescriptionError(
            f'{place}: key: expected "{{channel}}" in the key of several channels, '
            f'got "{field.key}"'
        )


def type_bits(binary_type: str) -> int:
    """Width in bits of a binary type such as "u16le"."""
    return TYPE_BITS[binary_type.removesuffix("le").removesuffix("be")]


def _refuse_repeats(slots: tuple[WireSlot, ...]) -> None:
    seen: set[object] = set()
    for slot in slots:
        names: list[object] = list(slot.columns)
        if slot.role in ("sequence", "uptime"):
            names.append(slot.role)
        # Flag fields may share a key: each takes bits of its own.
        if slot.path and slot.field.bit is None:
            names.append((slot.path, slot.index))
        for name in names:
            if name in seen:
                raise DescriptionError(f"frame.fields: {slot.label}: declared twice")
            seen.add(name)
