"""From when on source and board can be believed, by hand-computed examples."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from twin_runs import setup_of

from harness.bench.readiness import (
    TIME_CONSTANT_MARGIN,
    CellReadiness,
    ThermistorReadiness,
    temperature_step,
)
from harness.descriptions.setup import Setup

SOURCE_SECONDS = 0.01  # settling_seconds of the fixture's wiring
BUDGET_VOLTS = 0.0002
SPAN_KELVIN = 165.0  # -40 to 125 degC


def slow_setup(tau: float) -> Setup:
    """The fixture's setup with this declared time constant of the cell inputs."""
    setup = setup_of(plan="acceptance")
    inputs = dataclasses.replace(setup.board.cell_inputs, filter_time_constant_seconds=tau)
    board = dataclasses.replace(setup.board, cell_inputs=inputs)
    return dataclasses.replace(setup, board=board)


class Reports:
    """Keeps what was reported."""

    def __init__(self) -> None:
        self.texts: list[str] = []

    def __call__(self, kind: str, text: str, data: object) -> None:
        self.texts.append(text)


def cells_of(tau: float) -> CellReadiness:
    return CellReadiness(slow_setup(tau), Reports())


def stepped(cells: CellReadiness, volts: float, now: float) -> None:
    cells.stepped(np.full(12, volts), now)


def test_the_board_is_ready_when_the_margins_lag_is_inside_the_budget() -> None:
    """10 ms for the source, then 1.3 x 0.3 s x ln(0.5 V / 0.2 mV)."""
    cells = cells_of(0.3)
    stepped(cells, 0.5, now=10.0)
    assert pytest.approx(10.0 + SOURCE_SECONDS) == cells.source_ready
    expected = 10.0 + SOURCE_SECONDS + TIME_CONSTANT_MARGIN * 0.3 * math.log(0.5 / BUDGET_VOLTS)
    assert pytest.approx(expected) == cells.board_ready(frames=5)


def test_setting_the_same_volts_again_forgets_nothing() -> None:
    cells = cells_of(0.3)
    stepped(cells, 0.5, now=10.0)
    before = cells.board_ready(5)
    stepped(cells, 0.0, now=10.1)
    assert before == cells.board_ready(5)


def test_a_small_step_right_after_a_large_one_waits_for_both() -> None:
    """What is left of 0.5 V after 0.1 s, and 1 mV more."""
    cells = cells_of(0.3)
    stepped(cells, 0.5, now=10.0)
    stepped(cells, 0.001, now=10.1)
    tau = TIME_CONSTANT_MARGIN * 0.3
    lag = 0.5 * math.exp(-0.1 / tau) + 0.001
    assert pytest.approx(
        10.1 + SOURCE_SECONDS + tau * math.log(lag / BUDGET_VOLTS)
    ) == cells.board_ready(5)


def test_a_channel_seen_to_be_slow_is_waited_for_with_its_own_time_constant() -> None:
    cells = cells_of(0.015)
    stepped(cells, 0.5, now=10.0)
    cells.slow.learn({3: 0.6})
    expected = 10.0 + SOURCE_SECONDS + 0.6 * math.log(0.5 / (BUDGET_VOLTS / 5))
    assert pytest.approx(expected) == cells.board_ready(frames=5)
    assert cells.declared_ready < 10.2


def test_a_slow_channel_is_reported_once() -> None:
    reports = Reports()
    cells = CellReadiness(slow_setup(0.015), reports)
    cells.slow.learn({3: 0.612})
    cells.slow.learn({3: 0.598})
    assert [
        "board settles slower than declared: cell 3 with a time constant of about 0.61 s"
    ] == reports.texts


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        pytest.param(math.inf, 10_000.0, SPAN_KELVIN, id="from open"),
        pytest.param(10_000.0, 0.0, SPAN_KELVIN, id="to short"),
        pytest.param(10_000.0, 10_000.0, 0.0, id="no change"),
    ],
)
def test_a_temperature_step_is_the_span_where_an_end_is_unknown(
    before: float, after: float, expected: float
) -> None:
    assert expected == temperature_step(setup_of().curves[0], before, after)


def test_a_temperature_step_between_resistances_follows_the_curve() -> None:
    """Beta 3977 K about 10 kilohm at 25 degC: 1 / (1/298.15 + ln(0.5) / 3977) is 41.3 degC."""
    expected = 1 / (1 / 298.15 + math.log(0.5) / 3977) - 298.15
    found = temperature_step(setup_of().curves[0], 10_000.0, 5_000.0)
    assert pytest.approx(expected, abs=0.01) == found


def test_a_thermistor_waits_for_the_decade_and_then_for_its_filter() -> None:
    """From open: 1.3 x 20 ms x ln(165 K / 0.05 K) after the decade stands."""
    thermistors = ThermistorReadiness(setup_of(plan="acceptance"), Reports())
    thermistors.decade_ready = 5.02
    thermistors.injected({1: 10_000.0}, now=5.01)
    expected = 5.02 + TIME_CONSTANT_MARGIN * 0.02 * math.log(SPAN_KELVIN / 0.05)
    assert pytest.approx(expected) == thermistors.board_ready(1, frames=5)


def test_a_known_temperature_step_is_waited_for_no_longer_than_it_needs() -> None:
    thermistors = ThermistorReadiness(setup_of(plan="acceptance"), Reports())
    thermistors.injected({1: 10_000.0}, now=5.0)
    thermistors.injected({1: 9_900.0}, now=50.0)
    step = temperature_step(setup_of().curves[0], 10_000.0, 9_900.0)
    expected = 50.0 + TIME_CONSTANT_MARGIN * 0.02 * math.log(step / 0.05)
    assert pytest.approx(expected) == thermistors.board_ready(1, frames=5)
