"""The electrical state of a simulated bench, carried forward in time event by event.

Between two events sources move in straight lines, so pin voltages do too and every filter and
every integral has a closed solution; `advance` walks from event to event and never steps
through time. Instruments and board change the plant and read it; nothing here knows SCPI,
frames, sockets or the clock.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from harness.descriptions.instrument import SupplyModel
from harness.descriptions.setup import Setup
from harness.observation import FloatArray
from harness.simulator.bench_log import BenchLog, Extremes, OutputSwitched
from harness.simulator.draws import BenchDraw
from harness.simulator.faults import Faults
from harness.simulator.limiting import limited_sources
from harness.simulator.network import StackNetwork
from harness.simulator.relays import RelayPlane
from harness.simulator.stack_facts import stack_facts
from harness.simulator.thermistors import divider_ratio
from harness.simulator.trajectory import SlewedSources, filtered, filtered_integral

# Cable and input filter of a meter. Ten of these pass between a relay's contacts touching
# and the end of its operate time on any relay of 4 ms or more.
METER_INPUT_SECONDS = 0.0002

# Volts a cell from which on a board draws its full currents; below it draws in proportion.
AWAKE_VOLTS_PER_CELL = 0.5

# Set-points and protections closer than this are equal.
SAME_VOLTS = 1.0e-9


@dataclass
class Window:
    """An integration of the meter's input from `start` to `end`, seconds of the clock."""

    start: float
    end: float
    integral: float = 0.0

    @property
    def mean_volts(self) -> float:
        """The average over the whole window; right once the plant has passed its end."""
        return self.integral / (self.end - self.start)


@dataclass
class Outputs:
    """The supply's channels; arrays of shape (channels,).

    programmed_volts : what the output goes to when on (setting errors included).
    """

    channels: int
    model: SupplyModel
    is_stuck_on: bool = False
    programmed_volts: FloatArray = field(init=False)
    limit_amperes: FloatArray = field(init=False)
    protection_volts: FloatArray = field(init=False)
    is_on: list[bool] = field(init=False)
    is_tripped: list[bool] = field(init=False)
    was_limit_set: list[bool] = field(init=False)
    was_protection_set: list[bool] = field(init=False)

    def __post_init__(self) -> None:
        self.programmed_volts = np.zeros(self.channels)
        self.limit_amperes = np.full(self.channels, self.model.highest_amperes)
        self.protection_volts = np.full(self.channels, self.model.highest_protection_volts)
        self.is_on = [False] * self.channels
        self.is_tripped = [False] * self.channels
        self.was_limit_set = [False] * self.channels
        self.was_protection_set = [False] * self.channels


