"""The plant in time: ramps, filters, integration, trips, constant current, relays."""

from __future__ import annotations

import math

import numpy as np
import pytest
from simulated_benches import PERFECT, perfect_plant, switch_all_on

from harness.descriptions.setup import Setup
from harness.simulator.faults import Bleed, Faults, InstrumentFault, TapFault

# Drop at both ends of the stack: 10 mA of board supply current through lead and contact.
END_DROP = 0.010 * 0.07


def cells_of(plant: object) -> np.ndarray:
    return np.diff(plant.pin_volts())  # type: ignore[attr-defined]


def test_at_rest_everything_is_zero(series_setup: Setup) -> None:
    """Outputs off: no voltage at any pin, no current."""
    plant = perfect_plant(series_setup)
    plant.advance(1.0)
    assert pytest.approx(np.zeros(13), abs=1e-12) == plant.pin_volts()


def test_cells_follow_their_channels(series_setup: Setup) -> None:
    """3.3 V a channel is 3.3 V a cell, less what the board's own currents drop."""
    plant = perfect_plant(series_setup)
    switch_all_on(plant, 3.3)
    plant.advance(1.0)
    expected = np.full(12, 3.3)
    expected[[0, -1]] -= END_DROP
    # 12 uA and 10 mA through 5 mohm of output; 1 uA through 70 mohm of lead.
    assert pytest.approx(expected, abs=60e-6) == cells_of(plant)


def test_outputs_slew(series_setup: Setup) -> None:
    """At 200 V/s a channel is at 1 V after 5 ms."""
    plant = perfect_plant(series_setup)
    switch_all_on(plant, 3.3)
    plant.advance(0.005)
    assert pytest.approx(1.0, abs=1e-9) == plant.terminal_volts(5) + 0.005 * plant.amperes(5)


def test_order_of_advancing_does_not_matter(series_setup: Setup) -> None:
    """Many small advances end where one large one does: nothing is stepped."""
    once, often = perfect_plant(series_setup), perfect_plant(series_setup)
    for plant in (once, often):
        switch_all_on(plant, 3.3)
    once.advance(0.05)
    for moment in np.linspace(0.0, 0.05, 137):
        often.advance(float(moment))
    assert pytest.approx(once.filtered_cells, abs=1e-12) == often.filtered_cells


def test_board_filter_lags_by_its_time_constant(series_setup: Setup) -> None:
    """After a ramp of 16.5 ms the lag is S tau (1 - exp(-T/tau)), then dies with tau."""
    plant = perfect_plant(series_setup)
    switch_all_on(plant, 3.3)
    tau, ramp, later = 0.015, 3.3 / 200.0, 0.03
    plant.advance(ramp + later)
    lag = 200.0 * tau * (1 - math.exp(-ramp / tau)) * math.exp(-later / tau)
    found = cells_of(plant)[5] - plant.filtered_cells[5]
    # 10 mA through the channel's 5 mohm takes 50 uV of 3.3 V off.
    assert pytest.approx(lag, rel=2e-5) == found


def test_meter_integrates_a_ramp_exactly(series_setup: Setup) -> None:
    """The average over a window in which the cell rises is the input's, less its own lag."""
    plant = perfect_plant(series_setup)
    plant.move_relay(("relays", "105"), True)
    plant.advance(1.0)
    switch_all_on(plant, 3.3)
    window = plant.integrate(0.02)
    plant.advance(1.1)
    rise, aperture, tau = 3.3 / 200.0, 0.02, 0.0002
    flat = 3.3 * (aperture - rise / 2) / aperture
    # tau y' + y = p: the integral lacks tau times the final value. 50 uV drop in the channel.
    assert pytest.approx(flat - tau * 3.3 / aperture, abs=5e-5) == window.mean_volts


def test_settled_meter_reads_the_pins(series_setup: Setup) -> None:
    """A window long after everything has settled gives the pin difference itself."""
    plant = perfect_plant(series_setup)
    switch_all_on(plant, 3.3)
    plant.move_relay(("relays", "101"), True)
    plant.advance(1.0)
    window = plant.integrate(0.02)
    plant.advance(1.02)
    assert pytest.approx(cells_of(plant)[0], abs=1e-9) == window.mean_volts


def test_over_voltage_protection_trips_and_latches(series_setup: Setup) -> None:
    """No pin ever sees more than the protection; the output stays off."""
    plant = perfect_plant(series_setup)
    switch_all_on(plant, 3.3)
    plant.program_protection(4, 3.5)
    plant.program_volts(4, 4.0)
    plant.advance(1.0)
    assert plant.outputs.is_tripped[4]
    assert not plant.outputs.is_on[4]
    assert pytest.approx(0.0, abs=1e-3) == cells_of(plant)[4]
    assert plant.log.extremes.highest_cell_volts <= 3.5


