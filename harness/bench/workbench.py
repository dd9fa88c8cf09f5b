"""The bench that checks talk to: real instruments and a real board behind one facade.

`harness.bench.opening` opens everything and closes it again; this module drives what is open.
Checks never see a driver, and no set-point reaches a supply but through the safety envelope
inside its driver.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from harness.bench.acquisition import (
    SettlingDemand,
    bracketed_scan,
    frame_observations,
    reference_observations,
    settled_frames,
)
from harness.bench.source import (
    FilterLag,
    channel_targets,
    plan_ramp,
)
from harness.descriptions.paths import resolve_relay
from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.instruments.decade import Decade
from harness.instruments.meter import Meter
from harness.instruments.supply import Supply
from harness.instruments.switch import Switch
from harness.link.board_link import BoardLink, LinkStatistics
from harness.metrology.settling import time_to_settle_seconds
from harness.observation import Acquired, Observation, Quantity, Source
from harness.timebase import Clock

# Between two increments of a ramp. Shorter only adds messages; at 10 V/s it is 0.5 V of stack.
RAMP_TICK_SECONDS = 0.05

ReportEvent = Callable[[str, str, Mapping[str, object]], None]


@dataclass
class BenchParts:
    """What has been opened; a role that the bench lacks is None or empty."""

    supply: Supply | None = None
    meter: Meter | None = None
    decade: Decade | None = None
    switches: dict[str, Switch] = field(default_factory=dict)
    link: BoardLink | None = None
    identities: dict[str, str] = field(default_factory=dict)


@dataclass
class _CellState:
    """What the cells were last told and from when on it can be believed."""

    volts: tuple[float, ...]
    source_ready: float = 0.0
    board_ready: float = 0.0


class Workbench:
    """The facade of `harness.checks.check.Bench` over opened instruments.

    Parameters
    ----------
    setup : the declared setup; parts : what is open.
    clock : stamps observations and does all waiting.
    report_event : called with kind, text and data for whatever the record should keep.
    """

    def __init__(
        self, setup: Setup, clock: Clock, parts: BenchParts, report_event: ReportEvent
    ) -> None:
        self._setup = setup
        self._clock = clock
        self._parts = parts
        self._report = report_event
        self._cells = _CellState(volts=(0.0,) * setup.bench.wiring.cells)
        self._is_energised = False
        self._thermistor: int | None = None
        self._thermistor_ohms = math.inf
        self._thermistor_changed = 0.0
        self._thermistor_ready = 0.0

    @property
    def setup(self) -> Setup:
        """The declared setup."""
        return self._setup

    @property
    def clock(self) -> Clock:
        """The clock that stamps observations."""
        return self._clock

    def identities(self) -> Mapping[str, str]:
        """What each instrument answered to `*IDN?`, by its name in the bench file."""
        return dict(self._parts.identities)

    def link_statistics(self) -> LinkStatistics:
        """What came over the board's link so far."""
        return self._link().statistics()

    # Cells ------------------------------------------------------------------------------

    def set_cells(self, volts: Sequence[float]) -> None:
        """Ramp all cells to `volts`, verified by read-back and by measured current.

        Raises
        ------
        SafetyError : a ceiling would be passed, a protection tripped, or a channel went into
            constant current. InstrumentError : the supply misbehaved.
        """
        targets = channel_targets(self._setup.bench.wiring, volts)
        supply = self._supply()
        if not self._is_energised:
            self._energise(supply)
        before = self._cells.volts
        step = max((abs(b - a) for a, b in zip(before, volts, strict=True)), default=0.0)
        lag = self._ramp(supply, targets, step)
        self._note_change(tuple(map(float, volts)), lag)
        supply.check_regulation()

    def confirm_source(self) -> None:
        """See that every channel that is on still holds its voltage; nothing is on, nothing done.

        Raises
        ------
        SafetyError : a channel is in constant current, sags, or has tripped.
        InstrumentError : the supply misbehaved.
        """
        if self._parts.supply is not None:
            self._parts.supply.check_regulation()

    def _energise(self, supply: Supply) -> None:
        """Current limit, protection and 0 V first, each read back; only then outputs on."""
        ceilings = self._setup.bench.ceilings
        protection = supply.envelope.protection_ceiling_volts
        for channel in self._setup.bench.wiring.channels:
            supply.prepare(channel, ceilings.channel_amperes, protection)
        for channel in self._setup.bench.wiring.channels:
            supply.output_on(channel)
        self._is_energised = True
        self._report("outputs on", "limits and protection read back, 0 V, then outputs on", {})

    def _ramp(self, supply: Supply, targets: Mapping[int, float], step: float) -> FilterLag:
        """Send the ramp, `step` volts at the cell that changes most; returns the board's lag.

        The lag follows from what was sent when: a computer that stalls makes larger steps.
        """
        ramp = plan_ramp(supply.set_points(), targets, self._setup.bench.ceilings)
        lag = FilterLag(self._setup.board.cell_inputs.filter_time_constant_seconds)
        began, done = self._clock.now(), 0.0
        while True:
            now, before = self._clock.now(), done
            values, done = ramp.at(now - began, done)
            supply.set_voltages(values)
            if ramp.total_volts > 0:
                lag.step(step * (done - before) / ramp.total_volts, self._clock.now())
            if done >= ramp.total_volts:
                return lag
            self._clock.sleep(RAMP_TICK_SECONDS - (self._clock.now() - now))

    def _note_change(self, volts: tuple[float, ...], lag: FilterLag) -> None:
        """Work out from when on source and board can be believed, by the declared constants."""
        now, budget = self._clock.now(), self._setup.plan.settling.budget_volts
        wait = float(time_to_settle_seconds(lag.volts_at(now), lag.time_constant_seconds, budget))
        self._cells.volts = volts
        if lag.volts > 0:
            self._cells.source_ready = now + self._setup.bench.wiring.settling_seconds
            self._cells.board_ready = self._cells.source_ready + wait

    def measure_cells(
        self,
        cells: Sequence[int],
        *,
        frames: int,
        readings: int,
        power_line_cycles: float,
        with_stack: bool = False,
    ) -> Acquired:
        """Settle, then measure with the meter at `cells` while board frames come in.

        Observations as `harness.checks.check.Bench` says.
        """
        plan = self._setup.plan
        deadline = self._clock.now() + plan.settling.timeout_seconds
        link = self._link()
        self._clock.sleep(self._cells.source_ready - self._clock.now())
        found: list[Observation] = []
        did_hold = True
        if cells:
            self._configure_voltage(power_line_cycles, readings, max(self._cells.volts))
            found, did_hold = bracketed_scan(
                self._read_cell, cells, plan.settling.budget_volts, self._clock, deadline
            )
        if with_stack:
            self._configure_voltage(power_line_cycles, readings, sum(self._cells.volts))
            found += self._read_stack()
        taken, did_settle = settled_frames(
            link, self._clock, self._cell_demand(cells), frames, until=self._clock.now()
        )
        found += frame_observations(taken, link.columns)
        return Acquired(tuple(found), did_hold and did_settle)

    def _cell_demand(self, cells: Sequence[int]) -> SettlingDemand:
        board, plan = self._setup.board, self._setup.plan
        watched = frozenset(cells) or frozenset(range(1, board.cells + 1))
        step = board.cell_inputs.resolution_volts
        return SettlingDemand(
            not_before=self._cells.board_ready + board.sample_age_seconds,
            quantity=Quantity.CELL_VOLTAGE,
            channels=watched,
            budget=plan.settling.budget_volts,
            noise=math.hypot(board.cell_inputs.noise_volts, step / math.sqrt(12)),
            timeout_seconds=plan.settling.timeout_seconds,
        )

    def _configure_voltage(self, cycles: float, readings: int, largest_volts: float) -> None:
        meter = self._meter()
        meter.configure_voltage(largest_volts, cycles, readings)

    def _read_cell(self, cell: int, first_sequence: int) -> list[Observation]:
        self._route(self._setup.bench.paths.meter_at_cell[cell - 1])
        readings = self._meter().read()
        return reference_observations(
            readings, Quantity.CELL_VOLTAGE, cell, self._clock, first_sequence
        )

    def _read_stack(self) -> list[Observation]:
        path = self._setup.bench.paths.meter_at_stack
        if path is None:
            raise MisuseError("meter at the stack: expected a path in the bench file, got none")
        self._route(path)
        return reference_observations(self._meter().read(), Quantity.STACK_VOLTAGE, 0, self._clock)

    # Thermistors ------------------------------------------------------------------------

    def set_thermistors(self, ohms: Mapping[int, float]) -> None:
        """Put the decade at its value on one thermistor, leave all others open.

        `ohms` may name several thermistors but only one with a finite value, because a
        bench has one resistance source; 0.0 is the decade's lowest setting.
        """
        finite = {k: value for k, value in ohms.items() if math.isfinite(value)}
        if len(finite) > 1:
            raise MisuseError(
                f"thermistors: expected at most one to carry the decade, got {sorted(finite)}"
            )
        if not finite:
            self._route(())
            self._note_thermistor(next(iter(ohms), None), math.inf)
            return
        ((thermistor, value),) = finite.items()
        decade = self._decade()
        decade.set_resistance(max(value, decade.model.lowest_ohms))
        self._route(self._setup.bench.paths.decade_at_thermistor[thermistor - 1])
        self._note_thermistor(thermistor, value)

    def _note_thermistor(self, thermistor: int | None, ohms: float) -> None:
        """Work out from when on the board's temperature can be believed."""
        now = self._clock.now()
        self._thermistor_changed = now
        self._thermistor, self._thermistor_ohms = thermistor, ohms
        wait = 0.0
        if thermistor is not None:
            tau = self._setup.board.thermistors[thermistor - 1].filter_time_constant_seconds
            budget = self._setup.plan.settling.budget_celsius
            wait = float(time_to_settle_seconds(self._thermistor_span(thermistor), tau, budget))
        self._thermistor_ready = now + wait

    def _thermistor_span(self, thermistor: int) -> float:
        """The largest change the channel can have made: its curve's whole span, kelvin."""
        curve = self._setup.curves[thermistor - 1]
        return curve.highest_celsius - curve.lowest_celsius

    def measure_thermistor(
        self, thermistor: int, *, frames: int, readings: int, power_line_cycles: float
    ) -> Acquired:
        """Settle, take board frames, then measure the injected resistance.

        Observations as `harness.checks.check.Bench` says.
        """
        board, plan = self._setup.board, self._setup.plan
        channel = board.thermistors[thermistor - 1]
        demand = SettlingDemand(
            not_before=self._thermistor_ready + board.sample_age_seconds,
            quantity=Quantity.TEMPERATURE,
            channels=frozenset({thermistor}),
            budget=plan.settling.budget_celsius,
            noise=math.hypot(channel.noise_celsius, channel.resolution_celsius / math.sqrt(12)),
            timeout_seconds=plan.settling.timeout_seconds,
        )
        link = self._link()
        taken, did_settle = settled_frames(
            link, self._clock, demand, frames, until=self._clock.now()
        )
        found = frame_observations(taken, link.columns)
        found += self._injected_resistance(thermistor, readings, power_line_cycles)
        return Acquired(tuple(found), did_settle)

    def _injected_resistance(
        self, thermistor: int, readings: int, cycles: float
    ) -> list[Observation]:
        """The meter's reading of the decade, or the decade's own setting without such a path."""
        path = self._setup.bench.paths.meter_at_decade
        if path is None or self._parts.meter is None:
            setting = self._decade().get_resistance()
            return reference_observations(
                (setting,), Quantity.RESISTANCE, thermistor, self._clock, source=Source.SETPOINT
            )
        self._route(path)
        self._parts.meter.configure_resistance(self._thermistor_ohms, cycles, readings)
        return reference_observations(
            self._parts.meter.read(), Quantity.RESISTANCE, thermistor, self._clock
        )

    def watch_thermistors(self, seconds: float) -> Acquired:
        """All board frames since the last change of a thermistor, up to one from `seconds` on.

        Observations as `harness.checks.check.Bench` says.

        Raises
        ------
        BoardError : the board fell silent, was unplugged, or sends only bad frames.
        """
        link = self._link()
        link.wait_for_frames(1, after=self._clock.now() + seconds)
        frames = link.frames_after(self._thermistor_changed)
        found = frame_observations(frames, link.columns)
        found.append(
            Observation(
                Source.SETPOINT,
                Quantity.RESISTANCE,
                self._thermistor or 0,
                0,
                self._thermistor_ohms if math.isfinite(self._thermistor_ohms) else math.nan,
                self._clock.wall(),
                self._thermistor_changed,
                "" if math.isfinite(self._thermistor_ohms) else "open",
            )
        )
        return Acquired(tuple(found))

    # Parts ------------------------------------------------------------------------------

    def _route(self, relays: Sequence[str]) -> None:
        """Close exactly these relays over all relay cards, break before make."""
        wanted: dict[str, set[str]] = {name: set() for name in self._parts.switches}
        for relay in relays:
            instrument, number = resolve_relay(relay, self._setup)
            wanted[instrument].add(number)
        for name, numbers in sorted(wanted.items(), key=lambda item: len(item[1])):
            self._parts.switches[name].route(frozenset(numbers))

    def _supply(self) -> Supply:
        return _present(self._parts.supply, "supply")

    def _meter(self) -> Meter:
        return _present(self._parts.meter, "meter")

    def _decade(self) -> Decade:
        return _present(self._parts.decade, "decade")

    def _link(self) -> BoardLink:
        return _present(self._parts.link, "board link")


Part = TypeVar("Part")


def _present(part: Part | None, role: str) -> Part:
    if part is None:
        raise MisuseError(f"bench: expected a {role}, got none; its capabilities say so")
    return part
