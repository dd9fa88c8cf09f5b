"""What a bench can do, derived from its wiring and paths; what a check needs of it."""

from __future__ import annotations

from enum import Enum

from harness.descriptions.bench import BenchDescription


class Capability(str, Enum):
    """One ability; the value completes the sentence "this bench lacks ..."."""

    CELL_SOURCE = "a programmable supply for the cells"
    INDIVIDUAL_CELLS = "individual cell set-points"
    METER_AT_CELL = "a meter path to every cell"
    METER_AT_STACK = "a meter path to the stack"
    DECADE_AT_THERMISTOR = "a resistance source at every thermistor"
    METER_AT_DECADE = "a meter path to the resistance source"


def capabilities(bench: BenchDescription, thermistors: int) -> frozenset[Capability]:
    """The abilities of `bench` towards a board with its cells and `thermistors` thermistors."""
    paths = bench.paths
    has_ladder_shunts = len(paths.rung_shunt) == bench.wiring.cells
    roles = {entry.role for entry in bench.instruments.values()}
    found = {
        Capability.CELL_SOURCE: "supply" in roles,
        Capability.INDIVIDUAL_CELLS: bench.wiring.topology == "series" or has_ladder_shunts,
        Capability.METER_AT_CELL: "meter" in roles
        and len(paths.meter_at_cell) == bench.wiring.cells,
        Capability.METER_AT_STACK: "meter" in roles and paths.meter_at_stack is not None,
        Capability.DECADE_AT_THERMISTOR: "decade" in roles
        and thermistors > 0
        and len(paths.decade_at_thermistor) == thermistors,
        Capability.METER_AT_DECADE: "meter" in roles
        and "decade" in roles
        and paths.meter_at_decade is not None,
    }
    return frozenset(capability for capability, present in found.items() if present)
