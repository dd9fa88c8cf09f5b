"""Voltages that a plan asks for: as written, and the ends of a pattern."""

from __future__ import annotations

import pytest

from harness.descriptions.plan import MappingSettings, PlanDescription, StackTotalSettings
from harness.descriptions.plan_points import cell_points, highest_stack_volts, stack_volts

MAPPING = MappingSettings(kind="mapping", base_volts=3.2, spacing_volts=0.04, move_volts=0.15)
STACK = StackTotalSettings(kind="stack-total", points_volts=(2.5, 3.3))


def test_written_points_have_their_keys() -> None:
    """The fault must point at the very entry."""
    assert [("points_volts", 0), ("points_volts", 1)] == [
        point.key for point in cell_points(STACK, 12)
    ]


def test_pattern_is_symmetric_about_its_base() -> None:
    """Twelve cells 40 mV apart reach 0.22 V to either side."""
    assert [3.2, pytest.approx(2.98), pytest.approx(3.42)] == [
        point.volts for point in cell_points(MAPPING, 12)
    ]


def test_equal_cells_have_no_pattern() -> None:
    """A ladder is given the base alone."""
    assert [3.2] == [point.volts for point in cell_points(MAPPING, 1)]


@pytest.mark.parametrize(
    ("check", "total"), [(STACK, 39.6), (MAPPING, 38.55)], ids=["stack", "mapping"]
)
def test_stack_is_the_sum_of_the_cells(
    check: MappingSettings | StackTotalSettings, total: float
) -> None:
    """The moved cell adds its move."""
    assert pytest.approx(total) == stack_volts(check, 12)


def test_plan_reaches_the_highest_of_its_checks() -> None:
    """Whatever their order."""
    plan = PlanDescription(name="x", check=(STACK, MAPPING))
    assert pytest.approx(39.6) == highest_stack_volts(plan, 12)
