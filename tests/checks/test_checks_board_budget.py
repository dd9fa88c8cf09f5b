"""The board's own contributions: pooled scatter, effective frames, what is left of the step."""

from __future__ import annotations

import numpy as np
import pytest

from harness.checks import board_budget
from harness.checks.board_budget import Scatter, channel_pools, scatter_of
from harness.checks.samples import Samples, Visits
from harness.metrology.resolution import residual_resolution_uncertainty

RNG = np.random.default_rng(20)


def samples(values: np.ndarray) -> Samples:
    return Samples(values, ~np.isnan(values), np.zeros_like(values))


def scatter(values: np.ndarray, step: float = 0.0) -> Scatter:
    """All visits are points of one run of one channel."""
    return scatter_of(samples(values[:, None, :]), np.zeros(len(values), dtype=np.int64), step, 9.0)


def restless(*shape: int) -> np.ndarray:
    """Frames of 0.5 that change sides every time, so that none repeats its neighbour."""
    return np.abs(RNG.normal(0, 0.5, shape)) * (-1.0) ** np.arange(shape[-1])


def test_scatter_is_pooled_over_the_points():
    values = restless(7, 10)
    found = scatter(values)
    expected = np.sqrt(values.var(axis=1, ddof=1).mean())
    assert [expected] * 7 == pytest.approx(found.deviation.tolist())
    assert [63.0] * 7 == found.freedom.tolist()


def test_a_point_that_stands_out_keeps_its_own_scatter():
    values = restless(7, 10)
    values[3] *= 20
    found = scatter(values)
    assert values[3].std(ddof=1) == pytest.approx(found.deviation[3])
    assert 9.0 == found.freedom[3]
    assert found.deviation[0] < 1.0


def test_independent_frames_all_count():
    assert [10.0] * 7 == pytest.approx(scatter(restless(7, 10)).effective.tolist())


def test_correlated_frames_count_for_less():
    walk = np.zeros((20, 20))
    for i in range(1, 20):
        walk[:, i] = 0.8 * walk[:, i - 1] + RNG.normal(0, 1, 20)
    assert 1.0 < scatter(walk).effective[0] < 8.0


def test_frames_that_only_rise_show_less_scatter_than_their_mean_has():
    rising = np.arange(8.0).reshape(1, 8)
    assert scatter(rising).effective[0] < 1.0


def test_correlated_frames_carry_fewer_degrees_of_freedom():
    walk = np.zeros((20, 20))
    for i in range(1, 20):
        walk[:, i] = 0.8 * walk[:, i - 1] + RNG.normal(0, 1, 20)
    assert scatter(walk).freedom[0] < 0.5 * 20 * 19


def test_one_frame_a_point_takes_the_declared_noise():
    found = scatter(np.array([[1.0], [2.0]]))
    assert ([9.0, 9.0], [np.inf] * 2) == (found.deviation.tolist(), found.freedom.tolist())


def test_no_frame_at_all_does_no_harm():
    found = scatter(np.full((2, 3), np.nan))
    assert [9.0, 9.0] == found.deviation.tolist()


def test_runs_and_channels_are_pooled_apart():
    run = np.array([0, 0, 1])
    labels = ({},) * 3
    visits = Visits(0, run, np.arange(3), np.array([0, 1]), run, np.ones(3, dtype=bool), labels)
    assert [0, 1, 0, 1, 2, 3] == channel_pools(visits, 2).tolist()


def test_repeatability_is_that_of_the_mean_of_effective_frames():
    one = Scatter(np.array([0.6]), np.array([63.0]), np.array([9.0]), np.array([0.6]))
    part = board_budget.repeatability(one)
    assert 0.2 == pytest.approx(part.standard_uncertainty[0])
    assert 63.0 == part.degrees_of_freedom[0]


def test_the_step_is_what_averaging_leaves_of_it():
    noise = 0.3
    frames = np.round(RNG.normal(0, noise, (400, 20)) + RNG.uniform(-0.5, 0.5, (400, 1)))
    part = board_budget.resolution(scatter(frames, step=1.0), 1.0, "V")
    expected = float(residual_resolution_uncertainty(1.0, noise))
    assert expected == pytest.approx(part.standard_uncertainty[0], abs=0.01)


def test_one_noisy_point_does_not_dither_the_others():
    frames = np.zeros((13, 10))
    frames[4] = RNG.normal(0, 5.0, 10).round()
    left = board_budget.resolution(scatter(frames, step=1.0), 1.0, "V").standard_uncertainty
    assert left[0] > 0.7 / np.sqrt(12)


def test_settling_is_a_bound_of_the_decayed_budget():
    part = board_budget.settling(0.3, np.array([1.0, 0.5]), "V")
    expected = [0.3 / np.sqrt(3), 0.15 / np.sqrt(3)]
    assert expected == pytest.approx(part.standard_uncertainty.tolist())


def timed(seconds: list[float]) -> Samples:
    values = np.zeros((1, 1, len(seconds)))
    return Samples(values, np.ones(values.shape, dtype=bool), np.array([[seconds]]))


def test_a_tail_decays_over_the_window_by_its_time_constant():
    """Mean of exp(-t/tau) at 0, 1, 2 time constants."""
    expected = (1 + np.exp(-1) + np.exp(-2)) / 3
    assert expected == pytest.approx(board_budget.mean_decay(timed([5.0, 5.1, 5.2]), 0.1)[0])


def test_without_times_the_whole_budget_stands():
    """A table measured by hand says nothing about when its readings were taken."""
    assert board_budget.mean_decay(timed([7.0, 7.0, 7.0]), 0.1)[0] == 1.0


def test_without_a_filter_only_the_first_frame_can_lack_anything():
    assert pytest.approx(1 / 4) == board_budget.mean_decay(timed([0.0, 0.1, 0.2, 0.3]), 0.0)[0]
