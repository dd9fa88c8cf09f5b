"""Faults inside one board file that types alone cannot tell: ranges and the frame layout."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from harness.descriptions.board import (
    BinaryFrame,
    BoardDescription,
    FrameField,
    TextFrame,
)
from harness.descriptions.faults import KeyPath, Remark
from harness.descriptions.model_checks import holes_of
from harness.descriptions.toml_text import alternatives, as_toml, figure

# Quantities with one value for each cell or thermistor, and those that are one of two states.
OF_CELLS = ("cell_voltage",)
OF_THERMISTORS = ("temperature", "thermistor_open", "thermistor_short")
FLAGS = ("thermistor_open", "thermistor_short")
# A flag word in text is a whole number; 32 bits are what `bit` can name.
BITS_OF_TEXT = 32


def board_remarks(board: BoardDescription) -> Iterator[Remark]:
    """All remarks about one board."""
    yield from _range_remarks(board)
    yield from _form_remarks(board)
    for index, field in enumerate(board.frame.fields):
        yield from _channel_remarks(board, field, ("frame", "fields", index))
        yield from _bit_remarks(field, ("frame", "fields", index))
        if field.scale == 0:
            yield Remark(("frame", "fields", index, "scale"), "a number other than 0", "0.0")
    yield from _coverage_remarks(board)


def channels_of(field: FrameField) -> tuple[int, ...]:
    """The channels that a field carries, counting from 1; none for a field of the whole board."""
    if field.channels is None:
        return ()
    first, last = field.channels
    return tuple(range(first, last + 1))


def _range_remarks(board: BoardDescription) -> Iterator[Remark]:
    inputs = board.cell_inputs
    if inputs.lowest_volts >= inputs.highest_volts:
        yield Remark(
            ("cell_inputs", "lowest_volts"),
            f"less than highest_volts, {figure(inputs.highest_volts, 'V')}",
            as_toml(inputs.lowest_volts),
        )
    core = board.limits.thermistor_core_celsius
    if core[0] >= core[1]:
        yield Remark(
            ("limits", "thermistor_core_celsius"),
            "the lower temperature first",
            as_toml(core),
        )


def _form_remarks(board: BoardDescription) -> Iterator[Remark]:
    """Keys, types and marks that the form of the frame needs or knows nothing of."""
    frame = board.frame
    if isinstance(frame, TextFrame):
        yield from _text_remarks(frame)
    for index, field in enumerate(frame.fields):
        path: KeyPath = ("frame", "fields", index)
        if isinstance(frame, BinaryFrame) and field.type is None:
            yield Remark((*path, "type"), 'a type such as "u16le" in a binary frame', "nothing")
        if not isinstance(frame, BinaryFrame) and field.type is not None:
            yield Remark((*path, "type"), f"no type in a {frame.form} frame", as_toml(field.type))
        if frame.form in ("csv", "binary") and field.key:
            yield Remark((*path, "key"), f"no key in a {frame.form} frame", as_toml(field.key))
    if frame.form in ("key-value", "json-lines"):
        yield from _key_remarks(board)


def _text_remarks(frame: TextFrame) -> Iterator[Remark]:
    for name in ("separator", "check_mark"):
        value = getattr(frame, name)
        if "\n" in value or "\r" in value:
            yield Remark(("frame", name), "characters inside a line", as_toml(value))
    if frame.separator == frame.decimal:
        yield Remark(
            ("frame", "separator"),
            "another character than the decimal sign",
            as_toml(frame.separator),
        )
    if frame.check != "none" and frame.check_mark == frame.separator:
        yield Remark(
            ("frame", "check_mark"),
            "another character than the separator",
            as_toml(frame.check_mark),
        )


def _key_remarks(board: BoardDescription) -> Iterator[Remark]:
    taken: dict[tuple[str, int | None], int] = {}
    for index, field in enumerate(board.frame.fields):
        path: KeyPath = ("frame", "fields", index, "key")
        if not field.key:
            yield Remark(path, f"a key in a {board.frame.form} frame", "nothing")
            continue
        holes = holes_of(field.key)
        if holes is None or set(holes) - {"channel"}:
            yield Remark(path, "a key with no holes but {channel}", as_toml(field.key))
            continue
        is_split = len(channels_of(field)) > 1 and field.bit is None
        if board.frame.form == "key-value" and is_split and not holes:
            expected = f"a key with {{channel}} for {len(channels_of(field))} channels"
            yield Remark(path, expected, as_toml(field.key))
        for name in _names(field):
            first = taken.setdefault((name, field.bit), index)
            if first != index:
                yield Remark(path, f"a key that fields[{first}] does not use", as_toml(name))


def _names(field: FrameField) -> list[str]:
    if "{channel}" not in field.key:
        return [field.key]
    return [field.key.replace("{channel}", str(channel)) for channel in channels_of(field)]


def _count_for(board: BoardDescription, field: FrameField) -> tuple[int, str] | None:
    """How many channels the board has of a field's kind, and the kind's name."""
    if field.quantity in OF_CELLS:
        return board.cells, "cell"
    if field.quantity in OF_THERMISTORS:
        return len(board.thermistors), "thermistor"
    return None


def _channel_remarks(board: BoardDescription, field: FrameField, path: KeyPath) -> Iterator[Remark]:
    place = (*path, "channels")
    counted = _count_for(board, field)
    if counted is None:
        if field.channels is not None and field.quantity != "ignored":
            yield Remark(place, f"no channels for {field.quantity}", as_toml(field.channels))
        return
    count, noun = counted
    if field.channels is None:
        yield Remark(place, f"the first and last {noun}, [1, {count}]", "nothing")
    elif field.channels[0] > field.channels[1]:
        yield Remark(place, f"the first and last {noun}, lower first", as_toml(field.channels))
    elif field.channels[1] > count:
        yield Remark(place, f"{noun}s of a board with {count} {noun}s", as_toml(field.channels))


def _bit_remarks(field: FrameField, path: KeyPath) -> Iterator[Remark]:
    if field.bit is None:
        return
    place = (*path, "bit")
    if field.quantity not in FLAGS:
        yield Remark(place, f"no bit for {field.quantity}", as_toml(field.bit))
        return
    bits = _bits_of(field)
    last = field.bit + max(len(channels_of(field)), 1) - 1
    if bits == 0:
        yield Remark(place, f"no bit in a value of type {field.type}", as_toml(field.bit))
    elif last >= bits:
        yield Remark(place, f"bits 0 to {bits - 1} of the value", f"bits {field.bit} to {last}")


def _bits_of(field: FrameField) -> int:
    """How many bits the raw value has; none that could be picked from a floating one."""
    if field.type is None:
        return BITS_OF_TEXT
    kind = field.type.removesuffix("le").removesuffix("be")
    return 0 if kind.startswith("f") else int(kind[1:])


def _coverage_remarks(board: BoardDescription) -> Iterator[Remark]:
    """Every cell and thermistor once, nothing twice."""
    seen: dict[tuple[str, int], int] = {}
    for index, field in enumerate(board.frame.fields):
        if field.quantity == "ignored":
            continue
        path: KeyPath = ("frame", "fields", index)
        for channel in channels_of(field) or (0,):
            first = seen.setdefault((field.quantity, channel), index)
            if first != index:
                what = f"{field.quantity} {channel}" if channel else field.quantity
                yield Remark(path, f"{what} once, in fields[{first}]", "it again")
    yield from _missing_remarks("cell_voltage", board.cells, "cell", seen)
    yield from _missing_remarks("temperature", len(board.thermistors), "thermistor", seen)


def _missing_remarks(
    quantity: str, count: int, noun: str, seen: dict[tuple[str, int], int]
) -> Iterator[Remark]:
    missing = [channel for channel in range(1, count + 1) if (quantity, channel) not in seen]
    # A field without channels has a remark of its own.
    if not missing or (quantity, 0) in seen:
        return
    what = f"{noun} {missing[0]}" if len(missing) == 1 else f"{noun}s {_spans(missing)}"
    yield Remark(("frame", "fields"), f"the {quantity} of every {noun}", f"none for {what}")


def _spans(numbers: list[int]) -> str:
    """`1, 2 and 5 to 7` for a rising list."""
    spans: list[list[int]] = [[numbers[0], numbers[0]]]
    for before, after in pairwise(numbers):
        if after == before + 1:
            spans[-1][1] = after
        else:
            spans.append([after, after])
    words = [
        str(low) if low == high else f"{low}, {high}" if high == low + 1 else f"{low} to {high}"
        for low, high in spans
    ]
    return alternatives(words, "and")
