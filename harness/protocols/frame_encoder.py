"""The other direction: values to the bytes that a board of a declared layout sends.

For the simulated board and for tests. It quantises to whole raw numbers where the layout's
scale says so and saturates at the ends of a binary type, as firmware does.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from typing import Any, Protocol

from harness.descriptions.board import BinaryFrame, FrameLayout, JsonFrame, TextFrame
from harness.errors import MisuseError
from harness.protocols.binary_frames import packed_runs
from harness.protocols.checks import CHECKS
from harness.protocols.frame_columns import FLAGS, Column, WireSlot, type_bits, wire_slots

# Text fields of scale 1 carry SI values with a decimal point; 1 microvolt is below what any
# board resolves.
TEXT_DECIMALS = 6


class FrameEncoder(Protocol):
    """Turns the values of one board into frames."""

    @property
    def columns(self) -> tuple[Column, ...]:
        """(quantity, channel) of each value that `encode` takes, in order."""
        ...

    def encode(
        self, values: Sequence[float], sequence: int = 0, uptime_seconds: float = 0.0
    ) -> bytes:
        """One whole frame, with its line end where it has one.

        Parameters
        ----------
        values : aligned with `columns`, SI units; NaN for "no value".
        sequence : wraps by itself at the width of a binary field.

        Raises
        ------
        MisuseError : wrong number of values, an infinite one, or NaN where the layout has no
            way to say "no value".
        """
        ...


def encoder_for(layout: FrameLayout) -> FrameEncoder:
    """The encoder of `layout`.

    Raises
    ------
    DescriptionError : the layout cannot be decoded; see `frame_columns.wire_slots`.
    """
    if isinstance(layout, BinaryFrame):
        return BinaryEncoder(layout)
    if isinstance(layout, JsonFrame):
        return JsonEncoder(layout)
    return TextEncoder(layout)


class _Raws:
    """Values to the raw numbers of the slots; None for JSON's null."""

    def __init__(self, layout: FrameLayout) -> None:
        self.slots = wire_slots(layout)
        self.columns: tuple[Column, ...] = tuple(c for s in self.slots for c in s.columns)
        self._is_json = isinstance(layout, JsonFrame)

    def of(
        self, values: Sequence[float], sequence: int, uptime_seconds: float
    ) -> list[float | None]:
        if len(values) != len(self.columns):
            raise MisuseError(
                f"frame values: expected {len(self.columns)} values, got {len(values)}"
            )
        raws: list[float | None] = []
        taken = 0
        for slot in self.slots:
            own = values[taken : taken + len(slot.columns)]
            taken += len(slot.columns)
            raws.append(self._raw(slot, own, sequence, uptime_seconds))
        return raws

    def _raw(
        self, slot: WireSlot, own: Sequence[float], sequence: int, uptime_seconds: float
    ) -> float | None:
        if slot.role == "sequence":
            return sequence
        if slot.role == "ignored":
            return 0
        if slot.role == "uptime":
            return _unscaled(slot, uptime_seconds)
        if any(map(math.isnan, own)):
            return self._no_value(slot)
        if slot.columns[0][0] in FLAGS:
            first = slot.field.bit or 0
            return sum(1 << (first + i) for i, value in enumerate(own) if value)
        return _unscaled(slot, own[0])

    def _no_value(self, slot: WireSlot) -> float | None:
        if slot.field.invalid:
            return slot.field.invalid[0]
        if self._is_json:
            return None
        raise MisuseError(f"{slot.label}: expected a number, the layout has no mark for none")


def _unscaled(slot: WireSlot, value: float) -> float:
    """The raw number of `value`: whole where one step is smaller than the SI unit."""
    raw = (value - slot.field.offset) / slot.field.scale
    if not math.isfinite(raw):
        raise MisuseError(f"{slot.label}: expected a finite number, got {value!r}")
    return round(raw) if abs(slot.field.scale) < 1 else raw


