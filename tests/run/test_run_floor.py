"""The physical floor, recomputed by hand for points of the narrowboat bench.

Declared there and in the instruments' descriptions: ramp 10 V/s of the stack; 50 Hz mains;
Heron's refresh and filter; relays' operate time; the decade's settling. The hand computation
takes them from the setup and adds them up independently.
"""

from __future__ import annotations

import dataclasses
import math

import pytest
from twin_runs import setup_of

from harness.checks.check import PlannedPoint
from harness.descriptions.instrument import DecadeModel, SwitchModel
from harness.descriptions.setup import Setup
from harness.run.floor import floor_seconds, run_floor

SETUP = setup_of()
ALL = tuple(range(1, 13))


def at(volts: float, **changes: object) -> PlannedPoint:
    """A point with all cells at `volts`, all measured once at 1 PLC, 5 frames."""
    values: dict[str, object] = {
        "step": 0,
        "label": {},
        "cell_volts": (volts,) * 12,
        "cells": ALL,
        "frames": 5,
        "readings": 1,
        "power_line_cycles": 1.0,
    }
    return PlannedPoint(**{**values, **changes})  # type: ignore[arg-type]


def relay_seconds() -> float:
    """Operate time of the bench's card."""
    (card,) = [model for model in SETUP.models.values() if isinstance(model, SwitchModel)]
    return card.operate_seconds


def decade_seconds() -> float:
    """Settling time of the bench's decade."""
    (decade,) = [model for model in SETUP.models.values() if isinstance(model, DecadeModel)]
    return decade.settling_seconds


def test_a_ramp_takes_the_stacks_change_over_its_slope() -> None:
    """From 0 V to 12 x 2.5 V, then 12 x 0.5 V more, at 10 V/s: 3.0 s and 0.6 s."""
    first, second = run_floor(SETUP, [at(2.5), at(3.0)])
    assert (3.0, 0.6) == (pytest.approx(first.ramp), pytest.approx(second.ramp))


def test_a_ramp_down_takes_as_long_as_one_up() -> None:
    _, up, down = run_floor(SETUP, [at(2.5), at(3.0), at(2.5)])
    assert up.ramp == pytest.approx(down.ramp)


def test_staying_takes_neither_ramp_nor_settling() -> None:
    _, again = run_floor(SETUP, [at(3.3), at(3.3)])
    assert (0.0, 0.0) == (again.ramp, again.settling)


def test_settling_is_the_wiring_and_what_the_filter_lags_after_the_ramp() -> None:
    """tau ln(lag / budget) with lag = S tau (1 - exp(-T/tau)), S = 2.5 V / 3 s (textbook)."""
    (point,) = run_floor(SETUP, [at(2.5)])
    tau = SETUP.board.cell_inputs.filter_time_constant_seconds
    lag = 2.5 / 3.0 * tau * (1 - math.exp(-3.0 / tau))
    by_hand = tau * math.log(lag / SETUP.plan.settling.budget_volts)
    assert by_hand + SETUP.bench.wiring.settling_seconds == pytest.approx(point.settling)


def test_every_cell_is_visited_and_the_first_again() -> None:
    """Thirteen moves of the relays for twelve cells."""
    (point,) = run_floor(SETUP, [at(3.3)])
    assert 13 * relay_seconds() == pytest.approx(point.relays)


def test_one_cell_alone_is_read_again_on_the_path_that_stands() -> None:
    (point,) = run_floor(SETUP, [at(3.3, cells=(4,), power_line_cycles=50.0)])
    assert (relay_seconds(), 2.0) == (pytest.approx(point.relays), pytest.approx(point.measuring))


def test_liveness_needs_no_bracket() -> None:
    point = at(3.3, cells=(4,), power_line_cycles=50.0, with_bracket=False)
    assert 1.0 == pytest.approx(run_floor(SETUP, [point])[0].measuring)


def test_a_whole_point_by_hand() -> None:
    """From 0 V to 12 x 3.3 V: ramp 39.6 V at 10 V/s; 10 ms of wiring and 15 ms x
    ln(3.3 V / 3.96 s x 15 ms / 0.2 mV); 13 x 5 ms of relays; 13 apertures of 20 ms, which is
    longer than 5 frames of 50 ms."""
    (point,) = run_floor(setup_of(plan="acceptance"), [at(3.3)])
    settling = 0.010 + 0.015 * math.log(3.3 / 3.96 * 0.015 / 0.0002)
    assert 3.96 + settling + 0.065 + 0.260 == pytest.approx(point.seconds, rel=1e-9)


def test_the_stack_is_one_more_path() -> None:
    with_it, without = (run_floor(SETUP, [at(3.3, with_stack=s)])[0] for s in (True, False))
    assert relay_seconds() == pytest.approx(with_it.relays - without.relays)


