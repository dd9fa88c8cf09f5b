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


def capabilities(bench: BenchDescription, cells: int, thermistors: int) -> frozenset[Capability]:
    """The abilities of `bench` towards a board with so many cells and thermistors."""
    paths = bench.paths
    roles = {entry.role for entry in bench.instruments.values()}
    has_meter, has_decade = "meter" in roles, "decade" in roles
    found = {
        Capability.CELL_SOURCE: "supply" in roles,
        Capability.INDIVIDUAL_CELLS: bench.wiring.topology == "series",
        Capability.METER_AT_CELL: has_meter and len(paths.meter_at_cell) == cells,
        Capability.METER_AT_STACK: has_meter and paths.meter_at_stack is not None,
        Capability.DECADE_AT_THERMISTOR: has_decade
        and 0 < thermistors == len(paths.decade_at_thermistor),
        Capability.METER_AT_DECADE: has_meter and has_decade and paths.meter_at_decade is not None,
    }
    return frozenset(capability for capability, is_present in found.items() if is_present)
