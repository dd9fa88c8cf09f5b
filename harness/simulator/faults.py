"""Planted faults: what is wrong with a simulated board, link or instrument, as a TOML file.

The tables say what differs from a healthy bench; an empty `Faults()` is a healthy one, with
the small random errors of `[spread]`. Reading is the only input here.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter, ValidationError

from harness.descriptions.documents import load_document
from harness.descriptions.faults import DescriptionFaults
from harness.descriptions.setup import Setup
from harness.descriptions.translating import remarks_of
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
from harness.errors import DescriptionError

Share = Annotated[Number, Field(ge=0, le=1)]


@described
class Spread:
    """Half-widths of the uniform draws that make a healthy board, and its declared habits.

    The defaults keep a healthy cell channel within 0.3 mV at 3.6 V: an offset of 0.15 mV and
    a gain of 40 ppm. `noise_ratio` multiplies the board's declared noise.
    """

    offset_volts: NotNegative = 0.00015
    gain: NotNegative = 40.0e-6
    inl_volts: NotNegative = 0.0
    stack_gain: NotNegative = 100.0e-6
    stack_offset_volts: NotNegative = 0.002
    pull_up_ratio: NotNegative = 0.001
    noise_ratio: NotNegative = 1.0
    quantisation: Literal["round", "truncate"] = "round"


@described
class CellFault:
    """Errors of one cell channel, added to what was drawn for it.

    gain : relative; common_mode : volts of error per volt of the cell's lower tap against T0;
    warm_up_volts : error at switch-on that dies away with `warm_up_seconds`;
    inl_volts : largest deviation of a parabola that is zero at both ends of the range.
    """

    cell: Count
    gain: Number = 0.0
    offset_volts: Number = 0.0
    inl_volts: Number = 0.0
    common_mode: Number = 0.0
    noise_volts: NotNegative | None = None
    warm_up_volts: Number = 0.0
    warm_up_seconds: Positive = 300.0
    filter_time_constant_seconds: NotNegative | None = None


@described
class ChannelFault:
    """What the firmware does to one reported cell value.

    shows_cell : reports that cell's value in place of its own (two such entries make a swap);
    renewed_every_frames : repeats an old value in between; frozen_after_seconds : for ever.
    """

    channel: Count
    shows_cell: Count | None = None
    renewed_every_frames: Count = 1
    frozen_after_seconds: NotNegative | None = None


@described
class StackFault:
    """Errors of the board's stack voltage."""

    gain: Number = 0.0
    offset_volts: Number = 0.0


@described
class Crosstalk:
    """Error of `onto_cell` in volts per volt of `from_cell`."""

    from_cell: Count
    onto_cell: Count
    volts_per_volt: Number


@described
class TapFault:
    """A tap T0..TN: series resistance added, lead open, own input current or divider.

    series_ohms : in the lead, so the reference at the pins sees its drop too; board_ohms :
    behind the pin, T1..TN, a cracked joint on the board that drops what the tap draws.
    """

    tap: Annotated[Whole, Field(ge=0)]
    series_ohms: NotNegative = 0.0
    board_ohms: NotNegative = 0.0
    is_open: Flag = False
    input_amperes: Number | None = None
    divider_ohms: NotNegative = 0.0


@described
class Leakage:
    """A resistance between two taps at the board."""

    tap: Annotated[Whole, Field(ge=0)]
    other_tap: Annotated[Whole, Field(ge=0)]
    ohms: Positive


@described
class Bleed:
    """A bleed resistor that is switched on all the time."""

    cell: Count
    ohms: Positive = 33.0


@described
class ThermistorFault:
    """Errors of one thermistor input.

    pull_up_ratio : actual pull-up over the declared one, less 1; leakage_ohms : from the
    input to ground; adc_offset, adc_gain : of the divider ratio; has_no_flags : open and
    short go unnoticed, the value sticks at the curve's end; is_unconnected : the lead is
    broken whatever is injected.
    """

    thermistor: Count
    pull_up_ratio: Number = 0.0
    adc_offset: Number = 0.0
    adc_gain: Number = 0.0
    series_ohms: NotNegative = 0.0
    leakage_ohms: Positive | None = None
    shows_thermistor: Count | None = None
    has_no_flags: Flag = False
    is_unconnected: Flag = False
    noise_celsius: NotNegative | None = None


@described
class LinkFault:
    """What happens to frames on their way.

    silent_after_seconds, unplugged_after_seconds : counted from the moment the first output
    goes on, so that they meet a run in its middle however long its opening takes.

    bad_check_share, dropped_share, garbage_share, text_share : share of frames so treated;
    garbage puts random bytes before the frame. text_field : index of the field (counting
    from 0) that `text_share` of frames carry `text` in, with a check that is right.
    cells_sent : how many cell values the firmware sends. noise_line : a stray line of text.
    """

    silent_after_seconds: NotNegative | None = None
    unplugged_after_seconds: NotNegative | None = None
    bad_check_share: Share = 0.0
    dropped_share: Share = 0.0
    garbage_share: Share = 0.0
    garbage_bytes: Count = 24
    text_share: Share = 0.0
    text_field: Annotated[Whole, Field(ge=0)] = 1
    text: AnyText = "nan"
    cells_sent: Count | None = None
    noise_line: AnyText = ""
    noise_line_every_frames: Count = 10
    refresh_ratio: Positive = 1.0