def test_protection_below_the_present_voltage_trips_at_once(series_setup: Setup) -> None:
    """Setting 3 V of protection on a channel at 3.3 V switches it off."""
    plant = perfect_plant(series_setup)
    switch_all_on(plant, 3.3)
    plant.advance(1.0)
    plant.program_protection(2, 3.0)
    assert plant.log.outputs[-1].cause == "trip"


def test_current_limit_drops_the_voltage(series_setup: Setup) -> None:
    """A 33 ohm bleed draws 100 mA at 3.3 V; limited to 50 mA the cell has half of it."""
    faults = Faults(spread=PERFECT, bleed=(Bleed(cell=6, ohms=33.0),))
    plant = perfect_plant(series_setup, faults)
    switch_all_on(plant, 3.3)
    plant.program_limit(5, 0.05)
    plant.advance(1.0)
    assert pytest.approx(0.05, rel=1e-5) == plant.amperes(5)
    assert pytest.approx((0.05 - 0.010) * 33.14, rel=0.01) == cells_of(plant)[5]
    assert {channel for _, channel in plant.log.constant_current} == {6}


def test_ladder_divides_its_channel(ladder_setup: Setup) -> None:
    """43.2 V over twelve rungs; the input currents of 1 uA tilt it by a few millivolts."""
    plant = perfect_plant(ladder_setup)
    switch_all_on(plant, 43.2)
    plant.advance(1.0)
    cells = cells_of(plant)
    assert pytest.approx(43.2, abs=0.002) == cells.sum()
    assert pytest.approx(np.full(12, 3.6), abs=0.002) == cells


def test_rung_shunt_relay_lowers_its_cell(ladder_setup: Setup) -> None:
    """Closing the shunt of rung 4 takes a tenth off cell 4."""
    plant = perfect_plant(ladder_setup)
    switch_all_on(plant, 43.2)
    plant.move_relay(("relays", "134"), True)
    plant.advance(1.0)
    assert pytest.approx(43.2 * 0.9 / 11.9, abs=0.002) == cells_of(plant)[3]


def test_series_resistance_at_a_tap(series_setup: Setup) -> None:
    """1 uA through 10 kohm moves the two cells at the tap 10 mV apart."""
    faults = Faults(spread=PERFECT, tap=(TapFault(tap=4, series_ohms=10_000.0),))
    plant = perfect_plant(series_setup, faults)
    switch_all_on(plant, 3.3)
    plant.advance(1.0)
    cells = cells_of(plant)
    assert pytest.approx(0.02, rel=0.01) == cells[4] - cells[3]


def test_two_relays_of_one_group_are_logged(series_setup: Setup) -> None:
    """Meter at cells 1 and 2 at once is noted as what must never be."""
    plant = perfect_plant(series_setup)
    plant.move_relay(("relays", "101"), True)
    plant.move_relay(("relays", "102"), True)
    assert [("relays:101", "relays:102")] == [event.relays for event in plant.log.forbidden]


def test_a_stuck_output_never_falls(series_setup: Setup) -> None:
    """Switched off, a shorted pass transistor keeps its highest voltage."""
    faults = Faults(spread=PERFECT, instrument={"supply": InstrumentFault(stuck_on=True)})
    plant = perfect_plant(series_setup, faults)
    switch_all_on(plant, 3.3)
    plant.advance(1.0)
    plant.program_volts(0, 0.0)
    plant.switch_output(0, False)
    plant.advance(2.0)
    assert pytest.approx(3.3, abs=1e-3) == plant.terminal_volts(0)


def test_switching_on_unprepared_is_in_the_log(series_setup: Setup) -> None:
    """The log says whether limit and protection were set, and at what set-point."""
    plant = perfect_plant(series_setup)
    plant.program_volts(0, 3.0)
    plant.switch_output(0, True)
    event = plant.log.outputs[0]
    assert (False, False, 3.0) == (event.was_limit_set, event.was_protection_set, event.volts)


def test_extremes_of_energy_and_power(series_setup: Setup) -> None:
    """Twelve outputs of 47 uF at 3.3 V hold 3.07 mJ; the board takes 10 mA at 39.6 V."""
    plant = perfect_plant(series_setup)
    switch_all_on(plant, 3.3)
    plant.advance(1.0)
    extremes = plant.log.extremes
    assert pytest.approx(12 * 47e-6 / 2 * 3.3**2, rel=1e-6) == extremes.highest_joules
    assert pytest.approx(0.396, rel=0.01) == extremes.highest_total_watts
