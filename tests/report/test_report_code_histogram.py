"""Steady readings counted in codes."""

from __future__ import annotations

import math

import pytest
from report_builder import CELLS, observations

from harness.observation import Observation, PointRecord, Quantity, Source, tabulate
from harness.report.code_histogram import code_counts


def steady(*volts: float) -> object:
    rows = tuple(
        Observation(Source.BOARD, Quantity.CELL_VOLTAGE, 1, i, v, 0.0, 0.0)
        for i, v in enumerate(volts)
    )
    return tabulate([PointRecord(0, 0, {}, rows)])


def test_every_reading_is_counted() -> None:
    counts = code_counts(observations(), 3, 0.001)
    assert [64] * CELLS == [int(c.counts.sum()) for c in counts]


def test_codes_count_from_the_median() -> None:
    (c,) = code_counts(steady(3.299, 3.300, 3.300, 3.302), 0, 0.001)  # type: ignore[arg-type]
    assert (c.codes.tolist(), c.counts.tolist()) == ([-1, 0, 1, 2], [1, 2, 0, 1])


def test_deviation_is_in_codes() -> None:
    (c,) = code_counts(steady(3.299, 3.301), 0, 0.001)  # type: ignore[arg-type]
    assert c.deviation_codes == pytest.approx(math.sqrt(2))


def test_readings_without_value_are_told_apart() -> None:
    (c,) = code_counts(steady(3.3, math.nan, 3.3), 0, 0.001)  # type: ignore[arg-type]
    assert (c.missing, int(c.counts.sum())) == (1, 2)


def test_a_channel_without_any_value_has_no_code() -> None:
    (c,) = code_counts(steady(math.nan), 0, 0.001)  # type: ignore[arg-type]
    assert (len(c.codes), c.missing) == (0, 1)


def test_another_check_has_none() -> None:
    assert code_counts(observations(), 1, 0.001) == ()
