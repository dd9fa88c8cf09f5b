"""The cell voltages that a plan asks for, told from its file and the number of cells.

Where a check derives its points from more than that (`harness.checks`), the outermost values
are given, which is what ranges and ceilings have to allow.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from harness.descriptions.faults import KeyPath
from harness.descriptions.plan import (
    CellAccuracySettings,
    CheckSettings,
    MappingSettings,
    PlanDescription,
    StackTotalSettings,
)
from harness.descriptions.toml_text import as_toml, figure


@dataclass(frozen=True)
class CellPoint:
    """A cell voltage, the key below the check that gives it, and how a message shows it."""

    key: KeyPath
    volts: float
    shown: str


def cell_points(check: CheckSettings, cells: int) -> Iterator[CellPoint]:
    """Each cell voltage of `check`, and the ends of a pattern over so many `cells`.

    With one cell there is no pattern: what a ladder, whose cells are equal, is given.
    """
    if isinstance(check, CellAccuracySettings | StackTotalSettings):
        for index, volts in enumerate(check.points_volts):
            yield CellPoint(("points_volts", index), volts, as_toml(volts))
    elif isinstance(check, MappingSettings):
        yield CellPoint(("base_volts",), check.base_volts, as_toml(check.base_volts))
        half = check.spacing_volts * (cells - 1) / 2
        for volts in (check.base_volts - half, check.base_volts + half) if half else ():
            shown = f"{figure(volts, 'V')} with {as_toml(check.spacing_volts)}"
            yield CellPoint(("spacing_volts",), volts, shown)
    else:
        yield CellPoint(("cell_volts",), check.cell_volts, as_toml(check.cell_volts))


def stack_volts(check: CheckSettings, cells: int) -> float:
    """The highest stack voltage of a check, volts; a pattern is symmetric about its base."""
    total = max(point.volts for point in cell_points(check, cells=1)) * cells
    return total + check.move_volts if isinstance(check, MappingSettings) else total


def highest_stack_volts(plan: PlanDescription, cells: int) -> float:
    """The highest stack voltage of the whole plan, volts."""
    return max(stack_volts(check, cells) for check in plan.check)
