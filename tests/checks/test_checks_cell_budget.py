"""The parts of a cell budget: relay paths and the scatter of repeated readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from checks_builder import bench, setup

from harness.checks.cell_budget import cell_paths, reading_scatter
from harness.checks.samples import Samples, Visits
from harness.descriptions.plan import NoiseSettings

SETUP = setup(NoiseSettings(kind="noise"))


def one_run(visits: int) -> Visits:
    zero = np.zeros(visits, dtype=np.int64)
    return Visits(
        0, zero, np.arange(visits), zero[:1], zero, np.ones(visits, dtype=bool), ({},) * visits
    )


def readings(values: np.ndarray) -> Samples:
    return Samples(values, ~np.isnan(values), np.zeros_like(values))


def test_each_cell_has_its_own_relays():
    assert (("5", "6"), ("1", "2")) == cell_paths(SETUP, (3, 1))


def test_a_bench_without_paths_has_no_relays():
    bare = replace(SETUP, bench=bench(paths=replace(bench().paths, meter_at_cell=())))
    assert ((), ()) == cell_paths(bare, (1, 2))


def test_scatter_is_pooled_over_all_cells_and_points():
    values = np.random.default_rng(4).normal(0, 2.0, (30, 4, 3))
    found = reading_scatter(readings(values), one_run(30))
    assert np.sqrt(values.var(axis=2, ddof=1).mean()) == pytest.approx(found.deviation[0])
    assert 30 * 4 * 2 == found.freedom[0]


def test_the_bracket_is_drift_and_no_scatter():
    values = np.full((1, 2, 2), np.nan)
    values[0, 0], values[0, 1, 0] = (3.0, 3.1), 4.0
    bracket = np.zeros((1, 2, 2), dtype=bool)
    bracket[0, 0, 1] = True
    assert np.isnan(reading_scatter(readings(values), one_run(1), bracket).deviation).all()


def test_no_reading_at_all_has_no_scatter():
    nothing = np.zeros((2, 3, 0))
    assert np.isnan(reading_scatter(readings(nothing), one_run(2)).deviation).all()