class BinaryEncoder:
    """Encodes binary layouts."""

    def __init__(self, layout: BinaryFrame) -> None:
        self._raws = _Raws(layout)
        self.columns = self._raws.columns
        self._layout = layout
        self._check = CHECKS[layout.check]
        self._sync = bytes(layout.sync)
        self._runs = packed_runs(self._raws.slots)
        kept = [slot for slot in self._raws.slots if slot.role != "ignored"]
        self._types = [slot.field.type or "" for slot in kept]

    def encode(
        self, values: Sequence[float], sequence: int = 0, uptime_seconds: float = 0.0
    ) -> bytes:
        """One whole frame; see `FrameEncoder`."""
        raws = self._raws.of(values, sequence, uptime_seconds)
        kept = [
            (slot, raw)
            for slot, raw in zip(self._raws.slots, raws, strict=True)
            if slot.role != "ignored"
        ]
        numbers = [_fitted(slot, 0.0 if raw is None else raw) for slot, raw in kept]
        payload = b""
        for run in self._runs:
            count = len(run.unpack(bytes(run.size)))
            payload += run.pack(*numbers[:count])
            numbers = numbers[count:]
        covered = self._sync + payload if self._layout.check_covers_sync else payload
        check = self._check.compute(covered)
        return (
            self._sync + payload + check.to_bytes(self._check.size_bytes, self._layout.check_order)
        )


def _fitted(slot: WireSlot, raw: float) -> float:
    """`raw` as its binary type can hold it: counters wrap, values saturate."""
    binary_type = slot.field.type or ""
    if binary_type.startswith("f"):
        return raw
    bits = type_bits(binary_type)
    whole = round(raw)
    is_signed = binary_type.startswith("i")
    lowest = -(1 << (bits - 1)) if is_signed else 0
    highest = lowest + (1 << bits) - 1
    if slot.role in ("sequence", "uptime"):
        return (whole - lowest) % (1 << bits) + lowest
    return min(max(whole, lowest), highest)


class TextEncoder:
    """Encodes CSV and key=value layouts."""

    def __init__(self, layout: TextFrame) -> None:
        self._raws = _Raws(layout)
        self.columns = self._raws.columns
        self._layout = layout
        self._check = CHECKS[layout.check]

    def encode(
        self, values: Sequence[float], sequence: int = 0, uptime_seconds: float = 0.0
    ) -> bytes:
        """One whole line; see `FrameEncoder`."""
        raws = self._raws.of(values, sequence, uptime_seconds)
        separator = self._layout.separator
        if self._layout.form == "csv":
            body = separator.join(self._written(raw) for raw in raws)
        else:
            merged = _by_path(self._raws.slots, raws)
            body = separator.join(f"{path[0]}={self._written(raw)}" for path, raw in merged)
        payload = body.encode()
        tail = b""
        if self._check.bits:
            mark = self._layout.check_mark + self._check.to_hex(self._check.compute(payload))
            tail = mark.encode()
        return self._layout.start.encode() + payload + tail + b"\r\n"

    def _written(self, raw: float | None) -> str:
        number = round(0.0 if raw is None else raw, TEXT_DECIMALS)
        text = str(number) if number == int(number) else f"{number:.{TEXT_DECIMALS}f}".rstrip("0")
        return text.removesuffix(".0").replace(".", self._layout.decimal)


class JsonEncoder:
    """Encodes JSON lines."""

    def __init__(self, layout: JsonFrame) -> None:
        self._raws = _Raws(layout)
        self.columns = self._raws.columns

    def encode(
        self, values: Sequence[float], sequence: int = 0, uptime_seconds: float = 0.0
    ) -> bytes:
        """One whole line; see `FrameEncoder`."""
        raws = self._raws.of(values, sequence, uptime_seconds)
        document: dict[str, Any] = {}
        for path, found in _by_path_with_arrays(self._raws.slots, raws):
            place = document
            for key in path[:-1]:
                place = place.setdefault(key, {})
            place[path[-1]] = found
        return json.dumps(document, separators=(",", ":"), allow_nan=False).encode() + b"\n"


def _by_path(
    slots: Sequence[WireSlot], raws: Sequence[float | None]
) -> list[tuple[tuple[str, ...], float | None]]:
    """One number for each path; flag fields that share one are joined bit by bit."""
    merged: dict[tuple[str, ...], float | None] = {}
    for slot, raw in zip(slots, raws, strict=True):
        merged[slot.path] = _merged(merged.get(slot.path), raw)
    return list(merged.items())


def _by_path_with_arrays(
    slots: Sequence[WireSlot], raws: Sequence[float | None]
) -> list[tuple[tuple[str, ...], Any]]:
    """As `_by_path`, rounded as text is; the elements of an array together."""
    found: dict[tuple[str, ...], Any] = {}
    for slot, raw in zip(slots, raws, strict=True):
        number = None if raw is None else round(raw, TEXT_DECIMALS)
        if slot.index is not None:
            found.setdefault(slot.path, []).append(number)
        else:
            found[slot.path] = _merged(found.get(slot.path), number)
    return list(found.items())


def _merged(before: float | None, number: float | None) -> float | None:
    return number if before is None or number is None else int(before) | int(number)
