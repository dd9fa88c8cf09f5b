"""Setups, a fake bench and made-up observations for the tests of `harness.checks`.

The fake bench holds a simple board: value = gain x cell + offset, noise, reporting step, and a
table of which cell each channel follows. It records the calls it gets. Its clock moves only
when something is measured.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from harness.checks.check import Acquired, Check
from harness.descriptions.bench import Ambient, BenchDescription, InstrumentEntry, Paths, Wiring
from harness.descriptions.board import (
    BoardDescription,
    BoardLimits,
    CellInputs,
    FrameField,
    SerialPort,
    TextFrame,
    ThermistorInput,
)
from harness.descriptions.curve import BetaForm, CurveDescription
from harness.descriptions.curve_values import curve_value
from harness.descriptions.instrument import (
    AccuracyColumn,
    AgeColumn,
    DecadeModel,
    Integration,
    MeterModel,
    MeterRange,
    SupplyModel,
    SwitchModel,
)
from harness.descriptions.plan import Decision, Effort, LimitOverride, PlanDescription, Settling
from harness.descriptions.setup import Setup
from harness.observation import (
    Observation,
    Observations,
    PointRecord,
    Quantity,
    Source,
    tabulate,
)

CELLS = 4
THERMISTORS = 2
REFRESH_SECONDS = 0.1


def meter_range(value: float, **changes: Any) -> MeterRange:
    """A range with 35 ppm of reading and 5 ppm of range in the one-year column."""
    column = AccuracyColumn(ppm_of_reading=35.0, ppm_of_range=5.0)
    return MeterRange(range_value=value, accuracy={AgeColumn.YEAR: column}, **changes)


def meter_model(**changes: Any) -> MeterModel:
    """An invented meter: ranges of 1, 10 and 100 V; 1 k, 10 k, 100 k and 1 Mohm."""
    settings: dict[str, Any] = {
        "role": "meter",
        "name": "invented meter",
        "identity": "invented-meter",
        "voltage_ranges": tuple(meter_range(v) for v in (1.0, 10.0, 100.0)),
        "resistance_ranges": tuple(meter_range(v) for v in (1e3, 1e4, 1e5, 1e6)),
        "integration": (
            Integration(power_line_cycles=1.0, resolution_ppm_of_range=0.3, noise_ppm_of_range=0.5),
            Integration(
                power_line_cycles=10.0, resolution_ppm_of_range=0.1, noise_ppm_of_range=0.1
            ),
        ),
    }
    return MeterModel(**{**settings, **changes})


def models(**changes: Any) -> dict[str, Any]:
    """Instrument models by the names that `bench` uses."""
    found: dict[str, Any] = {
        "source": SupplyModel(
            role="supply",
            name="s",
            identity="s",
            channels=CELLS,
            highest_volts=60.0,
            highest_amperes=1.0,
            highest_protection_volts=66.0,
        ),
        "dmm": meter_model(),
        "box": DecadeModel(role="decade", name="d", identity="d", highest_ohms=1.0e6),
        "card": SwitchModel(
            role="switch",
            name="c",
            identity="c",
            relays=tuple(f"{n}" for n in range(1, 33)),
            thermal_emf_volts=1.0e-6,
        ),
    }
    return {**found, **changes}


def bench(**changes: Any) -> BenchDescription:
    """A series bench with every path."""
    roles = {"source": "supply", "dmm": "meter", "box": "decade", "card": "switch"}
    settings: dict[str, Any] = {
        "name": "invented bench",
        "instruments": {
            name: InstrumentEntry(
                role=role,
                resource="TCPIP::127.0.0.1::1::SOCKET",
                model=f"{name}.toml",
                calibrated=datetime.date(2026, 1, 10),
                due=datetime.date(2027, 1, 10),
            )
            for name, role in roles.items()
        },
        "wiring": Wiring(
            topology="series",
            cells=CELLS,
            supply="source",
            channels=tuple(range(1, CELLS + 1)),
        ),
        "paths": Paths(
            meter_at_cell=tuple((f"{2 * k + 1}", f"{2 * k + 2}") for k in range(CELLS)),
            meter_at_stack=("21", "22"),
            meter_at_decade=("23",),
            decade_at_thermistor=(("24",), ("25",)),
        ),
        "ambient": Ambient(celsius=23.0),
    }
    return BenchDescription(**{**settings, **changes})


def board(**changes: Any) -> BoardDescription:
    """A board of four cells and two thermistors, 1 mV steps, 0.3 mV noise, +-5 mV limits."""
    settings: dict[str, Any] = {
        "name": "Heron",
        "cells": CELLS,
        "refresh_seconds": REFRESH_SECONDS,
        "limits": BoardLimits(
            cell_error_volts=0.005,
            stack_error_volts=0.03,
            noise_volts=0.001,
            thermistor_error_celsius=1.0,
        ),
        "cell_inputs": CellInputs(
            lowest_volts=2.0,
            highest_volts=4.5,
            resolution_volts=0.001,
            noise_volts=0.0003,
            stack_resolution_volts=0.01,
        ),
        "thermistors": tuple(
            ThermistorInput(name=f"t{k}", curve="ntc.toml") for k in range(1, THERMISTORS + 1)
        ),
        "serial": SerialPort(port="/dev/null"),
        "frame": TextFrame(
            form="csv", fields=(FrameField(quantity="cell_voltage", channels=(1, CELLS)),)
        ),
    }
    return BoardDescription(**{**settings, **changes})


def cell_inputs(**changes: Any) -> CellInputs:
    """The cell inputs of `board` with some figures changed."""
    return replace(board().cell_inputs, **changes)


def setup(*checks: Any, **changes: Any) -> Setup:
    """A setup whose plan holds `checks`; `changes` replace parts of it or of its plan."""
    plan: dict[str, Any] = {"name": "plan", "check": checks}
    for key, kind in (
        ("effort", Effort),
        ("decision", Decision),
        ("limits", LimitOverride),
        ("settling", Settling),
    ):
        if key in changes:
            plan[key] = kind(**changes.pop(key))
    curve = CurveDescription(
        name="ntc", curve=BetaForm(form="beta", reference_ohms=1.0e4, beta_kelvin=3435.0)
    )
    parts: dict[str, Any] = {
        "bench": bench(),
        "board": board(),
        "models": models(),
        "curves": (curve,) * THERMISTORS,
    }
    return Setup(plan=PlanDescription(**plan), **{**parts, **changes})


@dataclass
class StepClock:
    """A clock that moves when told."""

    seconds: float = 100.0

    def now(self) -> float:
        return self.seconds

    def wall(self) -> float:
        return 1.7e9 + self.seconds

    def sleep(self, seconds: float) -> None:
        self.seconds += max(seconds, 0.0)

    def real_seconds(self, seconds: float) -> float:
        return seconds

    def real_timeout(self, seconds: float) -> float:
        return seconds


@dataclass
class FakeBoard:
    """What the board makes of cells and thermistors.

    follows[j] is the index of the cell that channel j reads. `told_after` seconds pass until
    an open or short circuit is flagged; None: never, and `fault_celsius` is read instead.
    """

    gain: Sequence[float] = (1.0,) * CELLS
    offset: Sequence[float] = (0.0,) * CELLS
    follows: Sequence[int] = tuple(range(CELLS))
    noise: float = 0.0003
    step: float = 0.001
    stack_gain: float = 1.0
    stack_offset: float = 0.0
    celsius_offset: Sequence[float] = (0.0,) * THERMISTORS
    told_after: float | None = 0.25
    fault_celsius: float = -12.3
    swaps_flags: bool = False
    change: Callable[[np.ndarray], np.ndarray] = lambda values: values

    def cells(self, truth: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        values = truth[list(self.follows)] * np.asarray(self.gain) + np.asarray(self.offset)
        noisy = values + rng.normal(0, self.noise, len(values)) if self.noise else values
        return self.change(_rounded(noisy, self.step))

    def stack(self, truth: np.ndarray, rng: np.random.Generator) -> float:
        return float(_rounded(truth.sum() * self.stack_gain + self.stack_offset, 0.01))


def _rounded(values: Any, step: float) -> Any:
    return np.round(values / step) * step if step else values


@dataclass
class FakeBench:
    """A bench as checks see it; see the module's docstring."""

    setup: Setup
    board: FakeBoard = field(default_factory=FakeBoard)
    clock: StepClock = field(default_factory=StepClock)
    seed: int = 1
    meter_gain: float = 1.0
    meter_noise: float = 0.0
    did_settle: bool = True
    calls: list[tuple[Any, ...]] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)
        self.volts = np.zeros(self.setup.board.cells)
        self.ohms: dict[int, float] = {}
        self.changed = self.clock.now()
        self.frames: list[Observation] = []

    def set_cells(self, volts: Sequence[float]) -> None:
        self.calls.append(("set_cells", tuple(volts)))
        self.volts = np.array(volts, dtype=float)

    def confirm_source(self) -> None:
        self.calls.append(("confirm_source",))

    def _see(
        self, source: Source, quantity: Quantity, channel: int, sequence: int, value: float
    ) -> Observation:
        now = self.clock.now()
        return Observation(source, quantity, channel, sequence, float(value), now, now)

    def _read(self, value: float) -> float:
        return value * self.meter_gain + self.rng.normal(0, 1) * self.meter_noise

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
        self.calls.append(
            ("measure_cells", tuple(cells), frames, readings, power_line_cycles, with_stack)
        )
        found = []
        order = [*cells, *cells[:1]] if len(cells) > 1 else list(cells)
        taken: dict[int, int] = {}
        for cell in order:
            for _ in range(readings):
                self.clock.sleep(0.02 * power_line_cycles)
                place = taken.get(cell, 0)
                taken[cell] = place + 1
                found.append(
                    self._see(
                        Source.REFERENCE,
                        Quantity.CELL_VOLTAGE,
                        cell,
                        place,
                        self._read(self.volts[cell - 1]),
                    )
                )
        if with_stack:
            found.append(
                self._see(
                    Source.REFERENCE, Quantity.STACK_VOLTAGE, 0, 0, self._read(self.volts.sum())
                )
            )
        for i in range(frames):
            self.clock.sleep(REFRESH_SECONDS)
            for channel, value in enumerate(self.board.cells(self.volts, self.rng), 1):
                found.append(self._see(Source.BOARD, Quantity.CELL_VOLTAGE, channel, i, value))
            found.append(
                self._see(
                    Source.BOARD,
                    Quantity.STACK_VOLTAGE,
                    0,
                    i,
                    self.board.stack(self.volts, self.rng),
                )
            )
        return Acquired(tuple(found), self.did_settle)

    def set_thermistors(self, ohms: Mapping[int, float]) -> None:
        self.calls.append(("set_thermistors", dict(ohms)))
        self.ohms = {k: v for k, v in ohms.items() if math.isfinite(v)}
        self.touched = next(iter(ohms), 0)
        self.changed = self.clock.now()
        self.frames = []

    def _state(self, thermistor: int) -> tuple[float, float, float]:
        """Temperature, open flag, short flag of one frame."""
        ohms = self.ohms.get(thermistor, math.inf)
        if math.isfinite(ohms) and ohms > 0:
            curve = curve_value(self.setup.curves[thermistor - 1])
            true = float(curve.temperature(ohms))
            read = _rounded(true + self.board.celsius_offset[thermistor - 1], 0.1)
            return read, 0.0, 0.0
        if self.board.told_after is None:
            return self.board.fault_celsius, 0.0, 0.0
        is_told = thermistor != self.touched or (
            self.clock.now() - self.changed >= self.board.told_after - 1e-9
        )
        is_open = math.isinf(ohms) != self.board.swaps_flags
        told = float(is_told)
        return self.board.fault_celsius, told * is_open, told * (not is_open)

    def _frame(self, sequence: int) -> list[Observation]:
        self.clock.sleep(REFRESH_SECONDS)
        found = []
        for k in range(1, len(self.setup.board.thermistors) + 1):
            quantities = (Quantity.TEMPERATURE, Quantity.THERMISTOR_OPEN, Quantity.THERMISTOR_SHORT)
            for quantity, value in zip(quantities, self._state(k), strict=True):
                found.append(self._see(Source.BOARD, quantity, k, sequence, value))
        return found

    def measure_thermistor(
        self, thermistor: int, *, frames: int, readings: int, power_line_cycles: float
    ) -> Acquired:
        self.calls.append(("measure_thermistor", thermistor, frames, readings))
        found = [o for i in range(frames) for o in self._frame(i)]
        for i in range(readings):
            found.append(
                self._see(
                    Source.REFERENCE,
                    Quantity.RESISTANCE,
                    thermistor,
                    i,
                    self._read(self.ohms[thermistor]),
                )
            )
        return Acquired(tuple(found), self.did_settle)

    def watch_thermistors(self, seconds: float) -> Acquired:
        self.calls.append(("watch_thermistors", seconds))
        end = self.clock.now() + seconds
        while self.clock.now() + REFRESH_SECONDS <= end + 1e-9:
            self.frames += self._frame(len(self.frames))
        self.clock.sleep(end - self.clock.now())
        ohms = self.ohms.get(self.touched, math.nan)
        changed = Observation(
            Source.SETPOINT,
            Quantity.RESISTANCE,
            self.touched,
            0,
            ohms,
            self.changed,
            self.changed,
            "" if math.isfinite(ohms) else "open",
        )
        return Acquired((*self.frames, changed))


