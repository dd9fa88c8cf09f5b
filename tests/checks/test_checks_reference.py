"""Look-ups behind a reference reading: range, column, integration time, bracket."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from checks_builder import bench, meter_model, meter_range, models, setup

from harness.checks.reference import (
    column_of,
    decade_of,
    integration_of,
    meter_of,
    range_index,
    scan_of,
)
from harness.checks.samples import Samples
from harness.descriptions.instrument import AccuracyColumn, AgeColumn
from harness.descriptions.plan import NoiseSettings
from harness.instruments.meter import range_for

SETUP = setup(NoiseSettings(kind="noise"))


def test_the_meter_is_found_by_its_model():
    meter = meter_of(SETUP)
    assert ("dmm", AgeColumn.YEAR, 23.0) == (meter.name, meter.column, meter.ambient_celsius)


def test_a_bench_without_a_meter_has_none():
    instruments = {k: v for k, v in bench().instruments.items() if k in ("source", "card")}
    found = {k: v for k, v in models().items() if k in instruments}
    bare = replace(SETUP, bench=bench(instruments=instruments), models=found)
    assert (None, None) == (meter_of(bare), decade_of(bare))


@pytest.mark.parametrize("volts", [0.0, 0.5, 1.0, 1.0001, -3.3, 10.0, 43.2, 100.0, 500.0])
def test_the_range_is_the_one_that_the_meter_driver_chooses(volts):
    ranges = tuple(meter_range(v) for v in (10.0, 1.0, 100.0))
    found = ranges[range_index(ranges, np.array([volts]))[0]]
    assert range_for(ranges, volts).range_value == found.range_value


COLUMN = AccuracyColumn(ppm_of_reading=1.0, ppm_of_range=1.0)


@pytest.mark.parametrize(
    ("stated", "wanted", "expected"),
    [
        ((AgeColumn.DAY, AgeColumn.YEAR), AgeColumn.DAY, AgeColumn.DAY),
        ((AgeColumn.DAY, AgeColumn.YEAR), AgeColumn.QUARTER, AgeColumn.YEAR),
        ((AgeColumn.DAY, AgeColumn.QUARTER), AgeColumn.YEAR, AgeColumn.QUARTER),
    ],
)
def test_a_column_not_stated_gives_way_to_the_next_longer(stated, wanted, expected):
    a_range = replace(meter_range(10.0), accuracy=dict.fromkeys(stated, COLUMN))
    assert expected is column_of(a_range, wanted)[0]


@pytest.mark.parametrize(("cycles", "expected"), [(1.0, 1.0), (5.0, 1.0), (10.0, 10.0), (0.1, 1.0)])
def test_the_integration_row_is_the_longest_that_is_no_longer(cycles, expected):
    assert expected == integration_of(meter_model(), cycles).power_line_cycles


def samples(*cells: list[tuple[float, float]]) -> Samples:
    """One visit; each cell a list of (time, value)."""
    most = max(len(c) for c in cells)
    values = np.full((1, len(cells), most), np.nan)
    times = np.full((1, len(cells), most), np.nan)
    present = np.zeros((1, len(cells), most), dtype=bool)
    for k, cell in enumerate(cells):
        for i, (moment, value) in enumerate(cell):
            times[0, k, i], values[0, k, i], present[0, k, i] = moment, value, True
    return Samples(values, present, times)


def test_the_bracket_is_what_was_read_at_the_first_cell_after_all_others():
    scan = scan_of(samples([(1, 3.0), (2, 3.2), (5, 3.4)], [(3, 4.0)], [(4, 5.0)]))
    assert [[[False, False, True], [False] * 3, [False] * 3]] == scan.is_bracket.tolist()
    assert [3.4 - 3.1] == pytest.approx(scan.drift.tolist())


def test_the_first_cell_need_not_be_the_first_channel():
    scan = scan_of(samples([(2, 3.0)], [(1, 4.0), (3, 4.1)]))
    assert [4.1 - 4.0] == pytest.approx(scan.drift.tolist())


def test_readings_without_times_have_no_bracket():
    scan = scan_of(samples([(0, 3.0), (0, 3.1)], [(0, 4.0)]))
    assert (False, 0.0) == (bool(scan.is_bracketed[0]), scan.drift[0])


def test_a_single_cell_has_no_bracket():
    assert not scan_of(samples([(1, 3.0), (2, 3.1)])).is_bracket.any()


def test_the_mean_takes_the_bracket_in():
    scan = scan_of(samples([(1, 3.0), (3, 3.2)], [(2, 4.0)]))
    assert [3.1, 4.0] == pytest.approx(scan.mean[0].tolist())
    assert [2, 1] == scan.count[0].tolist()