@described
class InstrumentFault:
    """What one instrument does wrong; keys that its role knows nothing of have no effect.

    identity : answered to *IDN?. silent_after_messages, drop_after_messages : counted from the
    start over all connections; silent_after_readings : a meter's. late_seconds : added to
    each answer after late_after_messages. lasting_messages : how many messages silence,
    dropping or lateness meets, all further ones when left out. queued_errors : numbers in the
    error queue at the start.
    Supply: refuses_above_volts : -222 for set-points above; stuck_on : a shorted pass
    transistor, the output voltage never falls again; setpoint_readback_offset_volts,
    measured_readback_offset_volts : the answer lies by so much; ignores_protection : the
    protection setting is accepted and not kept; limit_ratio : actual current limit over set.
    Relay card: stuck_relays : do not move any more, open at the start; hides_stuck_relays :
    the card answers what it was told, as most do, not where its contacts are.
    accuracy_draw : replaces the drawn share of the accuracy specification, -1 to 1.
    """

    identity: Text | None = None
    silent_after_messages: Count | None = None
    silent_after_readings: Count | None = None
    drop_after_messages: Count | None = None
    late_seconds: NotNegative = 0.0
    late_after_messages: Annotated[Whole, Field(ge=0)] = 0
    lasting_messages: Count | None = None
    queued_errors: tuple[Whole, ...] = ()
    refuses_above_volts: Positive | None = None
    stuck_on: Flag = False
    setpoint_readback_offset_volts: Number = 0.0
    measured_readback_offset_volts: Number = 0.0
    ignores_protection: Flag = False
    limit_ratio: Positive = 1.0
    overload_after_readings: Count | None = None
    stuck_relays: tuple[Text, ...] = ()
    hides_stuck_relays: Flag = False
    accuracy_draw: Annotated[Number, Field(ge=-1, le=1)] | None = None


@described
class Faults:
    """All that is planted on one bench."""

    name: AnyText = "healthy"
    spread: Spread = Field(default_factory=Spread)
    cell: tuple[CellFault, ...] = ()
    channel: tuple[ChannelFault, ...] = ()
    stack: StackFault = Field(default_factory=StackFault)
    crosstalk: tuple[Crosstalk, ...] = ()
    tap: tuple[TapFault, ...] = ()
    leakage: tuple[Leakage, ...] = ()
    bleed: tuple[Bleed, ...] = ()
    thermistor: tuple[ThermistorFault, ...] = ()
    link: LinkFault = Field(default_factory=LinkFault)
    instrument: dict[str, InstrumentFault] = Field(default_factory=dict)


_ADAPTER: TypeAdapter[Faults] = TypeAdapter(Faults)


def read_faults(path: Path) -> Faults:
    """The planted faults in the TOML file at `path`.

    Raises
    ------
    DescriptionFaults : all that is wrong with the file, with lines.
    """
    document = load_document(path, "a table of planted faults")
    try:
        return _ADAPTER.validate_python(document.data)
    except ValidationError as error:
        raise DescriptionFaults(document.faults(remarks_of(error, _ADAPTER))) from error


def faults_to_json(faults: Faults) -> str:
    """The faults as JSON text."""
    return json.dumps(_ADAPTER.dump_python(faults, mode="json"))


def faults_from_json(text: str) -> Faults:
    """The faults that `faults_to_json` wrote.

    Raises
    ------
    ValueError : the text is nothing of the kind.
    """
    return _ADAPTER.validate_json(text)


def check_faults(faults: Faults, setup: Setup) -> None:
    """See that every fault has a place on this bench and board.

    Raises
    ------
    DescriptionError : a cell, tap, thermistor or instrument that is not there.
    """
    cells, thermistors = setup.bench.wiring.cells, len(setup.board.thermistors)
    named: list[tuple[str, int, int]] = []
    named += [("cell.cell", f.cell, cells) for f in faults.cell]
    named += [("channel.channel", f.channel, setup.board.cells) for f in faults.channel]
    named += [("channel.shows_cell", f.shows_cell or 1, cells) for f in faults.channel]
    named += [("bleed.cell", f.cell, cells) for f in faults.bleed]
    named += [("tap.tap", f.tap, cells) for f in faults.tap]
    named += [("leakage.tap", max(f.tap, f.other_tap), cells) for f in faults.leakage]
    named += [("crosstalk.cell", max(f.from_cell, f.onto_cell), cells) for f in faults.crosstalk]
    named += [
        ("thermistor.thermistor", max(f.thermistor, f.shows_thermistor or 1), thermistors)
        for f in faults.thermistor
    ]
    for key, number, most in named:
        if number > most:
            raise DescriptionError(f"planted faults: {key}: expected at most {most}, got {number}")
    for name in faults.instrument:
        if name not in setup.models:
            known: Any = ", ".join(setup.models)
            raise DescriptionError(
                f'planted faults: instrument: expected one of {known}, got "{name}"'
            )
