"""Bench description: the instruments, how they are wired to a board, and the ceilings.

Nothing about relay numbering is fixed in code: `paths` maps each purpose to the relays that
must be closed for it. From the paths and the topology the bench's capabilities follow
(`harness.bench.capabilities`).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from harness.descriptions.instrument import AgeColumn
from harness.descriptions.values import (
    AnyText,
    Count,
    Date,
    Flag,
    NotNegative,
    Number,
    Positive,
    RelayList,
    Text,
    described,
)

# Above this many volts DC a bench must declare `hazardous_voltage_declared`: the limit of
# extra-low voltage for dry skin (common practice after IEC 61140, from memory).
HAZARDOUS_VOLTS = 60.0


@described
class InstrumentEntry:
    """One instrument on the bench: where it is, what model it is, how it was calibrated."""

    role: Literal["supply", "meter", "decade", "switch"]
    resource: Text
    model: Text
    serial: AnyText = ""
    calibrated: Date | None = None
    due: Date | None = None
    column: AgeColumn = AgeColumn.YEAR
    certificate: AnyText = ""


@described
class Wiring:
    """How supply channels become cells.

    `series`: `channels[k-1]` feeds cell k. `ladder`: one channel across `rung_ohms` a cell.
    """

    topology: Literal["series", "ladder"]
    cells: Count
    supply: Text
    channels: Annotated[tuple[Count, ...], Field(min_length=1)]
    rung_ohms: Positive | None = None
    rung_shunt_ratio: Positive | None = None
    lead_ohms: NotNegative = 0.05
    contact_ohms: NotNegative = 0.02
    settling_seconds: NotNegative = 0.01


@described
class Paths:
    """Relays to close for each purpose; list entry k-1 belongs to cell or thermistor k.

    `rung_shunt[k-1]` puts a resistor of `rung_shunt_ratio` x `rung_ohms` across rung k.
    """

    meter_at_cell: tuple[RelayList, ...] = ()
    meter_at_stack: RelayList | None = None
    meter_at_decade: RelayList | None = None
    decade_at_thermistor: tuple[RelayList, ...] = ()
    rung_shunt: tuple[RelayList, ...] = ()
    never_together: tuple[tuple[Text, ...], ...] = ()


@described
class Ceilings:
    """Hard limits that no plan can pass. Above 60 V total needs `hazardous_voltage_declared`."""

    cell_volts: Positive = 4.5
    total_volts: Positive = HAZARDOUS_VOLTS
    channel_amperes: Positive = 0.1
    step_volts: Positive = 6.0
    ramp_volts_per_second: Positive = 10.0
    off_volts: Positive = 0.5
    off_timeout_seconds: Positive = 5.0
    hazardous_voltage_declared: Flag = False


@described
class Ambient:
    """Air at the bench, as declared by the operator."""

    celsius: Number = 23.0
    relative_humidity_percent: Annotated[Number, Field(ge=0, le=100)] = 50.0


@described
class Visa:
    """Which VISA implementation pyvisa loads; `@py` is pyvisa-py."""

    library: Text = "@py"


@described
class BenchDescription:
    """A whole bench."""

    name: Text
    line_frequency_hertz: Annotated[Positive, Field(ge=45, le=65)] = 50.0
    instruments: Annotated[dict[str, InstrumentEntry], Field(min_length=1)]
    wiring: Wiring
    paths: Paths = Field(default_factory=Paths)
    ceilings: Ceilings = Field(default_factory=Ceilings)
    ambient: Ambient = Field(default_factory=Ambient)
    visa: Visa = Field(default_factory=Visa)
