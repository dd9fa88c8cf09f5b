"""What all checks do alike when they visit a point: set, measure, time-stamp.

It decides nothing and knows no limit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from harness.checks.check import Acquired, Bench, PlannedPoint
from harness.descriptions.setup import Setup
from harness.observation import Observation, PointRecord


def every_cell(setup: Setup, cells: Sequence[int] | None) -> tuple[int, ...]:
    """`cells` when the plan names some, else all cells of the board."""
    return tuple(range(1, setup.board.cells + 1)) if cells is None else tuple(cells)


def every_thermistor(setup: Setup, thermistors: Sequence[int] | None) -> tuple[int, ...]:
    """`thermistors` when the plan names some, else all thermistors of the board."""
    return (
        tuple(range(1, len(setup.board.thermistors) + 1))
        if thermistors is None
        else tuple(thermistors)
    )


# Label keys under which a point keeps the settling budget that it was measured with: what a
# point may still lack follows from what was waited for, not from the plan that judges it.
SETTLING_VOLTS = "settling_budget_volts"
SETTLING_CELSIUS = "settling_budget_celsius"


def visit_cells(bench: Bench, point: PlannedPoint, index: int) -> PointRecord:
    """Set the cells of `point`, measure them against the reference, return the record."""
    began = bench.clock.now()
    bench.set_cells(point.cell_volts)
    acquired = bench.measure_cells(
        point.cells,
        frames=point.frames,
        readings=point.readings,
        power_line_cycles=point.power_line_cycles,
        with_stack=point.with_stack,
        with_bracket=point.with_bracket,
    )
    return recorded(bench, point, index, began, acquired)


def recorded(
    bench: Bench, point: PlannedPoint, index: int, began: float, acquired: Acquired
) -> PointRecord:
    """The record of `point` of check `index`, begun at `began` (clock seconds), ended now."""
    return PointRecord(
        check=index,
        step=point.step,
        label=dict(point.label),
        observations=acquired.observations,
        began_monotonic=began,
        ended_monotonic=bench.clock.now(),
        did_settle=acquired.did_settle,
    )


def merged(parts: Iterable[Sequence[Observation]]) -> tuple[Observation, ...]:
    """Observations of several looks at the same stream, each once, numbered anew.

    Two observations are the same when source, quantity, channel and monotonic time agree:
    a board frame holds one value of each, and looks may overlap.
    """
    seen: dict[tuple[int, int, int, float], Observation] = {}
    for part in parts:
        for o in part:
            seen.setdefault((o.source, o.quantity, o.channel, o.monotonic), o)
    ordered = sorted(seen.values(), key=lambda o: o.monotonic)
    count: dict[tuple[int, int, int], int] = {}
    found = []
    for o in ordered:
        key = (o.source, o.quantity, o.channel)
        found.append(replace(o, sequence=count.get(key, 0)))
        count[key] = count.get(key, 0) + 1
    return tuple(found)
