"""Board description: taps, thermistors, limits, serial port, frame layout."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from harness.descriptions.values import (
    AnyText,
    Count,
    Flag,
    NotNegative,
    Number,
    Positive,
    Text,
    Whole,
    described,
)


@described
class BoardLimits:
    """Maximum permissible errors, symmetric about zero, and the largest noise allowed."""

    cell_error_volts: Positive
    stack_error_volts: Positive
    noise_volts: Positive
    thermistor_error_celsius: Positive
    thermistor_core_celsius: tuple[Number, Number] = (0.0, 60.0)
    thermistor_outside_factor: Annotated[Positive, Field(ge=1)] = 2.0


@described
class CellInputs:
    """Declared electrical facts of the cell inputs."""

    lowest_volts: Number
    highest_volts: Positive
    resolution_volts: Positive
    stack_resolution_volts: Positive = 0.01
    noise_volts: NotNegative = 0.0
    filter_time_constant_seconds: NotNegative = 0.01
    input_amperes: NotNegative = 1.0e-6
    supply_amperes: NotNegative = 0.01


@described
class ThermistorInput:
    """One thermistor channel; `curve` is a path to a curve file, relative to this file."""

    name: Text
    curve: Text
    pull_up_ohms: Positive = 10000.0
    resolution_celsius: Positive = 0.1
    noise_celsius: NotNegative = 0.0
    filter_time_constant_seconds: NotNegative = 0.01
    open_reads_celsius: Number | None = None
    short_reads_celsius: Number | None = None


@described
class SerialPort:
    """A pyserial port or URL. `modem_lines = "leave"` keeps DTR and RTS as they are."""

    port: Text
    baud: Count = 115200
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Annotated[Whole, Field(ge=1, le=2)] = 1
    modem_lines: Literal["leave", "off", "on"] = "leave"


Quantity = Literal[
    "cell_voltage",
    "stack_voltage",
    "temperature",
    "sequence",
    "uptime",
    "thermistor_open",
    "thermistor_short",
    "ignored",
]

BinaryType = Literal[
    "u8",
    "i8",
    "u16le",
    "u16be",
    "i16le",
    "i16be",
    "u32le",
    "u32be",
    "i32le",
    "i32be",
    "f32le",
    "f32be",
]


@described
class FrameField:
    """One field, or a run of consecutive fields when `channels` spans several.

    Value in SI units = raw * scale + offset. `key` names the field in key=value and JSON
    frames; `{channel}` in it is replaced by the channel number; a JSON key without
    `{channel}` and several channels is an array. `bit` of the flag fields picks one bit a
    channel, starting there. Raw values listed in `invalid` mean "no value".
    """

    quantity: Quantity
    channels: tuple[Count, Count] | None = None
    key: AnyText = ""
    type: BinaryType | None = None
    scale: Number = 1.0
    offset: Number = 0.0
    bit: Annotated[Whole, Field(ge=0, le=31)] | None = None
    invalid: tuple[Number, ...] = ()


CheckName = Literal[
    "none",
    "xor8",
    "sum8",
    "crc8-smbus",
    "crc8-maxim",
    "crc16-modbus",
    "crc16-ibm3740",
    "crc16-xmodem",
    "crc16-kermit",
    "crc16-arc",
    "crc32-iso",
]


@described
class TextFrame:
    """A line of text: `csv` or `key-value`.

    The check, when there is one, follows `check_mark` as hex digits and covers the
    characters between `start` and the mark, both excluded.
    """

    form: Literal["csv", "key-value"]
    fields: Annotated[tuple[FrameField, ...], Field(min_length=1)]
    start: AnyText = ""
    separator: Text = ","
    decimal: Literal[".", ","] = "."
    check: CheckName = "none"
    check_mark: Text = "*"
    longest_bytes: Count = 1024


@described
class JsonFrame:
    """One JSON object a line."""

    form: Literal["json-lines"]
    fields: Annotated[tuple[FrameField, ...], Field(min_length=1)]
    longest_bytes: Count = 4096


@described
class BinaryFrame:
    """Sync bytes, payload of fixed layout, check over the payload (and the sync on request)."""

    form: Literal["binary"]
    fields: Annotated[tuple[FrameField, ...], Field(min_length=1)]
    sync: Annotated[tuple[Annotated[Whole, Field(ge=0, le=255)], ...], Field(min_length=1)]
    check: CheckName = "crc16-modbus"
    check_order: Literal["little", "big"] = "little"
    check_covers_sync: Flag = False


FrameLayout = Annotated[TextFrame | JsonFrame | BinaryFrame, Field(discriminator="form")]


@described
class BoardDescription:
    """A whole board type."""

    name: Text
    revision: AnyText = ""
    cells: Count
    refresh_seconds: Positive
    sample_age_seconds: NotNegative = 0.0
    warm_up_seconds: NotNegative = 0.0
    limits: BoardLimits
    cell_inputs: CellInputs
    thermistors: tuple[ThermistorInput, ...] = ()
    serial: SerialPort
    frame: FrameLayout
