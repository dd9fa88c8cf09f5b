"""Raw numbers to values."""

from __future__ import annotations

import math

import pytest
from protocol_layouts import csv

from harness.descriptions.board import FrameField
from harness.protocols.frame_columns import wire_slots
from harness.protocols.frame_events import BadReason, FrameFault
from harness.protocols.frame_values import SlotNumbers, ValueReader


def reader(*fields: FrameField) -> ValueReader:
    """A reader of numbers that stand as they are."""
    return ValueReader(wire_slots(csv(*fields)), lambda number: number)


def test_scale_and_offset_are_applied() -> None:
    """Kelvin times ten, as some firmware sends temperatures."""
    celsius = reader(FrameField(quantity="temperature", scale=0.1, offset=-273.15))
    assert pytest.approx(25.05) == celsius.read([2982], b"").values[0]


def test_a_marker_means_no_value() -> None:
    """Compared with the raw number, before it is scaled."""
    cells = reader(FrameField(quantity="cell_voltage", scale=0.001, invalid=(65535.0, -1.0)))
    assert [True, True, False] == [
        math.isnan(cells.read([raw], b"").values[0]) for raw in (65535, -1, 3300)
    ]


def test_flag_bits_are_spread_from_the_first() -> None:
    """Bits 2 and 3 of 0b1011."""
    flags = reader(FrameField(quantity="thermistor_open", channels=(1, 2), bit=2))
    assert (0.0, 1.0) == flags.read([0b1011], b"").values


def test_flags_without_bit_are_true_unless_zero() -> None:
    """And are not scaled."""
    flags = reader(FrameField(quantity="thermistor_short", channels=(1, 2), scale=0.5))
    assert (1.0, 0.0) == flags.read([7, 0], b"").values


def test_a_marked_flag_field_has_no_bits() -> None:
    """255 as "not measured" is not eight open thermistors."""
    flags = reader(FrameField(quantity="thermistor_open", channels=(1, 2), bit=0, invalid=(255.0,)))
    assert all(math.isnan(value) for value in flags.read([255], b"").values)


def test_sequence_and_uptime_stand_apart() -> None:
    """The uptime scaled to seconds."""
    frame = reader(
        FrameField(quantity="sequence"),
        FrameField(quantity="uptime", scale=0.001),
        FrameField(quantity="stack_voltage"),
    ).read([17, 2500, 39.6], b"raw")
    assert (17, 2.5, (39.6,), b"raw") == (
        frame.sequence,
        frame.uptime_seconds,
        frame.values,
        frame.raw,
    )


@pytest.mark.parametrize(
    ("field", "raw", "detail"),
    [
        ("cell_voltage", math.nan, "cell_voltage 1: expected a finite number, got nan"),
        ("cell_voltage", math.inf, "cell_voltage 1: expected a finite number, got inf"),
        ("sequence", 1.5, "sequence: expected a whole number, got 1.5"),
        ("sequence", math.nan, "sequence: expected a whole number, got nan"),
        ("uptime", math.inf, "uptime: expected a finite number, got inf"),
        (
            "thermistor_open",
            -1,
            "thermistor_open 1: expected a number that is not negative, got -1",
        ),
        ("thermistor_open", 0.5, "thermistor_open 1: expected a whole number, got 0.5"),
        ("cell_voltage", True, "cell_voltage 1: expected a number, got true"),
    ],
)
@pytest.mark.parametrize("way", ["read", "read_fresh"])
def test_other_numbers_are_refused(field: str, raw: float, detail: str, way: str) -> None:
    """With memory and without."""
    one = reader(FrameField(quantity=field))  # type: ignore[arg-type]
    with pytest.raises(FrameFault) as caught:
        getattr(one, way)([raw], b"")
    assert (BadReason.NOT_A_NUMBER, detail) == (caught.value.reason, caught.value.detail)


def test_the_memory_of_numbers_is_bounded() -> None:
    """Long texts are not kept, and a full memory is emptied."""
    (slot,) = wire_slots(csv(FrameField(quantity="stack_voltage")))
    numbers = SlotNumbers(slot, float)
    for count in range(70_000):
        assert float(count) == numbers[str(count)]
    assert 3.0 == numbers["3." + "0" * 50]
    assert len(numbers) < 1 << 16
