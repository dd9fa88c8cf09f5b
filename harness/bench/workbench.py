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

import numpy as np

from harness.bench.acquisition import (
    drift_between,
    frame_observations,
    reference_observations,
)
from harness.bench.frame_window import FrameWindow, SettlingDemand, settled_frames
from harness.bench.readiness import CellReadiness, ThermistorReadiness
from harness.bench.source import channel_targets, plan_ramp
from harness.descriptions.instrument import SwitchModel
from harness.descriptions.paths import resolve_relay
from harness.descriptions.setup import Setup
from harness.errors import MisuseError
from harness.instruments.decade import Decade
from harness.instruments.meter import Meter
from harness.instruments.supply import Supply
from harness.instruments.switch import Switch
from harness.link.board_link import BoardLink, LinkStatistics
from harness.observation import Acquired, FloatArray, Observation, Quantity, Source
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


@dataclass(frozen=True)
class _Scan:
    """What the meter is to visit at one point, and how often it reads each path."""

    cells: tuple[int, ...]
    with_stack: bool
    readings: int
    power_line_cycles: float

    @property
    def paths(self) -> int:
        """How many paths the meter visits once."""
        return len(self.cells) + (1 if self.with_stack else 0)


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
        self._opened = clock.now()
        self._cells = CellReadiness(setup, report_event)
        self._is_energised = False
        self._thermistors = ThermistorReadiness(setup, report_event)
        self._decade_ohms: float | None = None
        self._thermistor: int | None = None
        self._thermistor_ohms = math.inf
        self._thermistor_changed = 0.0

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
        moved = np.asarray(volts, dtype=np.float64) - np.asarray(self._cells.volts)
        self._ramp(supply, targets, moved)
        self._cells.volts = tuple(map(float, volts))
        supply.check_regulation()

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

    def _ramp(self, supply: Supply, targets: Mapping[int, float], moved: FloatArray) -> None:
        """Send the ramp, at the end of which the cells have `moved`, volts of shape (cells,).

        The board's lag follows from what was sent when: a computer that stalls makes larger
        steps.
        """
        ramp = plan_ramp(
            supply.set_points(),
            targets,
            self._setup.bench.ceilings,
            supply.model.set_resolution_volts,
        )
        began, done = self._clock.now(), 0.0
        while True:
            now, before = self._clock.now(), done
            values, done = ramp.at(now - began, done)
            supply.set_voltages(values)
            if ramp.total_volts > 0:
                share = (done - before) / ramp.total_volts
                self._cells.stepped(moved * share, self._clock.now())
            if done >= ramp.total_volts:
                return
            self._clock.sleep(RAMP_TICK_SECONDS - (self._clock.now() - now))

    def confirm_source(self) -> None:
        """See that every channel that is on still holds its voltage; nothing is on, nothing done.

        Raises
        ------
        SafetyError : a channel is in constant current, sags, or has tripped.
        InstrumentError : the supply misbehaved.
        """
        if self._parts.supply is not None:
            self._parts.supply.check_regulation()

    def measure_cells(
        self,
        cells: Sequence[int],
        *,
        frames: int,
        readings: int,
        power_line_cycles: float,
        with_stack: bool = False,
        with_bracket: bool = True,
    ) -> Acquired:
        """Settle, then measure with the meter at `cells` while board frames come in.

        Observations as `harness.checks.check.Bench` says. The whole is done again when the
        first path has drifted between the scan and its end, or when the board settled so late
        that scan and frames lie apart.
        """
        scan = _Scan(tuple(cells), with_stack, readings, power_line_cycles)
        timeout = self._setup.plan.settling.timeout_seconds
        deadline = max(self._clock.now(), self._cells.declared_ready) + timeout
        not_before = self._opened
        while True:
            taken, did_hold = self._scan_and_frames(
                scan, frames, with_bracket, not_before, deadline
            )
            if did_hold or not taken.did_settle:
                return taken
            if self._clock.now() >= deadline:
                return Acquired(taken.observations, did_settle=False)
            not_before = self._clock.now()

    def _scan_and_frames(
        self, scan: _Scan, count: int, with_bracket: bool, not_before: float, deadline: float
    ) -> tuple[Acquired, bool]:
        """One attempt, and whether its bracket held; a bracket that came apart did not."""
        self._approach(scan)
        ready = max(self._cells.board_ready(count), not_before)
        self._clock.sleep(self._scan_start(scan, ready, count, with_bracket) - self._clock.now())
        began = self._clock.now()
        if scan.paths and with_bracket:
            ready = max(ready, began)  # whatever held the scan up, it encloses the frames
        found = self._read_all(scan)
        ended = self._clock.now()
        window = self._settled_cells(scan.cells, ready, deadline, count, ended)
        observations = found + frame_observations(window.frames, self._link().columns)
        longest = max(ended - began, count * self._setup.board.refresh_seconds)
        if not scan.paths:
            return Acquired(tuple(observations), window.did_settle), True
        if window.did_settle and window.frames[0].monotonic > ended + longest:
            return Acquired(tuple(observations), did_settle=True), False
        again = self._read_bracket(scan, found) if with_bracket else []
        is_steady = not with_bracket or self._is_steady(scan, found, again)
        return Acquired((*observations, *again), window.did_settle), is_steady

    def _approach(self, scan: _Scan) -> None:
        """Make meter and relays ready for the first path while source and board settle."""
        if scan.with_stack:
            self._configure_stack(scan)
            self._route(self._stack_path())
        elif scan.cells:
            self._configure_cells(scan)
            self._route(self._setup.bench.paths.meter_at_cell[scan.cells[0] - 1])

    def _scan_start(self, scan: _Scan, ready: float, count: int, with_bracket: bool) -> float:
        """So that scan and frames end together; a bracket must begin before the frames do."""
        end = ready + count * self._setup.board.refresh_seconds
        start = end - scan.paths * self._path_seconds(scan)
        if with_bracket:
            start = min(start, ready)
        return max(self._cells.source_ready, start)

    def _path_seconds(self, scan: _Scan) -> float:
        """Shortest time of a move to a path and its readings, by the declared figures."""
        setup = self._setup
        cards = [m for m in setup.models.values() if isinstance(m, SwitchModel)]
        moves = max((m.release_seconds + m.operate_seconds for m in cards), default=0.0)
        return moves + scan.readings * scan.power_line_cycles / setup.bench.line_frequency_hertz

    def _settled_cells(
        self, cells: Sequence[int], ready: float, deadline: float, count: int, until: float
    ) -> FrameWindow:
        """The board's frames from `ready` on; what they show of its filters is remembered."""
        board, plan = self._setup.board, self._setup.plan
        inputs = board.cell_inputs
        age = board.sample_age_seconds
        demand = SettlingDemand(
            stimulus_ended=max(self._cells.source_ready, self._opened) + age,
            not_before=ready + age,
            deadline=deadline,
            quantity=Quantity.CELL_VOLTAGE,
            channels=frozenset(cells) or frozenset(range(1, board.cells + 1)),
            budget=plan.settling.budget_volts,
            noise=math.hypot(inputs.noise_volts, inputs.resolution_volts / math.sqrt(12)),
            time_constant_seconds=inputs.filter_time_constant_seconds,
        )
        window = settled_frames(self._link(), self._clock, demand, count, until)
        self._cells.slow.learn(window.slow)
        return window

    def _configure_cells(self, scan: _Scan) -> None:
        volts = max(self._cells.volts)
        self._meter().configure_voltage(volts, scan.power_line_cycles, scan.readings)

    def _configure_stack(self, scan: _Scan) -> None:
        volts = sum(self._cells.volts)
        self._meter().configure_voltage(volts, scan.power_line_cycles, scan.readings)

    def _read_all(self, scan: _Scan) -> list[Observation]:
        """Each path once: the stack, then the cells, so that ranges change only once."""
        found: list[Observation] = []
        if scan.with_stack:
            self._configure_stack(scan)
            found += self._read_stack()
        if scan.cells:
            self._configure_cells(scan)
            found += [o for cell in scan.cells for o in self._read_cell(cell, 0)]
        return found

    def _read_bracket(self, scan: _Scan, found: Sequence[Observation]) -> list[Observation]:
        """The first cell again, or the stack where there is none: the end of the bracket."""
        if scan.cells:
            return self._read_cell(scan.cells[0], scan.readings)
        return self._read_stack(scan.readings)

    def _is_steady(
        self, scan: _Scan, found: Sequence[Observation], again: Sequence[Observation]
    ) -> bool:
        """Whether the first path stood still from the scan to its end."""
        path = (again[0].quantity, again[0].channel)
        first = [o for o in found if (o.quantity, o.channel) == path]
        budget = self._setup.plan.settling.budget_volts
        if not scan.cells:
            budget *= self._setup.board.cells
        # NaN (overload) is judged later, not waited out.
        return not drift_between(first, again) > budget

    def _read_cell(self, cell: int, first_sequence: int) -> list[Observation]:
        self._route(self._setup.bench.paths.meter_at_cell[cell - 1])
        readings = self._meter().read()
        return reference_observations(
            readings, Quantity.CELL_VOLTAGE, cell, self._clock, first_sequence
        )

    def _read_stack(self, first_sequence: int = 0) -> list[Observation]:
        self._route(self._stack_path())
        readings = self._meter().read()
        return reference_observations(
            readings, Quantity.STACK_VOLTAGE, 0, self._clock, first_sequence
        )

    def _stack_path(self) -> Sequence[str]:
        path = self._setup.bench.paths.meter_at_stack
        if path is None:
            raise MisuseError("meter at the stack: expected a path in the bench file, got none")
        return path

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
            self._note_thermistor(next(iter(ohms), None), math.inf, {})
            return
        ((thermistor, value),) = finite.items()
        self._set_decade(value)
        self._route(self._setup.bench.paths.decade_at_thermistor[thermistor - 1])
        self._note_thermistor(thermistor, value, finite)

    def _set_decade(self, ohms: float) -> None:
        """Set the decade unless it stands there; its settling runs from the message on."""
        decade = self._decade()
        value = max(ohms, decade.model.lowest_ohms)
        if value == self._decade_ohms:
            return
        self._decade_ohms, began = None, self._clock.now()
        decade.set_resistance(value)
        self._decade_ohms = value
        self._thermistors.decade_ready = began + decade.model.settling_seconds

    def _note_thermistor(
        self, thermistor: int | None, ohms: float, injected: Mapping[int, float]
    ) -> None:
        """Keep what was changed when."""
        self._thermistor_changed = self._clock.now()
        self._thermistor, self._thermistor_ohms = thermistor, ohms
        self._thermistors.injected(injected, self._thermistor_changed)

    def measure_thermistor(
        self, thermistor: int, *, frames: int, readings: int, power_line_cycles: float
    ) -> Acquired:
        """Settle, take board frames, then measure the injected resistance.

        Observations as `harness.checks.check.Bench` says.
        """
        window = self._settled_thermistor(thermistor, frames)
        found = frame_observations(window.frames, self._link().columns)
        found += self._injected_resistance(thermistor, readings, power_line_cycles)
        return Acquired(tuple(found), window.did_settle)

    def _settled_thermistor(self, thermistor: int, count: int) -> FrameWindow:
        """The board's frames once settled; what they show of its filters is remembered."""
        board, plan = self._setup.board, self._setup.plan
        channel = board.thermistors[thermistor - 1]
        ready = self._thermistors.board_ready(thermistor, count) + board.sample_age_seconds
        declared = self._thermistors.declared_ready(thermistor) + board.sample_age_seconds
        now = self._clock.now()
        demand = SettlingDemand(
            # Temperature is no exponential while the divider still moves far.
            stimulus_ended=max(declared, self._opened),
            not_before=max(ready, self._opened),
            deadline=max(now, declared) + plan.settling.timeout_seconds,
            quantity=Quantity.TEMPERATURE,
            channels=frozenset({thermistor}),
            budget=plan.settling.budget_celsius,
            noise=math.hypot(channel.noise_celsius, channel.resolution_celsius / math.sqrt(12)),
            time_constant_seconds=channel.filter_time_constant_seconds,
        )
        window = settled_frames(self._link(), self._clock, demand, count, until=now)
        self._thermistors.slow.learn(window.slow)
        return window

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
        self._thermistors.injected({}, self._clock.now())
        self._parts.meter.configure_resistance(self._thermistor_ohms, cycles, readings)
        self._clock.sleep(self._thermistors.decade_ready - self._clock.now())
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
