"""The nodal analysis against networks that can be worked out by hand.

The ladder's figures (twelve equal rungs under 43.2 V) follow from the divider rule and
Thevenin's theorem: resistance at tap k is k (N - k) R / N, and a current I drawn at tap k lowers
every cell up to k by I R (N - k) / N and raises every cell above by I R k / N. Common practice,
no source; the numbers are computed here by a second route.
"""

from __future__ import annotations

import numpy as np
import pytest

from harness.simulator.network import (
    Circuit,
    MeterContact,
    StackFacts,
    StackNetwork,
    Topology,
    solve_stack,
)

RUNGS = [10.0, 100.0, 1000.0]
CELLS = 12
STACK = np.array([43.2])


def ladder(rung: float, **changes: object) -> StackFacts:
    plain: dict[str, object] = {
        "cells": CELLS,
        "output_ohms": 0.0,
        "tap_ohms": (0.0,) * (CELLS + 1),
        "rung_ohms": rung,
    }
    return StackFacts(**(plain | changes))  # type: ignore[arg-type]


def cells_of(facts: StackFacts, topology: Topology | None = None) -> np.ndarray:
    solution = solve_stack(facts, topology or Topology())
    return np.diff(solution.pins(solution.at(STACK)))


def single_tap(tap: int, amperes: float) -> tuple[float, ...]:
    return tuple(amperes if k == tap else 0.0 for k in range(CELLS + 1))


def test_divider_of_two_resistors() -> None:
    """6 V over 1 kohm and 2 kohm gives 4 V and 2 mA."""
    circuit = Circuit(3)
    circuit.add_source(0, 1, 0.0)
    circuit.add_resistor(1, 2, 1000.0)
    circuit.add_resistor(2, 0, 2000.0)
    volts, amperes = circuit.solve()
    assert pytest.approx([0.0, 6.0, 4.0]) == volts[:, 0] * 6.0
    assert pytest.approx(0.002) == amperes[0, 0] * 6.0


def test_current_into_a_resistor() -> None:
    """1 mA into 1 kohm is 1 V, whatever the source does."""
    circuit = Circuit(3)
    circuit.add_source(0, 1, 0.0)
    circuit.add_resistor(2, 0, 1000.0)
    circuit.add_current(0, 2, 0.001)
    volts, _ = circuit.solve()
    assert pytest.approx(1.0) == volts[2, -1]


@pytest.mark.parametrize("rung", RUNGS)
def test_ladder_divides_equally(rung: float) -> None:
    """Without any load each of twelve cells has 3.6 V."""
    assert pytest.approx(np.full(CELLS, 3.6), rel=1e-9) == cells_of(ladder(rung))


@pytest.mark.parametrize(("rung", "expected"), [(10, 0.05e-3), (100, 0.5e-3), (1000, 5e-3)])
def test_current_at_the_middle_tap_tilts_the_whole_ladder(rung: float, expected: float) -> None:
    """10 uA at tap 6: every cell below falls, every cell above rises, by the same."""
    tilt = cells_of(ladder(rung, tap_amperes=single_tap(6, 10e-6))) - 3.6
    assert pytest.approx([-expected] * 6 + [expected] * 6, rel=1e-4) == tilt


@pytest.mark.parametrize("tap", [1, 4, 11])
def test_tilt_at_any_tap(tap: int) -> None:
    """-I R (N - k) / N below and I R k / N above the tap."""
    tilt = cells_of(ladder(100.0, tap_amperes=single_tap(tap, 10e-6))) - 3.6
    below, above = -1e-3 * (12 - tap) / 12, 1e-3 * tap / 12
    assert pytest.approx([below] * tap + [above] * (12 - tap), rel=1e-4) == tilt


@pytest.mark.parametrize(("rung", "expected"), [(10, -3e-6), (100, -33e-6), (1000, -330e-6)])
def test_meter_of_10_megohm_across_one_cell(rung: float, expected: float) -> None:
    """It lowers the cell by V R_th / R_in with R_th = R (N - 1) / N."""
    topology = Topology((MeterContact(6, 5),), 1e7)
    shift = cells_of(ladder(rung), topology)[5] - 3.6
    assert pytest.approx(expected, rel=0.11) == shift  # the table's figures are rounded
    assert pytest.approx(-3.6 * rung * 11 / 12 / 1e7, rel=1e-3) == shift


@pytest.mark.parametrize(("rung", "expected"), [(10, -0.065e-3), (100, -0.65e-3), (1000, -6.5e-3)])
def test_meter_of_10_megohm_from_middle_tap_to_bottom(rung: float, expected: float) -> None:
    """It lowers the tap by V R_th / R_in with R_th = N R / 4."""
    solution = solve_stack(ladder(rung), Topology((MeterContact(6, 0),), 1e7))
    assert pytest.approx(expected, rel=0.01) == solution.at(STACK)[6] - 21.6


@pytest.mark.parametrize(("rung", "expected"), [(10, 2.82), (100, 0.95), (1000, 0.13)])
def test_bleed_resistor_pulls_a_ladder_cell_down(rung: float, expected: float) -> None:
    """33 ohm across cell 6, which had 3.6 V."""
    cell = cells_of(ladder(rung, bleeds=((6, 33.0),)))[5]
    assert pytest.approx(expected, abs=0.005) == cell
    parallel = 1 / (1 / rung + 1 / 33)
    assert pytest.approx(43.2 * parallel / (11 * rung + parallel), rel=1e-4) == cell


