"""The programmable supply behind the safety envelope.

Every command that can put voltage on a board asks the envelope first; there is no method that
does not. Switching off tries every channel whatever fails, and then measures.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from harness.descriptions.bench import Ceilings, Wiring
from harness.descriptions.instrument import SupplyModel
from harness.errors import InstrumentError, OutputNotOffError, SafetyError, TapproofError
from harness.instruments.driver import LONGEST_MESSAGE, Driver, is_question
from harness.instruments.envelope import SafetyEnvelope
from harness.instruments.faults import (
    ConnectionLost,
    InstrumentMissing,
    InstrumentSilent,
    SetPointMismatch,
)
from harness.instruments.regulation import Measured, regulation_fault
from harness.instruments.transport import Transport
from harness.protocols.scpi_command import fill, join_commands

# Limits are set by coarse converters, and the model description does not declare their steps.
LIMIT_READBACK_RATIO = 0.01
CURRENT_READBACK_AMPERES = 0.002
PROTECTION_READBACK_VOLTS = 0.1

# Charging the board's input capacitors may hold a channel at its limit this long.
REGULATION_SECONDS = 0.2

# Removes what binary fractions add to a multiple of the resolution; far below any resolution.
_SET_POINT_DECIMALS = 9

# Between two looks at a channel that is not yet as it should be.
POLL_SECONDS = 0.02

# The first round may find the connection broken; the second one works on a new connection.
FEWEST_OFF_ROUNDS = 2

_LINK_FAULTS = (InstrumentSilent, ConnectionLost, InstrumentMissing)


@dataclass(frozen=True)
class OffProof:
    """Outputs were commanded off and then measured off.

    volts : last measured by channel; faults : what went wrong on the way, in order.
    """

    volts: Mapping[int, float | None]
    faults: tuple[str, ...] = ()


@dataclass
class _OffAttempt:
    """How far switching off has come: volts measured and channels commanded."""

    volts: dict[int, float | None]
    commanded: set[int] = field(default_factory=set)
    faults: list[str] = field(default_factory=list)

    def note(self, error: Exception) -> None:
        """Keep each fault once, the latest last; the same ones come round after round."""
        is_ours = isinstance(error, TapproofError)
        text = str(error) if is_ours else f"{type(error).__name__}: {error}"
        if text in self.faults:
            self.faults.remove(text)
        self.faults.append(text)


class Supply(Driver):
    """A supply whose channels feed cells.

    Parameters
    ----------
    ceilings, wiring : of the bench; they make the envelope.
    """

    def __init__(
        self, transport: Transport, model: SupplyModel, ceilings: Ceilings, wiring: Wiring
    ) -> None:
        super().__init__(transport, model.identity)
        self.model = model
        self.envelope = SafetyEnvelope(ceilings, wiring, model)
        self._ceilings = ceilings

    # Opening and preparing --------------------------------------------------------------

    def open(self) -> None:
        """As every driver's; refuses a supply whose output is already on.

        Raises
        ------
        SafetyError : an output is on, and not by us.
        """
        super().open()
        for channel in self.envelope.channels:
            if self.is_output_on(channel):
                raise SafetyError(
                    f"{self.place}: output of channel {channel}: expected off before the run, "
                    "got on; find out who uses it, switch it off at the instrument, then run again"
                )

    def is_output_on(self, channel: int) -> bool:
        """Whether the channel says that its output is on."""
        question = self._fill(self.model.commands.get_output, channel)
        (said,) = self.exchange([self._select(channel), question])
        return self.boolean(question, said)

    def _select(self, channel: int) -> str:
        return self._fill(self.model.commands.select, channel)

    def _fill(self, template: str, channel: int, **needed: float) -> str:
        """Templates name the channel themselves where it is not selected by a command."""
        return fill(template, {"channel": channel}, **needed)

    def prepare(self, channel: int, amperes: float, protection_volts: float) -> None:
        """Set 0 V, program current limit and over-voltage protection, and read all three back.

        Raises
        ------
        SafetyError : above a ceiling; nothing was sent.
        SetPointMismatch : a read-back differs. InstrumentError : refused or silent.
        """
        self.envelope.authorise_current(channel, amperes)
        if self._has_protection:
            self.envelope.authorise_protection(channel, protection_volts)
        self.envelope.authorise_zero(channel)
        commands = self.model.commands
        units = [
            self._select(channel),
            self._fill(commands.set_voltage, channel, volts=0.0),
            self._fill(commands.set_current, channel, amperes=amperes),
            self._fill(commands.get_voltage, channel),
            self._fill(commands.get_current, channel),
        ]
        if self._has_protection:
            # Behind 0 V: some supplies refuse a protection below the present set-point.
            units.insert(3, self._fill(commands.set_protection, channel, volts=protection_volts))
            units.append(self._fill(commands.get_protection, channel))
        volts, limit, *protection = self.exchange(units)
        self._confirm_voltage(channel, 0.0, volts)
        self.envelope.confirm_current(
            channel,
            self._limit_read_back(
                channel, commands.get_current, limit, amperes, CURRENT_READBACK_AMPERES, "A"
            ),
        )
        for said in protection:
            self.envelope.confirm_protection(
                channel,
                self._limit_read_back(
                    channel,
                    commands.get_protection,
                    said,
                    protection_volts,
                    PROTECTION_READBACK_VOLTS,
                    "V",
                ),
            )

    @property
    def _has_protection(self) -> bool:
        return bool(self.model.commands.set_protection and self.model.commands.get_protection)

    def _limit_read_back(
        self, channel: int, sent: str, said: str, wanted: float, tolerance: float, unit: str
    ) -> float:
        """The limit that stands; one rounded up by a coarse converter counts as wanted."""
        stands = self.number(sent, said)
        if not abs(stands - wanted) <= tolerance + LIMIT_READBACK_RATIO * wanted:
            raise self._mismatch(channel, wanted, stands, unit)
        return min(stands, wanted)

    def _mismatch(self, channel: int, wanted: float, stands: float, unit: str) -> SetPointMismatch:
        return SetPointMismatch(
            f"{self.place}: channel {channel}: expected {wanted:g} {unit} read back, "
            f"got {stands:g} {unit}; see that nothing else drives the supply, and check the "
            "ranges in its model description"
        )

    # Set-points -------------------------------------------------------------------------

    def set_points(self) -> dict[int, float]:
        """The set-points in volts by channel; the highest possible where not read back."""
        known = {c: self.envelope.state(c).possible_volts for c in self.envelope.channels}
        return {channel: max(volts) for channel, volts in known.items() if volts}

    def set_voltage(self, channel: int, volts: float) -> None:
        """Set one channel, read back; see `set_voltages`."""
        self.set_voltages({channel: volts})

    def set_voltages(self, targets: Mapping[int, float]) -> None:
        """Set channels to `targets` (volts by channel), falling ones first, each read back.

        Targets are rounded to the supply's programming resolution first. Channels that stand
        there already are left alone; the others share as few messages as their length allows.
        Waits first where the slope's ceiling asks for it.

        Raises
        ------
        SafetyError : the envelope forbids the move; nothing was sent.
        SetPointMismatch : a read-back differs. InstrumentError : refused or silent.
        """
        before = {channel: self.envelope.state(channel).set_volts for channel in targets}
        rounded = {channel: self._programmable(volts) for channel, volts in targets.items()}
        changed = {c: volts for c, volts in rounded.items() if before[c] != volts}
        clock = self.transport.clock
        clock.sleep(self.envelope.slope_wait_seconds(changed, clock.now()))
        self.envelope.authorise_voltages(changed, clock.now())
        in_order = sorted(changed, key=lambda c: changed[c] - (before[c] or 0.0))
        for bundle in self._bundles({c: self._set_units(c, changed[c]) for c in in_order}):
            said = self.exchange([unit for units in bundle.values() for unit in units])
            for channel, answer in zip(bundle, said, strict=True):
                self._confirm_voltage(channel, changed[channel], answer)

    def _programmable(self, volts: float) -> float:
        """The nearest set-point that the supply's programming resolution allows."""
        step = self.model.set_resolution_volts
        return round(round(volts / step) * step, _SET_POINT_DECIMALS)

    def _bundles(self, asked: Mapping[int, list[str]]) -> Iterator[dict[int, list[str]]]:
        """Units by channel, cut into messages of at most `LONGEST_MESSAGE` characters."""
        bundle: dict[int, list[str]] = {}
        length = len(self.transport.dialogue.error_query)
        for channel, units in asked.items():
            more = sum(len(unit) + 2 for unit in units)
            is_full = length + more > LONGEST_MESSAGE or not self.transport.dialogue.compound
            if bundle and is_full:
                yield bundle
                bundle, length = {}, len(self.transport.dialogue.error_query)
            bundle[channel] = units
            length += more
        if bundle:
            yield bundle

    def _set_units(self, channel: int, volts: float) -> list[str]:
        commands = self.model.commands
        return [
            self._select(channel),
            self._fill(commands.set_voltage, channel, volts=volts),
            self._fill(commands.get_voltage, channel),
        ]

    def _confirm_voltage(self, channel: int, wanted: float, said: str) -> None:
        """Compare a read-back with what was set and tell the envelope."""
        stands = self.number(self.model.commands.get_voltage, said)
        if abs(stands - wanted) <= self.model.set_resolution_volts * (1 + 1e-6):
            self.envelope.confirm_voltage(channel, wanted)
            return
        self.envelope.confirm_voltage(channel, stands)
        raise self._mismatch(channel, wanted, stands, "V")

    # Outputs ----------------------------------------------------------------------------

    def output_on(self, channel: int) -> None:
        """Switch the channel on, verified.

        Raises
        ------
        SafetyError : limits or 0 V were not read back; nothing was sent.
        InstrumentError : it refused, did not answer, or says that it is off.
        """
        self.envelope.authorise_output_on(channel)
        commands = self.model.commands
        question = self._fill(commands.get_output, channel)
        (said,) = self.exchange(
            [self._select(channel), self._fill(commands.output_on, channel), question]
        )
        if not self.boolean(question, said):
            raise self.unexpected(question, f"1 for the output of channel {channel}", said)

    def output_off(self, channel: int) -> None:
        """Switch the channel off, verified by its own word; `safe_off` measures as well.

        Raises
        ------
        InstrumentError : it refused, did not answer, or says that it is on.
        """
        commands = self.model.commands
        question = self._fill(commands.get_output, channel)
        (said,) = self.exchange(
            [self._select(channel), self._fill(commands.output_off, channel), question]
        )
        if self.boolean(question, said):
            raise self.unexpected(question, f"0 for the output of channel {channel}", said)

    # Measuring --------------------------------------------------------------------------

    def measure(self, channel: int) -> Measured:
        """What the channel measures at its output.

        Raises
        ------
        InstrumentError : no numbers came.
        """
        asks = [
            self._fill(self.model.commands.measure_voltage, channel),
            self._fill(self.model.commands.measure_current, channel),
        ]
        volts, amperes = self.exchange([self._select(channel), *asks])
        return Measured(self.number(asks[0], volts), self.number(asks[1], amperes))

    def check_regulation(self) -> None:
        """See that every channel that is on holds its voltage and is not at its current limit.

        Cheap enough to be asked after every point: the channels share as few messages as
        their length allows, and only one that is not as it should be is looked at again.

        Raises
        ------
        SafetyError : one is not, and did not come to it within `REGULATION_SECONDS`.
        """
        asked = {c: self._regulation_units(c) for c in sorted(self.envelope.channels_on)}
        for bundle in self._bundles(asked):
            said = iter(self.exchange([unit for units in bundle.values() for unit in units]))
            for channel, units in bundle.items():
                questions = [unit for unit in units if is_question(unit)]
                self._look_at(channel, questions, [next(said) for _ in questions])

    def _regulation_units(self, channel: int) -> list[str]:
        """What tells voltage, current and trip, where the supply can tell it, in this order."""
        commands = self.model.commands
        tripped = commands.protection_tripped
        units = [
            self._select(channel),
            self._fill(commands.measure_voltage, channel),
            self._fill(commands.measure_current, channel),
            self._fill(tripped, channel) if tripped else "",
        ]
        return [unit for unit in units if unit]

    def _look_at(self, channel: int, questions: list[str], said: list[str]) -> None:
        """Judge one channel's answers to `_regulation_units`."""
        numbers = [self.number(*pair) for pair in zip(questions[:2], said[:2], strict=True)]
        for question, answer in zip(questions[2:], said[2:], strict=True):
            if self.boolean(question, answer):
                raise SafetyError(
                    f"{self.place}: channel {channel}: expected no trip, got its over-voltage "
                    "protection tripped; look for what drives the channel from outside"
                )
        if self._regulation_fault(channel, Measured(*numbers)):
            self._await_regulation(channel)

    def _regulation_fault(self, channel: int, measured: Measured) -> str:
        state, ceiling = self.envelope.state(channel), self.envelope.channel_ceiling_volts
        return regulation_fault(measured, state, ceiling, self.model)

    def _await_regulation(self, channel: int) -> None:
        clock = self.transport.clock
        deadline = clock.now() + REGULATION_SECONDS
        while True:
            fault = self._regulation_fault(channel, self.measure(channel))
            if not fault:
                return
            if clock.now() >= deadline:
                raise SafetyError(f"{self.place}: channel {channel}: {fault}")
            clock.sleep(POLL_SECONDS)

    # Switching off ----------------------------------------------------------------------

    def safe_off(self) -> OffProof:
        """Set every channel to 0 V, switch it off, and measure that it is off.

        A fault on one channel keeps no other from being switched off. When the connection
        fails, the commands are still sent without waiting for answers, and everything is
        tried anew until `off_timeout_seconds` are over, `FEWEST_OFF_ROUNDS` times at least.

        Raises
        ------
        OutputNotOffError : a channel could not be measured off in time.
        """
        self.transport.reset()
        clock = self.transport.clock
        deadline = clock.now() + self._ceilings.off_timeout_seconds
        attempt = _OffAttempt(dict.fromkeys(self.envelope.channels))
        rounds = 0
        while True:
            self._try_off(attempt)
            rounds += 1
            if all(map(self._is_off, attempt.volts.values())):
                return OffProof(attempt.volts, tuple(attempt.faults))
            if rounds >= FEWEST_OFF_ROUNDS and clock.now() >= deadline:
                raise self._not_off(attempt)
            clock.sleep(POLL_SECONDS)

    def _try_off(self, attempt: _OffAttempt) -> None:
        """One round: command what was not yet, then measure what is not yet off."""
        try:
            for channel in attempt.volts:
                if channel not in attempt.commanded:
                    self._command_off(channel, attempt)
            for channel, volts in attempt.volts.items():
                if not self._is_off(volts):
                    self._measure_off(channel, attempt)
        except _LINK_FAULTS as error:
            for channel in attempt.volts:
                if channel not in attempt.commanded:
                    self._command_off_regardless(channel, attempt)
            attempt.note(error)

    def _command_off(self, channel: int, attempt: _OffAttempt) -> None:
        """0 V and off, each tried whatever became of the other.

        What the supply refused it has heard. Any other failure, a defect of ours included,
        leaves that open: then both are sent blindly, and tried again in the next round.
        """
        was_heard = True
        for step in (self._set_zero, self.output_off):
            try:
                step(channel)
            except _LINK_FAULTS:
                raise
            except (InstrumentError, SafetyError) as error:
                attempt.note(error)
            except Exception as error:  # noqa: BLE001 (told with the proof, or with its failure)
                attempt.note(error)
                was_heard = False
        if was_heard:
            attempt.commanded.add(channel)
        else:
            self._command_off_regardless(channel, attempt)

    def _set_zero(self, channel: int) -> None:
        self.envelope.authorise_zero(channel)
        (said,) = self.exchange(self._set_units(channel, 0.0))
        self._confirm_voltage(channel, 0.0, said)

    def _command_off_regardless(self, channel: int, attempt: _OffAttempt) -> None:
        commands = self.model.commands
        for unit in (
            self._fill(commands.output_off, channel),
            self._fill(commands.set_voltage, channel, volts=0.0),
        ):
            try:
                self.transport.write_regardless(join_commands([self._select(channel), unit]))
            except Exception as error:  # noqa: BLE001 (the next command must still be tried)
                attempt.note(error)

    def _measure_off(self, channel: int, attempt: _OffAttempt) -> None:
        question = self._fill(self.model.commands.measure_voltage, channel)
        try:
            (said,) = self.exchange([self._select(channel), question])
            attempt.volts[channel] = self.number(question, said)
        except _LINK_FAULTS:
            raise
        except Exception as error:  # noqa: BLE001 (not measured is not off, whatever the cause)
            attempt.note(error)
        if self._is_off(attempt.volts[channel]):
            self.envelope.note_output_off(channel)

    def _is_off(self, volts: float | None) -> bool:
        return volts is not None and abs(volts) < self._ceilings.off_volts

    def _not_off(self, attempt: _OffAttempt) -> OutputNotOffError:
        unknown = [str(c) for c, volts in attempt.volts.items() if volts is None]
        seen = [
            f"channel {c} {volts:g} V"
            for c, volts in attempt.volts.items()
            if volts is not None and not self._is_off(volts)
        ]
        if unknown:
            seen.append(f"no measurement of channel {', '.join(unknown)}")
        last = f"; last fault: {attempt.faults[-1]}" if attempt.faults else ""
        return OutputNotOffError(
            f"{self.place}: expected every output measured below {self._ceilings.off_volts:g} V "
            f"within {self._ceilings.off_timeout_seconds:g} s, got {', '.join(seen)}; switch off "
            f"by hand, and measure before touching anything{last}"
        )
