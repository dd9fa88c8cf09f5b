"""The one draw of everything random that stays the same while a simulated bench lives.

Given setup, planted faults and seed, the draw is always the same, in whatever process it is
made, so that a test can know what a twin in another process is made of. Noise, which changes
from reading to reading, comes from the generators kept here too, one a part, so that one
part's use does not shift another's.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from harness.descriptions.instrument import (
    DecadeModel,
    InstrumentModel,
    MeterModel,
    SupplyModel,
    SwitchModel,
)
from harness.descriptions.setup import Setup
from harness.observation import FloatArray, IntArray
from harness.simulator.faults import Faults, InstrumentFault, ThermistorFault

# Standard deviation of an error whose stated bound of 1 covers 95 % or 99 % of a normal
# distribution (normal quantiles 1.960 and 2.576).
NORMAL_SIGMA = {"normal 95 %": 1 / 1.959964, "normal 99 %": 1 / 2.575829}


@dataclass(frozen=True)
class CellErrors:
    """What is wrong with each cell channel; arrays of shape (cells,).

    crosstalk : volts per volt, row is the channel that is disturbed, shape (cells, cells).
    order : index of the cell whose value each channel reports; range_volts : where the
    parabola of `inl_volts` is zero.
    """

    gain: FloatArray
    offset_volts: FloatArray
    inl_volts: FloatArray
    common_mode: FloatArray
    warm_up_volts: FloatArray
    warm_up_seconds: FloatArray
    noise_volts: FloatArray
    time_constant_seconds: FloatArray
    crosstalk: FloatArray
    order: IntArray
    range_volts: tuple[float, float]

    def indications(self, cells: FloatArray, uptime_seconds: float = np.inf) -> FloatArray:
        """Each channel's value for these cell voltages, before noise and rounding.

        Parameters
        ----------
        cells : true filtered cell voltages, shape (..., cells), volts.
        uptime_seconds : since switch-on; the default is a warm board.
        """
        low, high = self.range_volts
        share = (cells - low) / (high - low)
        lower_taps = np.cumsum(cells, axis=-1) - cells
        with np.errstate(under="ignore"):
            warm_up = self.warm_up_volts * np.exp(-uptime_seconds / self.warm_up_seconds)
        own = (
            cells * (1 + self.gain)
            + self.offset_volts
            + self.inl_volts * 4 * share * (1 - share)
            + self.common_mode * lower_taps
            + cells @ self.crosstalk.T
            + warm_up
        )
        result: FloatArray = own[..., self.order]
        return result


@dataclass(frozen=True)
class ThermistorErrors:
    """What is wrong with one thermistor input; `shows` is the index of the input reported."""

    pull_up_ohms: float
    fault: ThermistorFault
    noise_celsius: float
    shows: int


@dataclass(frozen=True)
class SupplyErrors:
    """Shares of the specifications, -1 to 1, one a channel."""

    setting: FloatArray
    readback: FloatArray


@dataclass(frozen=True)
class MeterErrors:
    """Shares of the specification, one for volts and one for ohms, the same for all readings."""

    volts: float
    ohms: float


@dataclass(frozen=True)
class BenchDraw:
    """Everything drawn; keys of the mappings are the instruments' names in the bench file."""

    cells: CellErrors
    stack_gain: float
    stack_offset_volts: float
    stack_noise_volts: float
    thermistors: tuple[ThermistorErrors, ...]
    supplies: Mapping[str, SupplyErrors]
    meters: Mapping[str, MeterErrors]
    decades: Mapping[str, float]
    relay_emf_volts: Mapping[tuple[str, str], float]
    board_noise: np.random.Generator
    meter_noise: np.random.Generator
    link_noise: np.random.Generator


def draw_bench(setup: Setup, faults: Faults, seed: int) -> BenchDraw:
    """Draw a bench.

    Parameters
    ----------
    setup, faults : what is declared and what is planted.
    seed : the same seed gives the same bench.
    """
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(7)]
    board, thermistors, instruments, relays, *noises = streams
    cells = _draw_cells(setup, faults, board)
    spread = faults.spread
    supplies, meters, decades = _draw_instruments(setup.models, faults.instrument, instruments)
    return BenchDraw(
        cells=cells,
        stack_gain=faults.stack.gain + _half_width(board, spread.stack_gain),
        stack_offset_volts=faults.stack.offset_volts
        + _half_width(board, spread.stack_offset_volts),
        stack_noise_volts=setup.board.cell_inputs.noise_volts * spread.noise_ratio,
        thermistors=_draw_thermistors(setup, faults, thermistors),
        supplies=supplies,
        meters=meters,
        decades=decades,
        relay_emf_volts=_draw_relays(setup.models, relays),
        board_noise=noises[0],
        meter_noise=noises[1],
        link_noise=noises[2],
    )


def _half_width(generator: np.random.Generator, half_width: float) -> float:
    return float(generator.uniform(-1.0, 1.0)) * half_width


