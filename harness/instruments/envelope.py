"""The safety envelope: every supply command is asked of it first, and there is no way round it.

A pure state machine without input, output or clock. A set-point whose read-back has not come
counts together with the one before it, and the worse of the two decides, because nobody knows
which of them stands. Going to 0 V and switching off are always allowed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from harness.descriptions.bench import HAZARDOUS_VOLTS, Ceilings, Wiring
from harness.descriptions.instrument import SupplyModel
from harness.errors import SafetyError

# Over-voltage protection must stand above the highest set-point, or its own error trips it;
# a tenth above plus a quarter of a volt is common practice, no source.
PROTECTION_MARGIN_RATIO = 1.1
PROTECTION_MARGIN_VOLTS = 0.25

# Sums of set-points are sums of binary fractions; this is far below any supply's resolution.
_ROUNDING = 1.0e-9


@dataclass(frozen=True)
class ChannelState:
    """What is known of one channel.

    possible_volts : every set-point that may stand now (of many, the lowest and highest);
        one when it was read back, none when it never was.
    limit_amperes, protection_volts : as last read back, None when never.
    is_on : output on, or told to be.
    """

    possible_volts: tuple[float, ...] = ()
    limit_amperes: float | None = None
    protection_volts: float | None = None
    is_on: bool = False

    @property
    def set_volts(self) -> float | None:
        """The set-point when it is known, else None."""
        return self.possible_volts[0] if len(self.possible_volts) == 1 else None

    def with_sent(self, volts: float) -> ChannelState:
        """The state after `volts` was sent and before it is read back."""
        known = {*self.possible_volts, volts}
        possible = tuple(sorted({min(known), max(known)})) if self.possible_volts else ()
        return replace(self, possible_volts=possible)


class SafetyEnvelope:
    """Ceilings and order of steps for the channels of one supply.

    Parameters
    ----------
    ceilings, wiring : of the bench; supply : the model of the supply that feeds the cells.
    """

    def __init__(self, ceilings: Ceilings, wiring: Wiring, supply: SupplyModel) -> None:
        self._ceilings = ceilings
        self._wiring = wiring
        self._supply = supply
        used = wiring.channels if wiring.topology == "series" else wiring.channels[:1]
        self._channels = {channel: ChannelState() for channel in used}
        self._slope_volts = ceilings.step_volts
        self._slope_seconds: float | None = None

    # What is known ----------------------------------------------------------------------

    @property
    def channels(self) -> tuple[int, ...]:
        """The channels that the wiring uses; no other is ever authorised."""
        return tuple(self._channels)

    @property
    def channels_on(self) -> frozenset[int]:
        """Channels whose output is on or may be."""
        return frozenset(c for c, state in self._channels.items() if state.is_on)

    def state(self, channel: int) -> ChannelState:
        """What is known of `channel`.

        Raises
        ------
        SafetyError : the wiring does not use it.
        """
        if channel not in self._channels:
            raise SafetyError(
                f"supply channel {channel}: expected one of {list(self._channels)} "
                "(wiring.channels), got one that the wiring does not use; correct the bench file"
            )
        return self._channels[channel]

    @property
    def channel_ceiling_volts(self) -> float:
        """Highest set-point of one channel, by cell, stack, hazard and supply."""
        return min(
            self._ceilings.cell_volts * self._cells_a_channel,
            self.total_ceiling_volts,
            self._supply.highest_volts,
        )

    @property
    def _cells_a_channel(self) -> float:
        """How many of the highest cell a channel's voltage is, at worst.

        On a ladder of N rungs with one rung shunted by r times itself, the others carry
        1/(N - 1 + r/(1 + r)) of the channel each (voltage divider). Shunts are closed one at
        a time; the relay guard is what can hold that.
        """
        if self._wiring.topology == "series":
            return 1.0
        ratio = self._wiring.rung_shunt_ratio
        shunted = 1.0 if ratio is None else ratio / (1 + ratio)
        return self._wiring.cells - 1 + shunted

    @property
    def total_ceiling_volts(self) -> float:
        """Highest sum of all set-points."""
        if self._ceilings.hazardous_voltage_declared:
            return self._ceilings.total_volts
        return min(self._ceilings.total_volts, HAZARDOUS_VOLTS)

    @property
    def protection_ceiling_volts(self) -> float:
        """Highest over-voltage protection of one channel."""
        return min(
            self.channel_ceiling_volts * PROTECTION_MARGIN_RATIO + PROTECTION_MARGIN_VOLTS,
            self._supply.highest_protection_volts,
        )

    @property
    def is_protection_inherent(self) -> bool:
        """Whether the supply cannot exceed the protection ceiling even unprotected."""
        ceiling = self.channel_ceiling_volts * PROTECTION_MARGIN_RATIO + PROTECTION_MARGIN_VOLTS
        return self._supply.highest_volts <= ceiling

    # Limits -----------------------------------------------------------------------------

    def authorise_current(self, channel: int, amperes: float) -> None:
        """Allow `amperes` as current limit.

        Raises
        ------
        SafetyError : above the ceiling or the supply's range, or not above zero.
        """
        self.state(channel)
        ceiling = min(self._ceilings.channel_amperes, self._supply.highest_amperes)
        if not 0 < amperes <= ceiling * (1 + _ROUNDING):
            raise SafetyError(
                f"supply channel {channel}: expected a current limit above 0 A and at most "
                f"{ceiling:g} A (ceilings.channel_amperes, supply model), got {amperes:g} A"
            )

    def confirm_current(self, channel: int, amperes: float) -> None:
        """Note the current limit that was read back.

        Raises
        ------
        SafetyError : what was read back is above the ceiling.
        """
        self._channels[channel] = replace(self.state(channel), limit_amperes=None)
        self.authorise_current(channel, amperes)
        self._channels[channel] = replace(self.state(channel), limit_amperes=amperes)

    def authorise_protection(self, channel: int, volts: float) -> None:
        """Allow `volts` as over-voltage protection.

        Raises
        ------
        SafetyError : above what protects the cells, or not above zero.
        """
        self.state(channel)
        if not 0 < volts <= self.protection_ceiling_volts * (1 + _ROUNDING):
            raise SafetyError(
                f"supply channel {channel}: expected an over-voltage protection above 0 V and at "
                f"most {self.protection_ceiling_volts:g} V (ceilings, supply model), "
                f"got {volts:g} V"
            )

    def confirm_protection(self, channel: int, volts: float) -> None:
        """Note the over-voltage protection that was read back.

        Raises
        ------
        SafetyError : what was read back protects too late.
        """
        self._channels[channel] = replace(self.state(channel), protection_volts=None)
        self.authorise_protection(channel, volts)
        self._channels[channel] = replace(self.state(channel), protection_volts=volts)

    # Set-points -------------------------------------------------------------------------

    def authorise_voltage(self, channel: int, volts: float, now_seconds: float) -> None:
        """Allow one set-point; see `authorise_voltages`."""
        self.authorise_voltages({channel: volts}, now_seconds)

    def authorise_voltages(self, targets: Mapping[int, float], now_seconds: float) -> None:
        """Allow `targets` (volts by channel) as one move, and count them as sent.

        Parameters
        ----------
        now_seconds : monotonic; the slope of all moves together is bounded over it.

        Raises
        ------
        SafetyError : a ceiling of cell, channel, stack, step or slope would be passed, or a
            channel has no confirmed limits. Then none of `targets` is authorised.
        """
        for channel, volts in targets.items():
            self._check_channel(channel, volts)
        self._check_total(targets)
        self._spend(self._check_step(targets), now_seconds)
        for channel, volts in targets.items():
            self._channels[channel] = self.state(channel).with_sent(float(volts))

    def authorise_zero(self, channel: int) -> None:
        """0 V is always allowed; it counts as sent until read back.

        Raises
        ------
        SafetyError : the wiring does not use the channel.
        """
        self._channels[channel] = self.state(channel).with_sent(0.0)

    def confirm_voltage(self, channel: int, volts: float) -> None:
        """Note the set-point that was read back; it alone stands from now on.

        Raises
        ------
        SafetyError : what was read back is above the ceiling; it is noted all the same.
        """
        self._channels[channel] = replace(self.state(channel), possible_volts=(abs(volts),))
        if not abs(volts) <= self.channel_ceiling_volts + self._supply.set_resolution_volts:
            raise SafetyError(
                f"supply channel {channel}: expected a set-point of at most "
                f"{self.channel_ceiling_volts:g} V, read back {volts:g} V; "
                "switching off is the only way on"
            )

    def _check_channel(self, channel: int, volts: float) -> None:
        state = self.state(channel)
        ceiling = self.channel_ceiling_volts
        if not 0 <= volts <= ceiling * (1 + _ROUNDING):
            raise SafetyError(
                f"supply channel {channel}: expected a set-point from 0 V to {ceiling:g} V "
                f"(ceilings, supply model), got {volts:g} V; lower it, or raise the ceiling in "
                "the bench file if board and bench allow it"
            )
        if volts > 0:
            self._check_is_prepared(channel, "a set-point above 0 V")
            if state.protection_volts is not None and volts > state.protection_volts:
                raise SafetyError(
                    f"supply channel {channel}: expected a set-point below its over-voltage "
                    f"protection of {state.protection_volts:g} V, got {volts:g} V"
                )

    def _check_total(self, targets: Mapping[int, float]) -> None:
        """At worst every channel that rises has risen before any other has fallen."""
        worst = math.fsum(
            max(0.0, *state.possible_volts, targets.get(channel, 0.0))
            for channel, state in self._channels.items()
        )
        read_back_rounding = self._supply.set_resolution_volts * len(self._channels)
        if not worst <= self.total_ceiling_volts + read_back_rounding or not (
            math.fsum(targets.values()) <= self.total_ceiling_volts * (1 + _ROUNDING)
        ):
            raise SafetyError(
                f"supply: expected at most {self.total_ceiling_volts:g} V over all channels "
                f"(ceilings.total_volts; {HAZARDOUS_VOLTS:g} V unless "
                f"ceilings.hazardous_voltage_declared), got {worst:g} V"
            )

    def _change_volts(self, targets: Mapping[int, float]) -> float:
        """The volts that the move changes over all channels, at worst."""
        return math.fsum(
            max((abs(volts - v) for v in self.state(channel).possible_volts), default=0.0)
            for channel, volts in targets.items()
        )

    def _check_step(self, targets: Mapping[int, float]) -> float:
        change = self._change_volts(targets)
        if not change <= self._ceilings.step_volts * (1 + _ROUNDING) + _ROUNDING:
            raise SafetyError(
                f"supply: expected a step of at most {self._ceilings.step_volts:g} V over all "
                f"channels (ceilings.step_volts), got {change:g} V; ramp in smaller steps"
            )
        return change

    def _in_store_volts(self, now_seconds: float) -> float:
        """Change that the slope allows now: it comes in at the ramp's rate, up to one step."""
        since = now_seconds if self._slope_seconds is None else self._slope_seconds
        earned = self._ceilings.ramp_volts_per_second * max(0.0, now_seconds - since)
        return min(self._ceilings.step_volts, self._slope_volts + earned)

    def slope_wait_seconds(self, targets: Mapping[int, float], now_seconds: float) -> float:
        """How long to wait until the slope allows the move; 0 when it does now.

        A move beyond the largest step is never allowed, so it need not wait longer than that.
        """
        change = min(self._change_volts(targets), self._ceilings.step_volts)
        lacking = change - self._in_store_volts(now_seconds)
        return max(0.0, lacking / self._ceilings.ramp_volts_per_second)

    def _spend(self, change_volts: float, now_seconds: float) -> None:
        in_store = self._in_store_volts(now_seconds)
        if not change_volts <= in_store + _ROUNDING * (1 + self._ceilings.step_volts):
            raise SafetyError(
                f"supply: expected at most {in_store:.3g} V of change by now "
                f"(ceilings.ramp_volts_per_second {self._ceilings.ramp_volts_per_second:g}), "
                f"got {change_volts:g} V; ramp more slowly"
            )
        self._slope_volts = in_store - change_volts
        since = now_seconds if self._slope_seconds is None else self._slope_seconds
        self._slope_seconds = max(since, now_seconds)

    # Outputs ----------------------------------------------------------------------------

    def authorise_output_on(self, channel: int) -> None:
        """Allow the output to be switched on, and count it as on.

        Raises
        ------
        SafetyError : limits were not read back, or the set-point was not read back as 0 V.
        """
        self._check_is_prepared(channel, "output on")
        state = self.state(channel)
        if state.set_volts is None or state.set_volts > self._supply.set_resolution_volts:
            stands = "unknown" if state.set_volts is None else f"{state.set_volts:g} V"
            raise SafetyError(
                f"supply channel {channel}: expected 0 V set and read back before output on, "
                f"got a set-point that is {stands}; set 0 V first"
            )
        self._channels[channel] = replace(state, is_on=True)

    def note_output_off(self, channel: int) -> None:
        """Note that the output was proved off.

        Raises
        ------
        SafetyError : the wiring does not use the channel.
        """
        self._channels[channel] = replace(self.state(channel), is_on=False)

    def _check_is_prepared(self, channel: int, before: str) -> None:
        state = self.state(channel)
        has_protection = state.protection_volts is not None or self.is_protection_inherent
        missing = [
            what
            for what, is_known in (
                ("current limit", state.limit_amperes is not None),
                ("over-voltage protection", has_protection),
                ("set-point", bool(state.possible_volts)),
            )
            if not is_known
        ]
        if missing:
            raise SafetyError(
                f"supply channel {channel}: expected current limit, over-voltage protection and "
                f"set-point programmed and read back before {before}, "
                f"got no {' and no '.join(missing)}; prepare the channel first"
            )
