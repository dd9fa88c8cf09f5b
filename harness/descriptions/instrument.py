"""Instrument model descriptions: what a kind of instrument understands and how good it is.

One file describes one model. Command forms are templates with named holes in braces;
which holes a template may use is listed beside each role's command table. Accuracy is
written as the maker writes it: parts per million of reading plus parts per million of
range, one column for each calibration age.
"""

from __future__ import annotations

from enum import Enum
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
    described,
)


class AgeColumn(str, Enum):
    """Calibration age columns of a specification, shortest first."""

    DAY = "24h"
    QUARTER = "90d"
    YEAR = "1y"


@described
class Dialogue:
    """How a conversation with the instrument is held."""

    write_termination: AnyText = "\n"
    read_termination: Text = "\n"
    timeout_seconds: Positive = 3.0
    pacing_seconds: NotNegative = 0.0
    compound: Flag = True
    error_query: AnyText = "SYST:ERR?"
    clear: AnyText = "*CLS"


@described
class AccuracyColumn:
    """+-(ppm of reading + ppm of range), within `within_kelvin` of the calibration temperature."""

    ppm_of_reading: NotNegative
    ppm_of_range: NotNegative
    within_kelvin: Positive = 5.0


@described
class MeterRange:
    """One measuring range; `range_value` is in volts or in ohms by the table it stands in."""

    range_value: Positive
    input_ohms: Positive = 1.0e10
    accuracy: Annotated[dict[AgeColumn, AccuracyColumn], Field(min_length=1)]
    temperature_ppm_of_reading_per_kelvin: NotNegative = 0.0
    temperature_ppm_of_range_per_kelvin: NotNegative = 0.0


@described
class Integration:
    """Resolution and noise (one standard deviation) of a reading at one integration time."""

    power_line_cycles: Positive
    resolution_ppm_of_range: Positive
    noise_ppm_of_range: NotNegative


@described
class MeterCommands:
    """Templates; holes: {range}, {power_line_cycles}, {count}."""

    configure_voltage: Text = "CONF:VOLT:DC {range}"
    configure_resistance: Text = "CONF:RES {range}"
    set_voltage_cycles: AnyText = "VOLT:DC:NPLC {power_line_cycles}"
    set_resistance_cycles: AnyText = "RES:NPLC {power_line_cycles}"
    set_count: AnyText = "SAMP:COUN {count}"
    read: Text = "READ?"


@described
class MeterModel:
    """A digital multimeter."""

    role: Literal["meter"]
    name: Text
    identity: Text
    dialogue: Dialogue = Field(default_factory=Dialogue)
    commands: MeterCommands = Field(default_factory=MeterCommands)
    calibration_celsius: Number = 23.0
    accuracy_coverage: Literal["rectangular", "normal 95 %", "normal 99 %"] = "rectangular"
    voltage_ranges: Annotated[tuple[MeterRange, ...], Field(min_length=1)]
    resistance_ranges: tuple[MeterRange, ...] = ()
    integration: Annotated[tuple[Integration, ...], Field(min_length=1)]


@described
class SupplyCommands:
    """Templates; holes: {channel}, {volts}, {amperes}. An empty template means "has none"."""

    select: AnyText = "INST:NSEL {channel}"
    set_voltage: Text = "VOLT {volts}"
    get_voltage: Text = "VOLT?"
    set_current: Text = "CURR {amperes}"
    get_current: Text = "CURR?"
    set_protection: AnyText = "VOLT:PROT {volts}"
    get_protection: AnyText = "VOLT:PROT?"
    protection_tripped: AnyText = "VOLT:PROT:TRIP?"
    output_on: Text = "OUTP ON"
    output_off: Text = "OUTP OFF"
    get_output: Text = "OUTP?"
    measure_voltage: Text = "MEAS:VOLT?"
    measure_current: Text = "MEAS:CURR?"


@described
class SupplyModel:
    """A programmable supply; figures hold for each channel."""

    role: Literal["supply"]
    name: Text
    identity: Text
    dialogue: Dialogue = Field(default_factory=Dialogue)
    commands: SupplyCommands = Field(default_factory=SupplyCommands)
    channels: Count = 1
    highest_volts: Positive
    highest_amperes: Positive
    highest_protection_volts: Positive
    set_resolution_volts: Positive = 0.001
    set_accuracy_ppm: NotNegative = 500.0
    set_accuracy_volts: NotNegative = 0.005
    readback_accuracy_ppm: NotNegative = 500.0
    readback_accuracy_volts: NotNegative = 0.005
    output_ohms: NotNegative = 0.005
    slew_volts_per_second: Positive = 100.0
    output_farads: NotNegative = 0.0


@described
class DecadeCommands:
    """Templates; hole: {ohms}."""

    set_resistance: Text = "RES {ohms}"
    get_resistance: Text = "RES?"


@described
class DecadeModel:
    """A programmable resistance source standing in for a thermistor."""

    role: Literal["decade"]
    name: Text
    identity: Text
    dialogue: Dialogue = Field(default_factory=Dialogue)
    commands: DecadeCommands = Field(default_factory=DecadeCommands)
    lowest_ohms: NotNegative = 0.0
    highest_ohms: Positive
    step_ohms: Positive = 1.0
    accuracy_ppm: NotNegative = 1000.0
    residual_ohms: NotNegative = 0.3
    settling_seconds: NotNegative = 0.02


@described
class SwitchCommands:
    """Templates; hole: {channels} (comma-separated, as in a SCPI channel list)."""

    close: Text = "ROUT:CLOS (@{channels})"
    open: Text = "ROUT:OPEN (@{channels})"
    open_all: Text = "ROUT:OPEN:ALL"
    is_closed: Text = "ROUT:CLOS? (@{channels})"


@described
class SwitchModel:
    """A relay card."""

    role: Literal["switch"]
    name: Text
    identity: Text
    dialogue: Dialogue = Field(default_factory=Dialogue)
    commands: SwitchCommands = Field(default_factory=SwitchCommands)
    relays: Annotated[tuple[Text, ...], Field(min_length=1)]
    operate_seconds: NotNegative = 0.005
    release_seconds: NotNegative = 0.002
    contact_ohms: NotNegative = 0.1
    thermal_emf_volts: NotNegative = 1.0e-6
    contact_rating_volts: Positive = 100.0


InstrumentModel = Annotated[
    MeterModel | SupplyModel | DecadeModel | SwitchModel, Field(discriminator="role")
]