def _drops_behind_pins(faults: Faults, input_amperes: float, cells: int) -> FloatArray:
    """What the input currents drop on the board moves both cells of a tap, one each way."""
    offset = np.zeros(cells)
    for fault in faults.tap:
        drop = fault.board_ohms * _or_else(fault.input_amperes, input_amperes)
        if fault.tap > 0:
            offset[fault.tap - 1] -= drop
            if fault.tap < cells:
                offset[fault.tap] += drop
    return offset


def _draw_cells(setup: Setup, faults: Faults, generator: np.random.Generator) -> CellErrors:
    count, spread, inputs = setup.bench.wiring.cells, faults.spread, setup.board.cell_inputs
    gain = generator.uniform(-1.0, 1.0, count) * spread.gain
    offset = generator.uniform(-1.0, 1.0, count) * spread.offset_volts
    inl = generator.uniform(-1.0, 1.0, count) * spread.inl_volts
    common_mode, warm_up, warm_up_seconds = np.zeros(count), np.zeros(count), np.ones(count)
    noise = np.full(count, inputs.noise_volts * spread.noise_ratio)
    time_constant = np.full(count, inputs.filter_time_constant_seconds)
    for fault in faults.cell:
        i = fault.cell - 1
        gain[i] += fault.gain
        offset[i] += fault.offset_volts
        inl[i] += fault.inl_volts
        common_mode[i] += fault.common_mode
        warm_up[i], warm_up_seconds[i] = fault.warm_up_volts, fault.warm_up_seconds
        noise[i] = _or_else(fault.noise_volts, noise[i])
        time_constant[i] = _or_else(fault.filter_time_constant_seconds, time_constant[i])
    offset += _drops_behind_pins(faults, inputs.input_amperes, count)
    return CellErrors(
        gain=gain,
        offset_volts=offset,
        inl_volts=inl,
        common_mode=common_mode,
        warm_up_volts=warm_up,
        warm_up_seconds=warm_up_seconds,
        noise_volts=noise,
        time_constant_seconds=time_constant,
        crosstalk=_crosstalk(faults, count),
        order=_reported_order(faults, count),
        range_volts=(inputs.lowest_volts, inputs.highest_volts),
    )


def _or_else(value: float | None, default: float) -> float:
    return default if value is None else value


def _crosstalk(faults: Faults, count: int) -> FloatArray:
    matrix = np.zeros((count, count))
    for fault in faults.crosstalk:
        matrix[fault.onto_cell - 1, fault.from_cell - 1] += fault.volts_per_volt
    return matrix


def _reported_order(faults: Faults, count: int) -> IntArray:
    order = np.arange(count)
    for fault in faults.channel:
        if fault.shows_cell is not None:
            order[fault.channel - 1] = fault.shows_cell - 1
    return order


def _draw_thermistors(
    setup: Setup, faults: Faults, generator: np.random.Generator
) -> tuple[ThermistorErrors, ...]:
    found = []
    for index, declared in enumerate(setup.board.thermistors):
        drawn = _half_width(generator, faults.spread.pull_up_ratio)
        fault = next(
            (f for f in faults.thermistor if f.thermistor == index + 1),
            ThermistorFault(thermistor=index + 1),
        )
        noise = declared.noise_celsius * faults.spread.noise_ratio
        found.append(
            ThermistorErrors(
                pull_up_ohms=declared.pull_up_ohms * (1 + drawn + fault.pull_up_ratio),
                fault=fault,
                noise_celsius=_or_else(fault.noise_celsius, noise),
                shows=(fault.shows_thermistor or index + 1) - 1,
            )
        )
    return tuple(found)


def _draw_instruments(
    models: Mapping[str, InstrumentModel],
    faults: Mapping[str, InstrumentFault],
    generator: np.random.Generator,
) -> tuple[dict[str, SupplyErrors], dict[str, MeterErrors], dict[str, float]]:
    supplies: dict[str, SupplyErrors] = {}
    meters: dict[str, MeterErrors] = {}
    decades: dict[str, float] = {}
    for name, model in models.items():
        planted = faults[name].accuracy_draw if name in faults else None
        if isinstance(model, SupplyModel):
            supplies[name] = SupplyErrors(
                setting=generator.uniform(-1.0, 1.0, model.channels),
                readback=generator.uniform(-1.0, 1.0, model.channels),
            )
        elif isinstance(model, MeterModel):
            volts, ohms = (_share(model, generator) for _ in range(2))
            meters[name] = MeterErrors(_or_else(planted, volts), _or_else(planted, ohms))
        elif isinstance(model, DecadeModel):
            decades[name] = _or_else(planted, float(generator.uniform(-1.0, 1.0)))
    return supplies, meters, decades


def _share(model: MeterModel, generator: np.random.Generator) -> float:
    """A share of the accuracy specification, distributed as the model says its bounds are."""
    if model.accuracy_coverage == "rectangular":
        return float(generator.uniform(-1.0, 1.0))
    return float(generator.normal(0.0, NORMAL_SIGMA[model.accuracy_coverage]))


def _draw_relays(
    models: Mapping[str, InstrumentModel], generator: np.random.Generator
) -> dict[tuple[str, str], float]:
    return {
        (name, relay): _half_width(generator, model.thermal_emf_volts)
        for name, model in models.items()
        if isinstance(model, SwitchModel)
        for relay in model.relays
    }
