"""Observations arranged over visit, channel and sample."""

from __future__ import annotations

import numpy as np
import pytest
from checks_builder import joined
from hypothesis import given
from hypothesis import strategies as st

from harness.checks.samples import samples_of, visits_of
from harness.observation import Observation, PointRecord, Quantity, Source, tabulate

BOARD, CELL = Source.BOARD, Quantity.CELL_VOLTAGE


def seen(channel: int, sequence: int, value: float, moment: float = 0.0) -> Observation:
    return Observation(BOARD, CELL, channel, sequence, value, moment, moment)


def point(step: int, *observations: Observation, did_settle: bool = True) -> PointRecord:
    return PointRecord(0, step, {"nominal_volts": 3.0 + step}, observations, did_settle=did_settle)


def arranged(*points: PointRecord, channels=(1, 2)):
    table = tabulate(points)
    return samples_of(table, visits_of(table, 0), BOARD, CELL, channels)


def test_visits_are_ordered_by_run_then_step():
    both = joined(
        tabulate([point(1, seen(1, 0, 3.0)), point(0, seen(1, 0, 3.0))], run=9),
        tabulate([point(0, seen(1, 0, 3.0))], run=4),
    )
    visits = visits_of(both, 0)
    assert [(4, 0), (9, 0), (9, 1)] == list(zip(visits.run, visits.step, strict=True))


def test_far_apart_run_numbers_are_still_told_apart():
    both = joined(
        tabulate([point(0, seen(1, 0, 3.0))], run=5),
        tabulate([point(0, seen(1, 0, 4.0))], run=10**9),
    )
    visits = visits_of(both, 0)
    found = samples_of(both, visits, BOARD, CELL, (1,))
    assert [3.0, 4.0] == found.mean()[:, 0].tolist()


def test_labels_give_numbers_and_nan_where_there_is_none():
    table = tabulate([point(0, seen(1, 0, 3.0)), point(2, seen(1, 0, 3.0))])
    visits = visits_of(table, 0)
    assert [3.0, 5.0] == visits.numbers("nominal_volts").tolist()
    assert np.isnan(visits.numbers("moved_cell")).all()


def test_an_unsettled_point_is_marked():
    table = tabulate([point(0, seen(1, 0, 3.0)), point(1, seen(1, 0, 3.0), did_settle=False)])
    assert [True, False] == visits_of(table, 0).did_settle.tolist()


def test_no_observation_is_no_visit():
    assert 0 == len(visits_of(tabulate([]), 0))


def test_the_mean_is_that_of_the_samples():
    found = arranged(point(0, seen(1, 0, 3.0), seen(1, 1, 4.0), seen(2, 0, 5.0)))
    assert [[3.5, 5.0]] == found.mean().tolist()


def test_a_missing_value_makes_the_mean_nan_and_is_counted():
    found = arranged(point(0, seen(1, 0, 3.0), seen(1, 1, np.nan)))
    assert np.isnan(found.mean()[0, 0])
    assert (2, 1) == (found.count[0, 0], found.missing[0, 0])


def test_a_channel_never_seen_is_not_usable():
    assert [[True, False]] == arranged(point(0, seen(1, 0, 3.0))).is_usable.tolist()


def test_samples_that_share_a_number_stand_in_order_of_appearance():
    found = arranged(point(0, seen(1, 0, 3.0), seen(1, 0, 4.0), seen(1, 0, 5.0)))
    assert [3.0, 4.0, 5.0] == found.values[0, 0].tolist()


def test_numbers_with_a_gap_lose_no_sample():
    found = arranged(point(0, seen(1, 7, 4.0), seen(1, 2, 3.0)))
    assert [3.0, 4.0] == found.values[0, 0].tolist()


def test_channels_not_asked_for_are_left_out():
    assert (1, 1, 1) == arranged(
        point(0, seen(1, 0, 3.0), seen(8, 0, 9.0)), channels=(1,)
    ).values.shape


@given(
    st.lists(
        st.tuples(st.integers(0, 3), st.integers(0, 4), st.integers(1, 3), st.integers(0, 5)),
        min_size=1,
    ),
    st.randoms(use_true_random=False),
)
def test_every_row_finds_its_place_whatever_the_order(keys, random):
    """Count and sum a (run, step, channel) equal those of a plain dictionary."""
    random.shuffle(keys)
    parts = []
    expected: dict[tuple[int, int, int], list[float]] = {}
    for i, (run, step, channel, sequence) in enumerate(keys):
        parts.append(tabulate([point(step, seen(channel, sequence, float(i)))], run=run))
        expected.setdefault((run, step, channel), []).append(float(i))
    table = joined(*parts)
    visits = visits_of(table, 0)
    found = samples_of(table, visits, BOARD, CELL, (1, 2, 3))
    for v in range(len(visits)):
        for c in range(3):
            values = expected.get((int(visits.run[v]), int(visits.step[v]), c + 1), [])
            assert len(values) == found.count[v, c]
            assert sum(values) == pytest.approx(np.nansum(found.values[v, c]))
