"""What the simulated board says of known voltages and resistances, fault by fault."""

from __future__ import annotations

import math

import numpy as np
import pytest
from simulated_benches import PERFECT, perfect_plant, switch_all_on

from harness.descriptions.setup import Setup
from harness.observation import Quantity
from harness.simulator.board import Board, Sample
from harness.simulator.draws import draw_bench
from harness.simulator.faults import (
    CellFault,
    ChannelFault,
    Crosstalk,
    Faults,
    LinkFault,
    Spread,
    StackFault,
    ThermistorFault,
)

CELL = Quantity.CELL_VOLTAGE


def frames(
    setup: Setup, seconds: float = 2.0, volts: float = 3.3, **planted: object
) -> list[Sample]:
    """All frames of a board on a bench at `volts` a cell from the start."""
    faults = Faults(**({"spread": PERFECT} | planted))  # type: ignore[arg-type]
    plant = perfect_plant(setup, faults)
    board = Board(setup, faults, draw_bench(setup, faults, 1), plant, 0.0)
    switch_all_on(plant, volts)
    plant.advance(seconds)
    return board.take_due()


def cells_of(sample: Sample) -> np.ndarray:
    return np.array([sample.values[CELL, k] for k in range(1, 13)])


def test_frames_come_every_refresh_period(series_setup: Setup) -> None:
    """0.05 s: forty frames in two seconds, numbered, each with its uptime."""
    found = frames(series_setup)
    assert list(range(40)) == [sample.sequence for sample in found]
    assert pytest.approx([0.05 * (k + 1) for k in range(40)]) == [s.begins for s in found]
    assert pytest.approx(2.0) == found[-1].uptime_seconds


def test_a_perfect_board_reads_its_pins(series_setup: Setup) -> None:
    """3.3 V less 0.75 mV at the end cells, in steps of 1 mV."""
    expected = np.full(12, 3.3)
    expected[[0, -1]] = 3.299
    assert pytest.approx(expected) == cells_of(frames(series_setup)[-1])


def test_samples_are_as_old_as_declared(series_setup: Setup) -> None:
    """What changes less than the sample age before a frame begins is not in it."""
    faults = Faults(spread=PERFECT, cell=(CellFault(cell=1, filter_time_constant_seconds=0.0),))
    plant = perfect_plant(series_setup, faults)
    board = Board(series_setup, faults, draw_bench(series_setup, faults, 1), plant, 0.0)
    plant.schedule(0.046, lambda: switch_all_on(plant, 3.3))
    plant.advance(0.11)
    first, second = board.take_due()
    assert first.values[CELL, 1] == 0.0
    assert pytest.approx(3.299) == second.values[CELL, 1]


@pytest.mark.parametrize(
    ("planted", "cell", "shift"),
    [
        pytest.param({"cell": (CellFault(cell=5, offset_volts=0.012),)}, 5, 0.012, id="offset"),
        pytest.param({"cell": (CellFault(cell=2, gain=0.01),)}, 2, 0.033, id="gain"),
        pytest.param(
            {"cell": (CellFault(cell=3, common_mode=0.001),)}, 3, 0.0066, id="common-mode"
        ),
        pytest.param(
            {"crosstalk": (Crosstalk(from_cell=6, onto_cell=7, volts_per_volt=0.01),)},
            7,
            0.033,
            id="crosstalk",
        ),
        pytest.param({"cell": (CellFault(cell=4, inl_volts=0.01),)}, 4, 0.0094, id="inl"),
        pytest.param(
            {"cell": (CellFault(cell=8, warm_up_volts=0.05, warm_up_seconds=2.0),)},
            8,
            0.05 * math.exp(-1),
            id="warm-up",
        ),
    ],
)
def test_planted_errors_show(
    series_setup: Setup, planted: dict[str, object], cell: int, shift: float
) -> None:
    """The channel is off by the planted error, to the reported millivolt."""
    cells = cells_of(frames(series_setup, **planted)[-1])
    assert pytest.approx(3.3 + shift, abs=0.0006) == cells[cell - 1]


def test_truncation_loses_half_a_step(series_setup: Setup) -> None:
    """Cheap firmware truncates: 3.2999 V becomes 3.299 V."""
    spread = Spread(**{**PERFECT.__dict__, "quantisation": "truncate"})
    cells = cells_of(frames(series_setup, spread=spread)[-1])
    assert pytest.approx(3.299) == cells[5]


def test_noise_has_the_declared_deviation(series_setup: Setup) -> None:
    """0.5 mV, with 1 mV steps: sqrt(0.5^2 + 1/12) mV."""
    spread = Spread(**{**PERFECT.__dict__, "noise_ratio": 1.0})
    found = frames(series_setup, seconds=100.0, spread=spread)[40:]
    deviation = np.std([cells_of(s) for s in found], axis=0).mean()
    assert pytest.approx(math.sqrt(0.5**2 + 1 / 12) * 1e-3, rel=0.03) == deviation