class Plant:
    """Sources, network, board inputs and meter input of one bench, at one moment.

    Parameters
    ----------
    start : clock seconds at which everything is at rest, all outputs off, all relays open.
    """

    def __init__(self, setup: Setup, faults: Faults, draw: BenchDraw, start: float) -> None:
        model = setup.models[setup.bench.wiring.supply]
        assert isinstance(model, SupplyModel), "cross-checked when the bench was read"
        planted = faults.instrument.get(setup.bench.wiring.supply)
        self.time = start
        self.log = BenchLog(extremes=Extremes(output_farads=model.output_farads))
        self.relays = RelayPlane(setup, draw.relay_emf_volts, self.log)
        self.outputs = Outputs(model.channels, model, bool(planted and planted.stuck_on))
        self.decade_ohms = math.inf
        self._thermistors = draw.thermistors
        self._network = StackNetwork(stack_facts(setup, faults, model))
        self._wired = np.array(setup.bench.wiring.channels) - 1
        self._awake_volts = AWAKE_VOLTS_PER_CELL * setup.bench.wiring.cells
        self._sources = SlewedSources(model.channels, model.slew_volts_per_second)
        self._meter_ohms = 1.0e10
        self._agenda: list[tuple[float, int, Callable[[], None]]] = []
        self._order = itertools.count()
        self._windows: list[Window] = []
        self._cells = setup.bench.wiring.cells
        self._time_constants = _time_constants(setup, draw)
        self._solution = self._network.solution(self.relays.topology(self._meter_ohms))
        self._effective = self._sources.volts[self._wired]
        self._ratios = self._divider_ratios()
        self._values = self._solve()
        self._inputs = self._filter_inputs()
        self._filtered = self._inputs

    # Time -------------------------------------------------------------------------------

    def schedule(self, at: float, action: Callable[[], None]) -> None:
        """Have `action` called when `advance` passes the moment `at`; never in the past."""
        heapq.heappush(self._agenda, (max(at, self.time), next(self._order), action))

    def advance(self, to: float) -> None:
        """Carry everything forward to clock second `to`; earlier moments change nothing."""
        self._run_due()
        while self.time < to:
            due = self._agenda[0][0] if self._agenda else math.inf
            seconds = self._seconds_to_break()
            target = min(to, due)
            if self.time + seconds < target:
                self._move(seconds, self.time + seconds)
            else:
                self._move(target - self.time, target)
            self._run_due()

    def _run_due(self) -> None:
        while self._agenda and self._agenda[0][0] <= self.time:
            heapq.heappop(self._agenda)[2]()

    def _seconds_to_break(self) -> float:
        """Time until a source arrives, meets its protection, or the board wakes."""
        if not self._sources.is_moving:
            return math.inf
        soonest = self._sources.seconds_to_next_arrival()
        volts, targets = self._sources.volts, self._sources.targets
        protection = self.outputs.protection_volts
        crossing = (volts < protection - SAME_VOLTS) & (targets > protection + SAME_VOLTS)
        if crossing.any():
            gap = float((protection - volts)[crossing].min())
            soonest = min(soonest, gap / self._sources.slew_volts_per_second)
        rate = float(self._sources.rates()[self._wired].sum())
        gap = self._awake_volts - float(volts[self._wired].sum())
        if rate * gap > 0 and abs(gap) > SAME_VOLTS:
            soonest = min(soonest, gap / rate)
        return soonest

    def _move(self, seconds: float, arrival: float) -> None:
        """One straight piece: `seconds` on, to the clock second `arrival`."""
        start, is_moving = self._inputs, self._sources.is_moving
        if is_moving:
            self._sources.volts = self._sources.after(seconds)
            self._update(self._solve())
        before = self._filtered
        self._filtered = filtered(before, start, self._inputs, seconds, self._time_constants)
        if self._windows:
            integral = filtered_integral(
                before, self._filtered, start, self._inputs, seconds, self._time_constants
            )
            for window in self._windows:
                window.integral += float(integral[self._cells + 1])
        self.time = arrival
        if is_moving:
            self._trip_where_due()

    # Network ----------------------------------------------------------------------------

    def _solve(self) -> FloatArray:
        """Network values now, constant current included; notes the extremes."""
        volts = self._sources.volts[self._wired]
        share = min(1.0, max(0.0, float(volts.sum()) / self._awake_volts))
        limits = self.outputs.limit_amperes[self._wired]
        self._effective, limited = limited_sources(self._solution, volts, share, limits)
        for index in limited:
            self.log.constant_current.append((self.time, int(self._wired[index]) + 1))
        values = self._solution.at(self._effective, share)
        self.log.extremes.note(
            self._solution.pins(values), self._effective, self._solution.currents(values)
        )
        return values

    def _update(self, values: FloatArray) -> None:
        """Take up new network values and what the filters see of them."""
        self._values = values
        self._inputs = self._filter_inputs()

    def _filter_inputs(self) -> FloatArray:
        """Inputs of all filters: cells, stack, meter, thermistor dividers."""
        values = self._values
        pins = values[: self._cells + 1]
        return np.concatenate(
            [pins[1:] - pins[:-1], (pins[-1] - pins[0], values[-1]), self._ratios]
        )

    def _rewire(self) -> None:
        """Take up a change of relays, meter input or decade; the time is that of the change."""
        self._solution = self._network.solution(self.relays.topology(self._meter_ohms))
        self._ratios = self._divider_ratios()
        self._update(self._solve())

    def _divider_ratios(self) -> FloatArray:
        return np.array(
            [
                divider_ratio(errors, self._connected_ohms(index))
                for index, errors in enumerate(self._thermistors)
            ]
        )

    def _connected_ohms(self, thermistor: int) -> float:
        contact = self.relays.decade_contact_ohms(thermistor)
        return math.inf if contact is None else self.decade_ohms + contact

    # What instruments do ----------------------------------------------------------------

    def move_relay(self, relay: tuple[str, str], is_closed: bool) -> None:
        """Open or close a relay's contacts now."""
        self.relays.move(relay, is_closed, self.time)
        self._rewire()

    def set_decade(self, ohms: float) -> None:
        """The decade's actual resistance from now on."""
        self.decade_ohms = ohms
        self._rewire()

    def set_meter_ohms(self, ohms: float) -> None:
        """The meter's input resistance from now on."""
        if ohms != self._meter_ohms:
            self._meter_ohms = ohms
            self._rewire()

    def integrate(self, seconds: float) -> Window:
        """Begin to integrate the meter's input now, for `seconds`."""
        window = Window(self.time, self.time + seconds)
        self._windows.append(window)
        self.schedule(window.end, lambda: self._windows.remove(window))
        return window

    def program_volts(self, channel: int, volts: float) -> None:
        """What a supply channel (counting from 0) goes to when on."""
        self.outputs.programmed_volts[channel] = max(0.0, volts)
        self._aim(channel)

    def program_limit(self, channel: int, amperes: float) -> None:
        """A channel's current limit."""
        self.outputs.limit_amperes[channel] = amperes
        self.outputs.was_limit_set[channel] = True
        self._update(self._solve())

    def program_protection(self, channel: int, volts: float) -> None:
        """A channel's over-voltage protection; trips at once when it is too low already."""
        self.outputs.protection_volts[channel] = volts
        self.outputs.was_protection_set[channel] = True
        self._trip_where_due()

    def reset_limits(self, channel: int) -> None:
        """Limit and protection of a channel as at switch-on: the highest there are, not set."""
        outputs, model = self.outputs, self.outputs.model
        outputs.limit_amperes[channel] = model.highest_amperes
        outputs.protection_volts[channel] = model.highest_protection_volts
        outputs.was_limit_set[channel] = outputs.was_protection_set[channel] = False
        self._update(self._solve())

    def switch_output(self, channel: int, is_on: bool, cause: str = "command") -> None:
        """A channel's output on or off."""
        outputs = self.outputs
        if outputs.is_on[channel] == is_on:
            return
        outputs.is_on[channel] = is_on
        self.log.outputs.append(
            OutputSwitched(
                self.time,
                channel + 1,
                is_on,
                float(outputs.programmed_volts[channel]),
                outputs.was_limit_set[channel],
                outputs.was_protection_set[channel],
                cause,
            )
        )
        self._aim(channel)
        self._trip_where_due()

    def _aim(self, channel: int) -> None:
        outputs = self.outputs
        target = float(outputs.programmed_volts[channel]) if outputs.is_on[channel] else 0.0
        if outputs.is_stuck_on:
            target = max(target, float(self._sources.volts[channel]))
        self._sources.targets[channel] = target

    def _trip_where_due(self) -> None:
        outputs, volts = self.outputs, self._sources.volts
        over = (volts > outputs.protection_volts + SAME_VOLTS) | (
            (volts > outputs.protection_volts - 2 * SAME_VOLTS)
            & (self._sources.targets > outputs.protection_volts + SAME_VOLTS)
        )
        if not over.any():
            return
        for channel in np.flatnonzero(over):
            if outputs.is_on[channel]:
                outputs.is_tripped[channel] = True
                self.switch_output(int(channel), False, "trip")

    # What instruments and board see -------------------------------------------------------

    def terminal_volts(self, channel: int) -> float:
        """Voltage at the terminals of a supply channel (counting from 0)."""
        found = np.flatnonzero(self._wired == channel)
        if not found.size:
            return float(self._sources.volts[channel])
        ohms = self._network.facts.output_ohms
        return float(self._effective[found[0]]) - self.amperes(channel) * ohms

    def amperes(self, channel: int) -> float:
        """Current delivered by a supply channel (counting from 0)."""
        found = np.flatnonzero(self._wired == channel)
        currents = self._solution.currents(self._values)
        return float(currents[found[0]]) if found.size else 0.0

    def pin_volts(self) -> FloatArray:
        """True voltages of the board's pins against the stack's negative source terminal."""
        return self._solution.pins(self._values).copy()

    @property
    def is_meter_connected(self) -> bool:
        """Whether any voltage path of the meter is closed."""
        return bool(self.relays.topology(self._meter_ohms).contacts)

    def meter_ohms_seen(self) -> float:
        """Resistance between the meter's terminals; inf when its path to the decade is open."""
        contact = self.relays.meter_decade_contact_ohms()
        if contact is None:
            return math.inf
        siemens = 1.0 / self.decade_ohms if self.decade_ohms > 0 else math.inf
        for index, errors in enumerate(self._thermistors):
            if self.relays.decade_contact_ohms(index) is not None:
                siemens += 1.0 / errors.pull_up_ohms
        return (1.0 / siemens if siemens > 0 else math.inf) + contact

    @property
    def filtered_cells(self) -> FloatArray:
        """Cell voltages behind the board's input filters, shape (cells,)."""
        return self._filtered[: self._cells]

    @property
    def filtered_stack(self) -> float:
        """Stack voltage behind the board's input filter."""
        return float(self._filtered[self._cells])

    @property
    def filtered_ratios(self) -> FloatArray:
        """Divider ratios of the thermistor inputs behind their filters."""
        return self._filtered[self._cells + 2 :]


def _time_constants(setup: Setup, draw: BenchDraw) -> FloatArray:
    inputs = setup.board.cell_inputs
    return np.concatenate(
        [
            draw.cells.time_constant_seconds,
            (inputs.filter_time_constant_seconds, METER_INPUT_SECONDS),
            [t.filter_time_constant_seconds for t in setup.board.thermistors],
        ]
    )
