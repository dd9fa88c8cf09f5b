"""Setups and plants for the simulator's tests."""

from __future__ import annotations

from pathlib import Path

from harness.descriptions.reading import read_setup
from harness.descriptions.setup import Setup
from harness.simulator.draws import draw_bench
from harness.simulator.faults import Faults, Spread
from harness.simulator.plant import Plant

FIXTURES = Path(__file__).parents[2] / "fixtures"

# A bench without any random error: what comes out can be computed by hand.
PERFECT = Spread(
    offset_volts=0.0,
    gain=0.0,
    stack_gain=0.0,
    stack_offset_volts=0.0,
    pull_up_ratio=0.0,
    noise_ratio=0.0,
)


def fixture_setup(bench: str = "narrowboat-series", board: str = "heron") -> Setup:
    """A setup from the fixtures."""
    return read_setup(
        FIXTURES / "benches" / f"{bench}.toml",
        FIXTURES / "boards" / f"{board}.toml",
        FIXTURES / "plans" / "acceptance.toml",
    )


def perfect_plant(setup: Setup, faults: Faults | None = None) -> Plant:
    """A plant at clock second 0; instruments' errors are drawn all the same."""
    faults = faults or Faults(spread=PERFECT)
    return Plant(setup, faults, draw_bench(setup, faults, 1), 0.0)


def switch_all_on(plant: Plant, volts: float) -> None:
    """All channels prepared and on at `volts`."""
    for channel in range(plant.outputs.channels):
        plant.program_limit(channel, 0.1)
        plant.switch_output(channel, True)
        plant.program_volts(channel, volts)
