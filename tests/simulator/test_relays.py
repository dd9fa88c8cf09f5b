"""What closed contacts make of the bench."""

from __future__ import annotations

import pytest

from harness.descriptions.setup import Setup
from harness.simulator.bench_log import BenchLog
from harness.simulator.relays import RelayPlane


@pytest.fixture
def plane(ladder_setup: Setup) -> RelayPlane:
    emf = {("relays", str(number)): number * 1e-9 for number in range(101, 165)}
    return RelayPlane(ladder_setup, emf, BenchLog())


def test_nothing_closed_connects_nothing(plane: RelayPlane) -> None:
    """No contact, no shunt, every thermistor open."""
    topology = plane.topology(1e10)
    assert ((), frozenset()) == (topology.contacts, topology.shunted_rungs)
    assert plane.decade_contact_ohms(0) is None
    assert plane.meter_decade_contact_ohms() is None


def test_meter_paths(plane: RelayPlane) -> None:
    """Relay 105 puts the meter across cell 5, 113 across the stack, with their thermal voltage."""
    plane.move(("relays", "105"), True, 0.0)
    contact = plane.topology(1e10).contacts[0]
    assert (5, 4, 0.1) == (contact.high_tap, contact.low_tap, contact.ohms)
    assert pytest.approx(105e-9) == plane.meter_emf_volts()
    plane.move(("relays", "105"), False, 0.0)
    plane.move(("relays", "113"), True, 0.0)
    contact = plane.topology(1e10).contacts[0]
    assert (12, 0) == (contact.high_tap, contact.low_tap)


def test_decade_paths(plane: RelayPlane) -> None:
    """Two contacts of 0.1 ohm lie in each decade path."""
    plane.move(("relays", "122"), True, 0.0)
    plane.move(("relays", "114"), True, 0.0)
    assert plane.decade_contact_ohms(0) is None
    assert pytest.approx(0.2) == plane.decade_contact_ohms(1)
    assert pytest.approx(0.2) == plane.meter_decade_contact_ohms()


def test_shunts(plane: RelayPlane) -> None:
    """Relay 134 belongs to rung 4."""
    plane.move(("relays", "134"), True, 0.0)
    assert frozenset({4}) == plane.topology(1e10).shunted_rungs
