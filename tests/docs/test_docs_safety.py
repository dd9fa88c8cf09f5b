"""docs/safety.md names what the code enforces, and every hazard it must not leave out."""

from __future__ import annotations

import dataclasses

import pytest
from pages import page, section

from harness.bench.stopping import STOPPING_SIGNALS
from harness.cli.exit_codes import ExitCode
from harness.descriptions.bench import HAZARDOUS_VOLTS, Ceilings

PAGE = page("safety.md")

# Common practice, no source: what a page on the safety of such a bench must speak of.
HAZARDS = (
    "60 V DC",
    "dropped tool",
    "live pack",
    "taps",
    "charge",
    "Bleed resistors",
    "Static",
    "Pyrotechnic",
    "isolated adapter",
    "swollen",
)


@pytest.mark.parametrize("hazard", HAZARDS)
def test_hazard_is_named(hazard: str) -> None:
    """A hazard of the trade stands in the list."""
    assert hazard.lower() in section(PAGE, "Hazards").lower()


@pytest.mark.parametrize("ceiling", [field.name for field in dataclasses.fields(Ceilings)])
def test_every_ceiling_is_told(ceiling: str) -> None:
    """Every key of `[ceilings]` has its part in the page."""
    assert f"`{ceiling}`" in PAGE


def test_codes_rule() -> None:
    """The page begins with who rules over it."""
    first = PAGE.split("## ")[0]
    assert "Local electrical codes and licensed practice rule" in first


def test_exit_code_of_an_output_not_off() -> None:
    """The page speaks of the code that the program uses."""
    assert f"Exit code {int(ExitCode.OUTPUT_NOT_OFF)} means" in PAGE


def test_hazardous_voltage() -> None:
    """The page's limit is the envelope's."""
    assert f"{HAZARDOUS_VOLTS:g} V DC unless `hazardous_voltage_declared`" in PAGE


def test_stopping_signals_are_named() -> None:
    """Every signal that ends a run in order, Ctrl-C being SIGINT."""
    text = section(PAGE, "Ways out").replace("Ctrl-C", "SIGINT")
    assert all(signal.name in text for signal in STOPPING_SIGNALS)
