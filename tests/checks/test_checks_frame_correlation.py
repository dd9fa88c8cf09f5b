"""What a board's frames tell about how much they repeat each other."""

from __future__ import annotations

import numpy as np
import pytest
from checks_builder import CELLS, FakeBench, FakeBoard, observed, setup

from harness.checks.frame_correlation import (
    Correlation,
    correlation_of_channels,
    correlation_of_runs,
    mean_of_frames,
    pooled_frames,
    record_of_noise,
    split_of,
)
from harness.checks.noise import NoiseCheck
from harness.descriptions.plan import CellAccuracySettings, NoiseSettings
from harness.metrology.repeatability import group_statistics

CHANNELS, SERIES, FRAMES = 12, 40, 8


def pooled(rho: np.ndarray, size: np.ndarray, step: float = 0.0):
    """One run of channels with their own correlation and noise."""
    rng = np.random.default_rng(4)
    x = rng.normal(size=(CHANNELS, SERIES, FRAMES))
    for i in range(1, FRAMES):
        own = rho[:, None]
        x[..., i] = own * x[..., i - 1] + np.sqrt(1 - own**2) * x[..., i]
    x = x * size[:, None, None] + rng.uniform(-1, 1, (CHANNELS, SERIES, 1))
    x = np.round(x / step) * step if step else x
    pools = np.repeat(np.arange(CHANNELS), SERIES)
    codes = np.repeat(np.arange(len(pools)), FRAMES)
    groups = group_statistics(x.reshape(-1), codes, len(pools))
    return pooled_frames(groups, pools, 0 * pools, step)


ONES = np.ones(CHANNELS)


def test_white_noise_has_no_correlation():
    assert 0.0 == pytest.approx(
        correlation_of_runs(pooled(0 * ONES, ONES), 1).correlation[0], abs=0.1
    )


@pytest.mark.parametrize("step", [0.0, 1.0, 2.0])
def test_the_correlation_is_that_before_quantising(step):
    found = correlation_of_runs(pooled(0.7 * ONES, ONES, step), 1)
    assert 0.7 == pytest.approx(found.correlation[0], abs=3 * np.sqrt(found.variance[0]))
    assert np.sqrt(found.variance[0]) < 0.1


def test_one_noisy_channel_does_not_speak_for_the_others():
    size = np.where(np.arange(CHANNELS) == 3, 20.0, 1.0)
    rho = np.where(np.arange(CHANNELS) == 3, 0.0, 0.6)
    assert correlation_of_runs(pooled(rho, size), 1).correlation[0] > 0.45


def test_a_channel_that_stands_out_keeps_its_own():
    rho = np.where(np.arange(CHANNELS) == 3, 0.9, 0.0)
    found = pooled(rho, ONES)
    own = correlation_of_channels(found, correlation_of_runs(found, 1)).correlation
    assert own[3] > 0.7
    assert 1 == len(set(np.delete(own, 3).tolist()))


def test_a_steady_board_tells_nothing():
    found = correlation_of_runs(pooled(0 * ONES, 0 * ONES, 10.0), 1)
    assert (0.0, np.inf) == (found.correlation[0], found.variance[0])


def test_noise_far_below_the_step_is_a_small_share():
    split = split_of(pooled(0 * ONES, 0.1 * ONES, 1.0), np.zeros(CHANNELS))
    assert split.noise_share.max() < 0.4


def test_of_two_estimates_the_surer_counts():
    one = Correlation(np.array([0.1, 0.2]), np.array([0.01, 0.04]))
    other = Correlation(np.array([0.5, 0.6]), np.array([0.02, 0.03]))
    assert [0.1, 0.6] == one.better_of(other).correlation.tolist()


def test_unknown_correlation_leaves_means_as_they_are():
    count, freedom = np.array([5, 1]), np.array([40.0, np.inf])
    found = pooled(0 * ONES, ONES)
    split = split_of(found, np.zeros(CHANNELS)).at(np.array([0, 1]))
    means = mean_of_frames(count, freedom, split, Correlation(np.zeros(2), np.full(2, np.inf)))
    assert ([5.0, 1.0], [40.0, np.inf]) == (means.effective.tolist(), means.freedom.tolist())


def test_the_noise_check_of_each_run_is_the_record():
    plan = (
        CellAccuracySettings(kind="cell-accuracy", points_volts=(2.5, 2.8, 3.0, 3.3, 3.65)),
        NoiseSettings(kind="noise", frames=64),
    )
    a_setup = setup(*plan)
    seen = observed(NoiseCheck(), FakeBench(a_setup, FakeBoard(noise=0.001)), index=1, run=7)
    found = record_of_noise(seen, a_setup, np.array([6, 7]))
    assert found is not None
    assert np.inf == found.variance[0]
    assert found.variance[1] < 2 / (64 * CELLS)


def test_without_a_noise_check_there_is_no_record():
    a_setup = setup(
        CellAccuracySettings(kind="cell-accuracy", points_volts=(2.5, 2.8, 3, 3.3, 3.6))
    )
    seen = observed(NoiseCheck(), FakeBench(setup(NoiseSettings(kind="noise"))))
    assert record_of_noise(seen, a_setup, np.array([0])) is None
