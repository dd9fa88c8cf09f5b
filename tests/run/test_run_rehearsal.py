"""What a plan asks of a bench, checked by hand against the fixtures."""

from __future__ import annotations

import dataclasses

import pytest
from twin_runs import setup_of

from harness.descriptions.instrument import SupplyModel
from harness.descriptions.setup import Setup
from harness.run.executor import plan_checks
from harness.run.rehearsal import Demands, demands


def asked(setup: Setup) -> Demands:
    """The demands of the whole plan."""
    return demands(setup, [point for check in plan_checks(setup) for point in check.points])


SERIES = setup_of("narrowboat-series", plan="acceptance")
LADDER = setup_of("narrowboat-ladder", plan="acceptance")


def test_highest_voltages_are_the_set_points() -> None:
    """3.65 V a cell, twelve of them."""
    assert (3.65, pytest.approx(43.8)) == (asked(SERIES).cell_volts, asked(SERIES).stack_volts)


def test_power_is_stack_voltage_times_current_limit() -> None:
    """43.8 V x 0.1 A."""
    assert 4.38 == pytest.approx(asked(SERIES).power_watts)


def test_a_ladder_draws_its_chain_current_too() -> None:
    """43.8 V over 12 x 100 ohm is 36.5 mA, beside what the board draws."""
    board = LADDER.board.cell_inputs.supply_amperes
    assert 0.0365 + board == pytest.approx(asked(LADDER).expected_amperes)
    assert board == pytest.approx(asked(SERIES).expected_amperes)


def test_energy_is_in_the_output_capacitors() -> None:
    """Series: twelve capacitors at 3.65 V. Ladder: one at 43.8 V. C V^2 / 2 (textbook)."""
    for setup, channels, volts in ((SERIES, 12, 3.65), (LADDER, 1, 43.8)):
        model = setup.models[setup.bench.wiring.supply]
        assert isinstance(model, SupplyModel)
        by_hand = channels * model.output_farads * volts**2 / 2
        assert by_hand == pytest.approx(asked(setup).stored_joules)


def test_points_of_checks_that_cannot_be_run_do_not_count() -> None:
    """The ladder leaves out the 13 points of mapping."""
    assert 13 == asked(SERIES).points - asked(LADDER).points


def test_it_takes_somewhat_longer_than_its_floor() -> None:
    told = asked(SERIES)
    assert told.floor_seconds < told.expected_seconds < 1.1 * told.floor_seconds


def test_nothing_to_visit_asks_nothing() -> None:
    told = demands(SERIES, [])
    assert (0.0, 0.0, 0.0, 0.0, 0, 0.0) == (
        told.cell_volts,
        told.stack_volts,
        told.power_watts,
        told.stored_joules,
        told.points,
        told.floor_seconds,
    )


def test_a_target_within_reach_needs_no_note() -> None:
    assert () == asked(SERIES).effort_notes


def test_a_target_out_of_reach_is_told_beforehand() -> None:
    """No number of readings brings U below what the meter's specification alone makes."""
    effort = dataclasses.replace(SERIES.plan.effort, target_uncertainty_volts=1e-6)
    setup = dataclasses.replace(SERIES, plan=dataclasses.replace(SERIES.plan, effort=effort))
    (note,) = asked(setup).effort_notes
    assert "target_uncertainty_volts" in note