def acquired(check: Check, a_bench: FakeBench, index: int = 0) -> list[PointRecord]:
    """Every planned point of `check`, visited on `a_bench`."""
    return [check.acquire(a_bench, point, index) for point in check.points(a_bench.setup, index)]


def observed(check: Check, a_bench: FakeBench, index: int = 0, run: int = 0) -> Observations:
    """The observations of one whole check on `a_bench`."""
    return tabulate(acquired(check, a_bench, index), run)


def joined(*parts: Observations) -> Observations:
    """Observations of several runs in one."""
    columns = {
        name: np.concatenate([getattr(p, name) for p in parts])
        for name in (
            "run",
            "check",
            "step",
            "source",
            "quantity",
            "channel",
            "sequence",
            "value",
            "monotonic",
        )
    }
    labels = {key: label for p in parts for key, label in p.labels.items()}
    unsettled = frozenset().union(*(p.unsettled for p in parts))
    return Observations(**columns, labels=labels, unsettled=unsettled)


def with_value(observations: Observations, value: float, **where: int) -> Observations:
    """`observations` with `value` in the rows whose columns equal `where`."""
    mask = np.ones(len(observations), dtype=bool)
    for name, wanted in where.items():
        mask &= getattr(observations, name) == wanted
    assert mask.any()
    return replace(observations, value=np.where(mask, value, observations.value))


def without(observations: Observations, **where: int) -> Observations:
    """`observations` without the rows whose columns equal `where`."""
    mask = np.ones(len(observations), dtype=bool)
    for name, wanted in where.items():
        mask &= getattr(observations, name) == wanted
    assert mask.any()
    return observations.where(~mask)
