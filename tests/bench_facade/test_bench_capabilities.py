"""What a bench can do follows from its wiring, its instruments and its paths."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from twin_runs import setup_of

from harness.bench.capabilities import Capability, capabilities
from harness.descriptions.bench import BenchDescription

SERIES = setup_of("narrowboat-series").bench
LADDER = setup_of("narrowboat-ladder").bench


def without_role(bench: BenchDescription, role: str) -> BenchDescription:
    """The bench without the instruments of one role."""
    kept = {name: entry for name, entry in bench.instruments.items() if entry.role != role}
    return dataclasses.replace(bench, instruments=kept)


def with_paths(bench: BenchDescription, **changes: Any) -> BenchDescription:
    """The bench with other paths."""
    return dataclasses.replace(bench, paths=dataclasses.replace(bench.paths, **changes))


def lost(bench: BenchDescription, cells: int = 12, thermistors: int = 2) -> set[Capability]:
    """What `bench` cannot do of all that the series bench can."""
    return set(capabilities(SERIES, 12, 2)) - set(capabilities(bench, cells, thermistors))


def test_the_series_bench_can_do_everything() -> None:
    assert set(Capability) == set(capabilities(SERIES, 12, 2))


def test_a_ladder_moves_all_cells_together() -> None:
    assert {Capability.INDIVIDUAL_CELLS} == lost(LADDER)


METER = {Capability.METER_AT_CELL, Capability.METER_AT_STACK, Capability.METER_AT_DECADE}
DECADE = {Capability.DECADE_AT_THERMISTOR, Capability.METER_AT_DECADE}


@pytest.mark.parametrize(
    ("role", "missing"),
    [("supply", {Capability.CELL_SOURCE}), ("meter", METER), ("decade", DECADE)],
)
def test_an_instrument_that_is_not_there(role: str, missing: set[Capability]) -> None:
    assert missing == lost(without_role(SERIES, role))


@pytest.mark.parametrize(
    ("path", "value", "missing"),
    [
        ("meter_at_cell", SERIES.paths.meter_at_cell[:11], Capability.METER_AT_CELL),
        ("meter_at_stack", None, Capability.METER_AT_STACK),
        ("meter_at_decade", None, Capability.METER_AT_DECADE),
        ("decade_at_thermistor", (("121",),), Capability.DECADE_AT_THERMISTOR),
    ],
)
def test_a_path_that_is_not_there(path: str, value: Any, missing: Capability) -> None:
    assert {missing} == lost(with_paths(SERIES, **{path: value}))


def test_a_board_without_thermistors_needs_no_decade() -> None:
    """And the bench cannot serve what is not there."""
    bench = with_paths(SERIES, decade_at_thermistor=())
    assert {Capability.DECADE_AT_THERMISTOR} == lost(bench, thermistors=0)


@pytest.mark.parametrize("capability", list(Capability))
def test_each_completes_the_sentence(capability: Capability) -> None:
    """ "this bench lacks ..." goes on in lower case and ends without a full stop."""
    words = capability.value
    assert words[0].islower()
    assert not words.endswith(".")
