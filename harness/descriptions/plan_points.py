"""The cell voltages that a plan asks for, told from its file alone.

Where a check derives its points from more than the plan (`harness.checks`), the outermost
values are given, which is what ranges and ceilings have to allow.
"""

from __future__ import annotations

from collections.abc import Iterator

from harness.descriptions.faults import KeyPath
from harness.descriptions.plan import (
    CellAccuracySettings,
    CheckSettings,
    MappingSettings,
    PlanDescription,
    StackTotalSettings,
)


def cell_points(check: CheckSettings) -> Iterator[tuple[KeyPath, float]]:
    """Each cell voltage that `check` writes down, with its key below the check; volts."""
    if isinstance(check, CellAccuracySettings | StackTotalSettings):
        for index, volts in enumerate(check.points_volts):
            yield ("points_volts", index), volts
    elif isinstance(check, MappingSettings):
        yield ("base_volts",), check.base_volts
    else:
        yield ("cell_volts",), check.cell_volts


def mapping_span_volts(check: MappingSettings, cells: int) -> tuple[float, float]:
    """Lowest and highest cell when every cell has a value of its own about the base, volts."""
    half = check.spacing_volts * (cells - 1) / 2
    return check.base_volts - half, check.base_volts + half


def highest_cell_volts(check: CheckSettings, cells: int) -> float:
    """The highest cell voltage of a check, volts."""
    highest = max(volts for _, volts in cell_points(check))
    if isinstance(check, MappingSettings):
        return mapping_span_volts(check, cells)[1]
    return highest


def stack_volts(check: CheckSettings, cells: int) -> float:
    """The highest stack voltage of a check, volts."""
    total = max(volts for _, volts in cell_points(check)) * cells
    if isinstance(check, MappingSettings):
        return total + check.move_volts
    return total


def highest_stack_volts(plan: PlanDescription, cells: int) -> float:
    """The highest stack voltage of the whole plan, volts."""
    return max(stack_volts(check, cells) for check in plan.check)
