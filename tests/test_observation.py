"""Observations: raw values become aligned columns, and columns are picked apart again."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from harness.observation import (
    UNITS,
    Observation,
    Observations,
    PointRecord,
    Quantity,
    Source,
    tabulate,
)


def seen(source: Source, channel: int, value: float, sequence: int = 0) -> Observation:
    """One cell voltage."""
    return Observation(source, Quantity.CELL_VOLTAGE, channel, sequence, value, 1.7e9, 10.0)


POINTS = (
    PointRecord(
        check=0,
        step=0,
        label={"nominal_volts": 3.3, "direction": "up"},
        observations=(seen(Source.BOARD, 1, 3.301), seen(Source.REFERENCE, 1, 3.300)),
    ),
    PointRecord(
        check=2,
        step=5,
        label={"nominal_volts": 3.6},
        observations=(seen(Source.BOARD, 2, math.nan),),
        did_settle=False,
    ),
)


@pytest.fixture
def table() -> Observations:
    """The columns of both points, as run 7."""
    return tabulate(POINTS, run=7)


def test_every_quantity_has_a_unit() -> None:
    assert set(Quantity) == set(UNITS)


def test_numbers_of_sources_and_quantities_never_change() -> None:
    """They are what a record holds: a new one may be added, none renumbered."""
    assert [1, 2, 3, 4, 5, 6] == [source.value for source in Source]
    assert list(range(1, 10)) == [quantity.value for quantity in Quantity]


def test_a_row_stands_for_each_observation(table: Observations) -> None:
    assert 3 == len(table)
    assert [0, 0, 2] == table.check.tolist()
    assert [0, 0, 5] == table.step.tolist()
    assert [1, 2, 1] == table.source.tolist()
    assert [1, 1, 2] == table.channel.tolist()


def test_all_rows_carry_the_runs_number(table: Observations) -> None:
    assert {7} == set(table.run.tolist())


def test_values_are_kept_as_they_came(table: Observations) -> None:
    """A value that a source could not give stays NaN."""
    np.testing.assert_array_equal([3.301, 3.300, math.nan], table.value)


def test_labels_are_found_by_check_and_step(table: Observations) -> None:
    assert {
        (0, 0): {"nominal_volts": 3.3, "direction": "up"},
        (2, 5): {"nominal_volts": 3.6},
    } == table.labels


def test_points_that_did_not_settle_are_named(table: Observations) -> None:
    assert frozenset({(7, 2, 5)}) == table.unsettled


def test_columns_have_their_types(table: Observations) -> None:
    for name in ("run", "check", "step", "source", "quantity", "channel", "sequence"):
        assert np.int64 == getattr(table, name).dtype, name
    assert (np.float64, np.float64) == (table.value.dtype, table.monotonic.dtype)


def test_no_points_give_empty_columns() -> None:
    empty = tabulate(())
    assert (0, {}, frozenset()) == (len(empty), empty.labels, empty.unsettled)


def test_rows_are_picked_by_source(table: Observations) -> None:
    assert [3.300] == table.of(source=Source.REFERENCE).value.tolist()


def test_rows_are_picked_by_check_and_quantity(table: Observations) -> None:
    assert 1 == len(table.of(check=2, quantity=Quantity.CELL_VOLTAGE))
    assert 0 == len(table.of(quantity=Quantity.TEMPERATURE))


def test_nothing_asked_picks_everything(table: Observations) -> None:
    np.testing.assert_array_equal(table.value, table.of().value)


def test_every_column_is_picked_alike(table: Observations) -> None:
    """A mask leaves no column behind, and labels and unsettled points stay known."""
    mask = np.array([True, False, True])
    picked = table.where(mask)
    for field in dataclasses.fields(Observations):
        column, before = getattr(picked, field.name), getattr(table, field.name)
        if isinstance(before, np.ndarray):
            np.testing.assert_array_equal(before[mask], column, err_msg=field.name)
        else:
            assert before == column, field.name


def test_an_observation_cannot_be_changed() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        POINTS[0].observations[0].value = 3.3  # type: ignore[misc]
