"""Which columns come out of a layout, and which layouts cannot be decoded."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from protocol_layouts import binary, csv, json_lines, key_value

from harness.descriptions.board import FrameField, FrameLayout
from harness.errors import DescriptionError
from harness.observation import Quantity
from harness.protocols.frame_columns import columns, type_bits, wire_slots


def test_columns_are_in_declared_order() -> None:
    """Channels spread, sequence, uptime and ignored fields are no columns."""
    layout = csv(
        FrameField(quantity="sequence"),
        FrameField(quantity="stack_voltage"),
        FrameField(quantity="ignored", channels=(1, 2)),
        FrameField(quantity="cell_voltage", channels=(2, 3)),
        FrameField(quantity="uptime"),
        FrameField(quantity="temperature"),
    )
    assert (
        (Quantity.STACK_VOLTAGE, 0),
        (Quantity.CELL_VOLTAGE, 2),
        (Quantity.CELL_VOLTAGE, 3),
        (Quantity.TEMPERATURE, 1),
    ) == columns(layout)
    assert 8 == len(wire_slots(layout))


def test_flag_bits_share_one_number() -> None:
    """One field on the wire, one column a channel."""
    flags = FrameField(quantity="thermistor_open", channels=(1, 3), bit=4)
    assert 1 == len(wire_slots(csv(flags)))
    assert 3 == len(columns(csv(flags)))


def test_json_keys_are_paths() -> None:
    """Dots go inwards, a key without {channel} is an array."""
    slots = wire_slots(json_lines())
    assert [("seq",), ("bank", "cells"), ("bank", "cells"), ("bank", "cells")] == [
        slot.path for slot in slots
    ]
    assert [None, 0, 1, 2] == [slot.index for slot in slots]


def test_slots_are_called_by_quantity_channel_and_key() -> None:
    """As messages show them."""
    assert 'cell_voltage 2 at key "c2"' == wire_slots(key_value())[2].label
    assert "sequence" == wire_slots(csv())[0].label


@pytest.mark.parametrize(("name", "bits"), [("u8", 8), ("i16be", 16), ("f32le", 32)])
def test_types_have_widths(name: str, bits: int) -> None:
    """Whatever their byte order."""
    assert bits == type_bits(name)


def _cells(**settings: object) -> FrameField:
    return FrameField(quantity="cell_voltage", **{"channels": (1, 2), **settings})


BAD_LAYOUTS: list[tuple[Callable[[], FrameLayout], str]] = [
    (
        lambda: binary(_cells()),
        'frame.fields 1 (cell_voltage): type: expected one such as "u16le", got none',
    ),
    (
        lambda: csv(_cells(channels=(3, 1))),
        "frame.fields 1 (cell_voltage): channels: expected the lower number first, got 3 to 1",
    ),
    (
        lambda: csv(_cells(bit=0)),
        "frame.fields 1 (cell_voltage): bit: expected only with a thermistor flag",
    ),
    (
        lambda: csv(_cells(scale=0.0)),
        "frame.fields 1 (cell_voltage): scale: expected a number other than 0, got 0",
    ),
    (
        lambda: key_value(_cells()),
        "frame.fields 1 (cell_voltage): key: expected the name of the value, got none",
    ),
    (
        lambda: key_value(_cells(key="c")),
        'frame.fields 1 (cell_voltage): key: expected "{channel}" in the key of several '
        'channels, got "c"',
    ),
    (
        lambda: json_lines(FrameField(quantity="ignored")),
        "frame.fields 1 (ignored): expected a key; keys that no field names are ignored anyway",
    ),
    (
        lambda: csv(FrameField(quantity="sequence", channels=(1, 2))),
        "frame.fields 1 (sequence): channels: expected none, got 2 of them",
    ),
    (
        lambda: csv(_cells(), _cells(channels=(2, 3))),
        "frame.fields: cell_voltage 2: declared twice",
    ),
    (
        lambda: csv(FrameField(quantity="sequence"), FrameField(quantity="sequence")),
        "frame.fields: sequence: declared twice",
    ),
    (
        lambda: key_value(_cells(key="c{channel}"), FrameField(quantity="uptime", key="c1")),
        'frame.fields: uptime at key "c1": declared twice',
    ),
    (
        lambda: binary(FrameField(quantity="thermistor_open", channels=(1, 4), bit=6, type="u8")),
        "frame.fields 1 (thermistor_open): bit: expected bits below 8, got 6 to 9",
    ),
    (
        lambda: binary(FrameField(quantity="thermistor_open", bit=0, type="f32le")),
        "frame.fields 1 (thermistor_open): type: expected a whole-number type with bit, "
        'got "f32le"',
    ),
]


@pytest.mark.parametrize(("layout", "message"), BAD_LAYOUTS, ids=[m for _, m in BAD_LAYOUTS])
def test_a_layout_that_cannot_be_decoded_is_refused(
    layout: Callable[[], FrameLayout], message: str
) -> None:
    """Before any byte is looked at, by its place in the description."""
    with pytest.raises(DescriptionError) as caught:
        wire_slots(layout())
    assert message == str(caught.value)
