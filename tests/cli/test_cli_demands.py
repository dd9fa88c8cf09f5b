"""What a plan asks of a bench is told to people in lines and to machines in SI units."""

from __future__ import annotations

import json

import pytest
from twin_runs import setup_of

from harness.cli.demands import demands_as_json, demands_lines

LACKING = "this bench lacks individual cell set-points"


def test_highest_voltages() -> None:
    """12 cells at 3.65 V are 43.8 V."""
    lines = demands_lines(setup_of(plan="acceptance"))
    assert "  highest cell voltage   3.650 V" in lines
    assert "  highest stack voltage  43.80 V DC" in lines


def test_lines_fit_80_columns() -> None:
    lines = demands_lines(setup_of("narrowboat-ladder", plan="acceptance"))
    assert max(map(len, lines)) <= 80


def test_what_is_not_run_is_told_last() -> None:
    lines = demands_lines(setup_of("narrowboat-ladder", plan="acceptance"))
    assert f"  mapping: not run: {LACKING}" == lines[-1]


def test_up_to_60_volts_nothing_is_said_of_enclosures() -> None:
    assert not any("enclosure" in line for line in demands_lines(setup_of()))


def test_values_for_machines() -> None:
    told = demands_as_json(setup_of("narrowboat-ladder", plan="acceptance"))
    assert 43.8 == pytest.approx(told["stack_volts"])
    assert {"check": "mapping", "points": 0, "not_run": LACKING} == told["checks"][0]
    assert 33 == json.loads(json.dumps(told))["points"]
