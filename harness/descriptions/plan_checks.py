"""Faults inside one plan file that types alone cannot tell."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from harness.descriptions.faults import KeyPath, Remark
from harness.descriptions.model_checks import repeats
from harness.descriptions.plan import (
    CellAccuracySettings,
    PlanDescription,
    StackTotalSettings,
    ThermistorAccuracySettings,
)
from harness.descriptions.toml_text import as_toml, figure


def plan_remarks(plan: PlanDescription) -> Iterator[Remark]:
    """All remarks about one plan."""
    effort = plan.effort
    if effort.most_frames < effort.frames:
        expected = f"at least frames, {effort.frames}"
        yield Remark(("effort", "most_frames"), expected, as_toml(effort.most_frames))
    for index, check in enumerate(plan.check):
        path: KeyPath = ("check", index)
        for key in ("cells", "thermistors"):
            yield from _selection_remarks((*path, key), getattr(check, key, None))
        if isinstance(check, CellAccuracySettings):
            yield from _rising_remarks((*path, "points_volts"), check.points_volts)
            yield from repeats((*path, "directions"), check.directions, "every direction once")
        if isinstance(check, StackTotalSettings):
            yield from repeats((*path, "points_volts"), check.points_volts, "every point once")
        if isinstance(check, ThermistorAccuracySettings):
            yield from repeats((*path, "points_celsius"), check.points_celsius, "every point once")


def _selection_remarks(path: KeyPath, chosen: tuple[int, ...] | None) -> Iterator[Remark]:
    if chosen is None:
        return
    if not chosen:
        yield Remark(path, f"at least one of the {path[-1]}, or no such key for all", "[]")
    yield from repeats(path, chosen, f"each of the {path[-1]} once")


def _rising_remarks(path: KeyPath, points: tuple[float, ...]) -> Iterator[Remark]:
    for index, (before, after) in enumerate(pairwise(points), 1):
        if after <= before:
            expected = f"points that rise, above {figure(before, 'V')}"
            yield Remark((*path, index), expected, as_toml(after))