def test_a_shunt_of_nine_rungs_lowers_its_cell_by_a_tenth() -> None:
    """R parallel 9 R is 0.9 R, so the cell gets 0.9 parts of 11.9."""
    cells = cells_of(ladder(100.0, shunt_ohms=900.0), Topology(shunted_rungs=frozenset({4})))
    assert pytest.approx(43.2 * 0.9 / 11.9, rel=1e-6) == cells[3]
    assert pytest.approx(43.2 / 11.9, rel=1e-6) == cells[0]


def test_chain_current_of_a_ladder() -> None:
    """43.2 V over 1200 ohm is 36 mA."""
    solution = solve_stack(ladder(100.0), Topology())
    assert pytest.approx([0.036], rel=1e-4) == solution.currents(solution.at(STACK))


def series(**changes: object) -> StackFacts:
    plain: dict[str, object] = {
        "cells": 3,
        "output_ohms": 0.01,
        "tap_ohms": (0.1,) * 4,
    }
    return StackFacts(**(plain | changes))  # type: ignore[arg-type]


def test_supply_current_drops_at_both_ends_of_a_series_stack() -> None:
    """11 mA through 0.1 ohm of lead takes 1.1 mV off the top and the bottom cell."""
    solution = solve_stack(series(output_ohms=0.0, supply_amperes=0.011), Topology())
    cells = np.diff(solution.pins(solution.at(np.full(3, 3.3))))
    assert pytest.approx([3.3 - 0.0011, 3.3, 3.3 - 0.0011], abs=1e-7) == cells


def test_channel_current_is_the_sum_of_the_tap_currents_above() -> None:
    """Kirchhoff: i_k = I_ch(k) - I_ch(k + 1)."""
    facts = series(tap_amperes=(0.0, 1e-6, 2e-6, 4e-6))
    solution = solve_stack(facts, Topology())
    currents = solution.currents(solution.at(np.zeros(3)))
    assert pytest.approx([7e-6, 6e-6, 4e-6], rel=1e-6) == currents


def test_bleed_drops_at_its_leads_and_lifts_the_neighbours() -> None:
    """-I (r_k + r_(k-1)) on the bled cell, + I r on each neighbour."""
    solution = solve_stack(series(bleeds=((2, 33.0),), output_ohms=0.0), Topology())
    cells = np.diff(solution.pins(solution.at(np.full(3, 3.3))))
    current = 3.3 / 33.2
    expected = [3.3 + 0.1 * current, 3.3 - 0.2 * current, 3.3 + 0.1 * current]
    assert pytest.approx(expected, rel=1e-6) == cells


def test_series_resistance_at_a_tap_moves_two_cells_apart() -> None:
    """1 uA through 10 kohm: cell k falls by 10 mV, cell k + 1 rises by as much."""
    facts = series(tap_ohms=(0.1, 1e4, 0.1, 0.1), tap_amperes=(0.0, 1e-6, 0.0, 0.0))
    solution = solve_stack(facts, Topology())
    cells = np.diff(solution.pins(solution.at(np.full(3, 3.3))))
    assert pytest.approx([3.3 - 0.01, 3.3 + 0.01, 3.3], abs=2e-5) == cells


def test_leakage_between_taps_and_a_series_resistance_divide() -> None:
    """1 megohm from T2 to T0 with 1 megohm in T2's lead: tap 2 reads half of 6.6 V."""
    facts = series(tap_ohms=(0.0, 0.0, 1e6, 0.0), leakages=((2, 0, 1e6),))
    solution = solve_stack(facts, Topology())
    pin = solution.pins(solution.at(np.full(3, 3.3)))[2]
    # The board's own 100 megohm from pin to pin bends it a little.
    assert pytest.approx(3.3, abs=0.07) == pin


def test_open_tap_floats_between_its_neighbours() -> None:
    """Pin-to-pin leakage alone holds it, half way."""
    solution = solve_stack(series(open_taps=frozenset({1})), Topology())
    cells = np.diff(solution.pins(solution.at(np.array([3.0, 3.6, 3.3]))))
    assert pytest.approx([3.3, 3.3, 3.3]) == cells


def test_two_closed_meter_paths_short_tap_to_tap() -> None:
    """Cells 1 and 2 through 0.2 ohm contacts carry amperes: this must not go unseen."""
    topology = Topology((MeterContact(1, 0, 0.1), MeterContact(2, 1, 0.1)), 1e10)
    solution = solve_stack(series(), topology)
    currents = solution.currents(solution.at(np.full(3, 3.3)))
    assert currents.max() > 5.0


def test_meter_reads_the_difference_between_its_pins() -> None:
    """The last row of a solution is the meter's input."""
    solution = solve_stack(series(), Topology((MeterContact(2, 1, 0.1),), 1e10))
    assert pytest.approx(3.4, rel=1e-9) == solution.at(np.array([3.3, 3.4, 3.5]))[-1]


def test_a_topology_is_solved_once() -> None:
    """The same topology gives the very same solution object."""
    network = StackNetwork(series())
    assert network.solution(Topology()) is network.solution(Topology())
