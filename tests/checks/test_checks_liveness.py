"""Liveness: how long one code may be repeated."""

from __future__ import annotations

import numpy as np
import pytest
from checks_builder import board, cell_inputs, setup

from harness.checks.liveness import (
    is_improbably_still,
    longest_constant_run,
    sameness,
    sameness_probability,
)
from harness.checks.samples import samples_of, visits_of
from harness.descriptions.plan import NoiseSettings
from harness.observation import Observation, PointRecord, Quantity, Source, tabulate

NOISY = setup(NoiseSettings(kind="noise"), board=board(cell_inputs=cell_inputs(noise_volts=0.001)))


def test_the_probability_is_no_smaller_than_what_simulation_shows():
    rng = np.random.default_rng(8)
    codes = np.round(rng.normal(0.0, 0.4, (200_000, 4)))
    seen = float(np.mean(np.ptp(codes, axis=1) == 0))
    bound = float(sameness_probability(np.array([4]), 0.4, 1.0)[0])
    assert seen == pytest.approx(bound, abs=0.005)


def test_off_the_middle_of_a_code_sameness_is_rarer():
    rng = np.random.default_rng(8)
    codes = np.round(rng.normal(0.3, 0.4, (100_000, 4)))
    bound = sameness_probability(np.array([4]), 0.4, 1.0)[0]
    assert np.mean(np.ptp(codes, axis=1) == 0) < bound


def test_a_noiseless_board_may_repeat_for_ever():
    assert 1.0 == sameness_probability(np.array([10_000]), 0.0, 0.001)[0]


def test_only_rare_sameness_is_improbable():
    assert [False, True] == is_improbably_still(np.array([5, 64]), NOISY).tolist()


def test_the_sentence_gives_frames_noise_and_chance():
    assert "64 identical frames, where the declared noise of 1 mV gives that a chance of 2e-27" == (
        sameness(64, NOISY)
    )


def runs(*values_by_point: list[float]) -> int:
    points = [
        PointRecord(
            0,
            step,
            {},
            tuple(
                Observation(Source.BOARD, Quantity.CELL_VOLTAGE, 1, i, v, 0.0, 0.0)
                for i, v in enumerate(values)
            ),
        )
        for step, values in enumerate(values_by_point)
    ]
    table = tabulate(points)
    visits = visits_of(table, 0)
    samples = samples_of(table, visits, Source.BOARD, Quantity.CELL_VOLTAGE, (1,))
    return int(longest_constant_run(samples, visits)[0, 0])


@pytest.mark.parametrize(
    ("expected", "points"),
    [
        pytest.param(6, ([3.0] * 3, [3.0] * 3), id="over two points"),
        pytest.param(3, ([3.0] * 3, [3.1] * 2), id="a change ends it"),
        pytest.param(2, ([3.0] * 2, [3.0, 3.1], [3.0] * 2), id="a flicker ends it"),
        pytest.param(0, ([3.0, 3.1],), id="never constant"),
        pytest.param(2, ([np.nan] * 3, [3.0] * 2), id="no value is no sameness"),
    ],
)
def test_the_longest_run_of_one_code(expected, points):
    assert expected == runs(*points)