@pytest.mark.parametrize(
    ("cycles", "readings", "frames"), [(10.0, 2, 5), (0.2, 1, 20)], ids=["meter", "board"]
)
def test_meter_and_board_overlap(cycles: float, readings: int, frames: int) -> None:
    """The longer of the two counts: 13 apertures at 50 Hz, or the frames' refresh periods."""
    point = at(3.3, power_line_cycles=cycles, readings=readings, frames=frames)
    (floor,) = run_floor(SETUP, [point])
    aperture, stream = 13 * readings * cycles / 50, frames * SETUP.board.refresh_seconds
    assert max(aperture, stream) == pytest.approx(floor.measuring)


def test_the_mains_frequency_sets_the_aperture() -> None:
    bench = dataclasses.replace(SETUP.bench, line_frequency_hertz=60.0)
    point = at(3.3, power_line_cycles=60.0)
    (floor,) = run_floor(dataclasses.replace(SETUP, bench=bench), [point])
    assert 13.0 == pytest.approx(floor.measuring)


def thermistor_point(ohms: float, **changes: object) -> PlannedPoint:
    """A point that puts `ohms` at thermistor 1 and measures no cell."""
    return at(3.3, cells=(), thermistor=1, thermistor_ohms={1: ohms}, **changes)


def test_a_resistance_settles_at_the_decade_and_in_the_boards_filter() -> None:
    """The whole span of the curve to the budget, tau ln(span / budget), and the decade's own."""
    _, point = run_floor(SETUP, [at(3.3), thermistor_point(10e3)])
    curve, channel = SETUP.curves[0], SETUP.board.thermistors[0]
    span = curve.highest_celsius - curve.lowest_celsius
    by_hand = channel.filter_time_constant_seconds * math.log(
        span / SETUP.plan.settling.budget_celsius
    )
    assert by_hand + decade_seconds() == pytest.approx(point.settling)


def test_a_resistance_is_put_on_and_measured() -> None:
    """Two moves of the relays: to the board's input, then to the meter."""
    _, point = run_floor(SETUP, [at(3.3), thermistor_point(10e3)])
    assert 2 * relay_seconds() == pytest.approx(point.relays)


def test_an_open_circuit_is_not_measured() -> None:
    _, point = run_floor(SETUP, [at(3.3), thermistor_point(math.inf)])
    assert relay_seconds() == pytest.approx(point.relays)


def without_meter_path() -> Setup:
    """The same bench, whose meter cannot be put across the decade."""
    paths = dataclasses.replace(SETUP.bench.paths, meter_at_decade=None)
    return dataclasses.replace(SETUP, bench=dataclasses.replace(SETUP.bench, paths=paths))


def filter_seconds(step: float) -> float:
    """Settling of thermistor 1's filter after `step` kelvin."""
    tau = SETUP.board.thermistors[0].filter_time_constant_seconds
    return tau * math.log(step / SETUP.plan.settling.budget_celsius)


def test_a_known_resistance_step_counts_as_its_temperature_step() -> None:
    """10 to 5 kilohm on beta 3977 K about 25 degC is 16.34 K; the decade moves."""
    points = [thermistor_point(10e3), thermistor_point(5e3)]
    _, second = run_floor(without_meter_path(), points)
    assert filter_seconds(16.342) + decade_seconds() == pytest.approx(second.settling, rel=1e-3)


def test_a_resistance_that_stands_costs_no_settling() -> None:
    points = [thermistor_point(10e3), thermistor_point(10e3)]
    assert 0.0 == run_floor(without_meter_path(), points)[1].settling


def test_a_metered_decade_was_off_the_board_in_between() -> None:
    """So the channel comes from open, over its whole span; the decade need not move."""
    points = [thermistor_point(10e3), thermistor_point(10e3)]
    assert filter_seconds(165.0) == pytest.approx(run_floor(SETUP, points)[1].settling)


@pytest.mark.parametrize(("ohms", "moves"), [(math.inf, 1), (0.0, 2)], ids=["open", "short"])
def test_a_fault_is_two_states_told_by_their_frames(ohms: float, moves: int) -> None:
    """A sane resistance, then the fault: two relay paths, twice the frames, the decade's moves."""
    fault = thermistor_point(ohms, frames=3, watch_seconds=2.0)
    _, point = run_floor(SETUP, [at(3.3), fault])
    expected = moves * decade_seconds() + 2 * relay_seconds() + 6 * SETUP.board.refresh_seconds
    assert expected == pytest.approx(point.seconds)


def test_the_whole_is_the_sum_of_all_parts() -> None:
    floors = run_floor(SETUP, [at(2.5), at(3.0), thermistor_point(10e3)])
    parts = [p for f in floors for p in (f.ramp, f.settling, f.relays, f.measuring)]
    assert math.fsum(parts) == pytest.approx(floor_seconds(floors))


def test_no_points_take_no_time() -> None:
    assert 0 == floor_seconds(run_floor(SETUP, []))