def test_swapped_copied_and_frozen_channels(series_setup: Setup) -> None:
    """A swap shows the neighbours' values; a frozen channel keeps its first value."""
    planted = {
        "cell": (CellFault(cell=3, offset_volts=0.1), CellFault(cell=6, offset_volts=0.2)),
        "channel": (
            ChannelFault(channel=3, shows_cell=4),
            ChannelFault(channel=4, shows_cell=3),
            ChannelFault(channel=7, shows_cell=6),
            ChannelFault(channel=9, frozen_after_seconds=0.0),
        ),
    }
    found = frames(series_setup, **planted)
    cells = cells_of(found[-1])
    assert pytest.approx([3.3, 3.4], abs=1e-9) == cells[2:4]
    assert pytest.approx([3.5, 3.5], abs=1e-9) == cells[5:7]
    assert found[0].values[CELL, 9] == cells[8] < 3.29


def test_stale_channel_is_renewed_now_and_then(series_setup: Setup) -> None:
    """Every fourth frame carries a new value, the others the old one."""
    spread = Spread(**{**PERFECT.__dict__, "noise_ratio": 1.0})
    faults = (ChannelFault(channel=2, renewed_every_frames=4),)
    cells = [s.values[CELL, 2] for s in frames(series_setup, spread=spread, channel=faults)]
    assert all(len(set(cells[k : k + 4])) == 1 for k in range(0, 40, 4))
    assert len(set(cells)) > 3


def test_stack_voltage_has_its_own_gain(series_setup: Setup) -> None:
    """39.6 V with 1 % too much is 39.99 V, in steps of 10 mV."""
    sample = frames(series_setup, stack=StackFault(gain=0.01))[-1]
    assert pytest.approx(39.99) == sample.values[Quantity.STACK_VOLTAGE, 0]


def test_refresh_can_be_slower_than_declared(series_setup: Setup) -> None:
    """A ratio of 2 halves the frames."""
    assert len(frames(series_setup, link=LinkFault(refresh_ratio=2.0))) == 20


def temperatures(setup: Setup, ohms: float, **planted: object) -> tuple[Sample, float]:
    """The last frame with `ohms` on thermistor 1, and its temperature."""
    faults = Faults(**({"spread": PERFECT} | planted))  # type: ignore[arg-type]
    plant = perfect_plant(setup, faults)
    board = Board(setup, faults, draw_bench(setup, faults, 1), plant, 0.0)
    plant.set_decade(ohms)
    plant.move_relay(("relays", "121"), True)
    plant.advance(2.0)
    sample = board.take_due()[-1]
    return sample, sample.values[Quantity.TEMPERATURE, 1]


def test_ten_kilohm_is_25_degrees(series_setup: Setup) -> None:
    """The reference point of the declared curve; the other input is open and says so."""
    sample, celsius = temperatures(series_setup, 10_000.0)
    assert pytest.approx(25.0) == celsius
    assert sample.values[Quantity.THERMISTOR_OPEN, 1] == 0.0
    assert sample.values[Quantity.THERMISTOR_OPEN, 2] == 1.0
    assert pytest.approx(-60.0) == sample.values[Quantity.TEMPERATURE, 2]


def test_short_circuit_is_flagged(series_setup: Setup) -> None:
    """1.5 ohm is a short circuit and reads the declared 150 degC."""
    sample, celsius = temperatures(series_setup, 1.5)
    assert pytest.approx(150.0) == celsius
    assert sample.values[Quantity.THERMISTOR_SHORT, 1] == 1.0


@pytest.mark.parametrize(
    ("fault", "shift"),
    [
        # dT = -(T^2 / beta) dR / R with beta = 3977 K at 298.15 K: 0.2235 K per percent.
        pytest.param({"pull_up_ratio": 0.12}, 22.35 * math.log(1.12), id="pull-up"),
        pytest.param({"series_ohms": 100.0}, -22.35 * math.log(1.01), id="series"),
        pytest.param({"leakage_ohms": 1e6}, 22.35 * math.log(1.01), id="leakage"),
        pytest.param({"adc_offset": 0.005}, -22.35 * math.log(0.505 / 0.495), id="adc-offset"),
    ],
)
def test_thermistor_errors(series_setup: Setup, fault: dict[str, float], shift: float) -> None:
    """Each error moves the temperature as the beta equation says."""
    planted = (ThermistorFault(thermistor=1, **fault),)  # type: ignore[arg-type]
    _, celsius = temperatures(series_setup, 10_000.0, thermistor=planted)
    assert pytest.approx(25.0 + shift, abs=0.12) == celsius


def test_swapped_thermistors(series_setup: Setup) -> None:
    """Input 1 shows what is at input 2: open."""
    planted = (ThermistorFault(thermistor=1, shows_thermistor=2),)
    sample, celsius = temperatures(series_setup, 10_000.0, thermistor=planted)
    assert pytest.approx(-60.0) == celsius
    assert sample.values[Quantity.THERMISTOR_OPEN, 1] == 1.0


def test_missing_flags(series_setup: Setup) -> None:
    """A board without diagnosis flags no short circuit and sticks at its curve's end."""
    planted = (ThermistorFault(thermistor=1, has_no_flags=True),)
    sample, celsius = temperatures(series_setup, 1.5, thermistor=planted)
    assert pytest.approx(125.0) == celsius
    assert sample.values[Quantity.THERMISTOR_SHORT, 1] == 0.0
