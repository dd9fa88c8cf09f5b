"""Settling: steady but noisy signals pass, drifting and restless ones do not."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import MisuseError
from harness.metrology.settling import (
    is_settled,
    lag_after_ramp,
    settled_after_ramp_seconds,
    slow_tail,
    time_to_settle_seconds,
)

TIMES = np.arange(8) * 0.1
NOISE, BUDGET = 3e-4, 2e-4


def noisy(signal: np.ndarray, seed: int = 1, channels: int = 20_000) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return signal[:, None] + NOISE * rng.normal(size=(len(signal), channels))


def test_noisy_but_steady_is_settled() -> None:
    """Noise above the budget must not hold a steady channel back: once in thousands."""
    held = ~is_settled(TIMES, noisy(np.zeros(8)), NOISE, BUDGET)
    assert held.mean() < 5e-4


def test_drift_beyond_budget_and_noise_is_seen() -> None:
    """A channel that moves 3 mV in the window."""
    moving = noisy(np.linspace(0.0, 3e-3, 8))
    assert is_settled(TIMES, moving, NOISE, BUDGET).mean() < 1e-3


def test_drift_inside_the_budget_is_settled() -> None:
    """Without noise the bound is the budget itself."""
    slow = np.linspace(0, 0.999 * BUDGET, 8)[:, None]
    fast = np.linspace(0, 1.001 * BUDGET, 8)[:, None]
    assert [True] == is_settled(TIMES, slow, 0.0, BUDGET).tolist()
    assert [False] == is_settled(TIMES, fast, 0.0, BUDGET).tolist()


def test_exponential_tail_is_told_from_its_end() -> None:
    """A filter of 0.2 s after a step of 0.5 V: not at once, but after nine time constants."""
    early, late = 0.5 * np.exp(-TIMES / 0.2), 0.5 * np.exp(-(TIMES + 1.8) / 0.2)
    values = np.stack([early, late], axis=1)
    assert [False, True] == is_settled(TIMES, values, NOISE, BUDGET).tolist()


def test_restless_without_slope_is_not_settled() -> None:
    """Scatter far beyond the declared noise, symmetric about the window's middle."""
    values = 5e-3 * np.array([1, -1, -1, 1, 1, -1, -1, 1.0])[:, None]
    assert [False] == is_settled(TIMES, values, NOISE, BUDGET).tolist()


def test_missing_value_is_not_settled() -> None:
    values = np.zeros((8, 2))
    values[3, 1] = np.nan
    assert [True, False] == is_settled(TIMES, values, NOISE, BUDGET).tolist()


def test_one_sample_proves_nothing() -> None:
    assert [False] == is_settled([0.0], [[1.0]], NOISE, BUDGET).tolist()


def test_two_samples_have_a_slope_but_no_scatter() -> None:
    values = np.array([[0.0, 0.0], [1e-4, 1e-2]])
    assert [True, False] == is_settled([0.0, 1.0], values, 0.0, BUDGET).tolist()


def test_flicker_by_one_step_is_settled() -> None:
    """A 1 mV board flickering between two codes, its step declared as noise."""
    values = 1e-3 * np.array([0, 1, 0, 0, 1, 1, 0, 1.0])[:, None]
    assert [True] == is_settled(TIMES, values, np.hypot(3e-4, 1e-3 / 12**0.5), BUDGET).tolist()


def test_shapes_must_fit() -> None:
    with pytest.raises(MisuseError, match=r"expected times \(m,\) and values \(m, n\)"):
        is_settled([0.0, 1.0], [1.0, 2.0], NOISE, BUDGET)


def test_time_to_settle() -> None:
    """1 V to 0.1 mV takes 9.21 time constants; a small step takes none."""
    assert pytest.approx(9.2103 * 0.01, rel=1e-4) == float(time_to_settle_seconds(1, 0.01, 1e-4))
    assert 0.0 == time_to_settle_seconds(1e-5, 0.01, 1e-4)
    assert 0.0 == time_to_settle_seconds(0.0, 0.01, 1e-4)


def test_lag_after_a_long_ramp_is_rate_times_time_constant() -> None:
    assert pytest.approx(0.05) == float(lag_after_ramp(0.5, 10.0, 0.1))


def test_lag_after_a_short_ramp_is_nearly_the_step() -> None:
    assert pytest.approx(1.0, rel=1e-3) == float(lag_after_ramp(1000.0, 1e-3, 1.0))


def test_lag_follows_the_filter() -> None:
    """Against the filter's equation, integrated in small steps."""
    tau, rate, seconds, y, steps = 0.2, 3.0, 0.35, 0.0, 70_000
    dt = seconds / steps
    for i in range(steps):
        y += dt * (rate * (i + 0.5) * dt - y) / tau
    assert rate * seconds - y == pytest.approx(float(lag_after_ramp(rate, seconds, tau)), rel=1e-4)


def test_without_filter_there_is_no_lag() -> None:
    assert 0.0 == lag_after_ramp(5.0, 1.0, 0.0)
    assert 0.0 == settled_after_ramp_seconds(1.0, 0.0, 0.0, 1e-4)


def test_settling_after_a_ramp_counts_the_lag_only() -> None:
    """A step as a ramp of no length; a slow ramp leaves less to wait for."""
    step = settled_after_ramp_seconds(1.0, 0.0, 0.1, 1e-4)
    assert float(time_to_settle_seconds(1.0, 0.1, 1e-4)) == pytest.approx(float(step))
    assert settled_after_ramp_seconds(1.0, 2.0, 0.1, 1e-4) < step


SINCE_STEP = np.arange(1, 13) * 0.05
DECLARED = 0.02


def after_step(tau: float, step: float, deviation: float = NOISE) -> np.ndarray:
    """Two hundred channels behind a filter of `tau` after a step at time 0."""
    scatter = np.random.default_rng(2).standard_normal((len(SINCE_STEP), 200))
    return step * np.exp(-SINCE_STEP / tau)[:, None] + deviation * scatter


@pytest.mark.parametrize("tau", [0.05, 0.1, 0.3, 0.6])
def test_a_time_constant_is_recovered_from_noisy_samples(tau: float) -> None:
    """Twelve samples after a step of 0.3 V with 0.3 mV of noise: within a few percent."""
    found = slow_tail(SINCE_STEP, after_step(tau, 0.3), NOISE, DECLARED)
    assert found.is_slow.all()
    assert pytest.approx(tau, rel=0.1) == float(np.median(found.time_constant_seconds))


def test_the_moment_of_readiness_is_tau_ln_of_step_over_budget() -> None:
    found = slow_tail(SINCE_STEP, 0.3 * np.exp(-SINCE_STEP / 0.1)[:, None], 0.0, DECLARED)
    assert pytest.approx(0.1 * np.log(0.3 / BUDGET), rel=0.05) == found.ready_seconds(BUDGET)


def test_what_is_left_is_the_tail_over_the_window() -> None:
    found = slow_tail(SINCE_STEP, 0.3 * np.exp(-SINCE_STEP / 0.1)[:, None], 0.0, DECLARED)
    window = np.array([0.5, 0.55, 0.6])
    expected = float(0.3 * np.exp(-window / 0.1).mean())
    assert pytest.approx(expected, rel=0.1) == float(found.mean_left(window)[0])


@pytest.mark.parametrize("tau", [0.001, 0.01, 0.019])
def test_a_board_as_declared_is_not_slow(tau: float) -> None:
    """Whatever of its tail the first samples still show."""
    found = slow_tail(SINCE_STEP - 0.045, after_as_declared(tau), NOISE, DECLARED)
    assert not found.is_slow.any()
    assert 0.0 == found.mean_left(SINCE_STEP).max()


def after_as_declared(tau: float) -> np.ndarray:
    signal = 0.3 * np.exp(-(SINCE_STEP - 0.045) / tau)
    return noisy(signal, channels=20_000)


@pytest.mark.parametrize("deviation", [NOISE, 10 * NOISE])
def test_noise_is_not_taken_for_a_tail(deviation: float) -> None:
    steady = noisy(np.zeros(12), channels=20_000) * (deviation / NOISE)
    assert not slow_tail(SINCE_STEP, steady, NOISE, DECLARED).is_slow.any()


def test_a_slow_channel_does_not_hide_behind_its_noise() -> None:
    """Ten times the declared noise, and yet slow."""
    found = slow_tail(SINCE_STEP, after_step(0.3, 1.0, 10 * NOISE), NOISE, DECLARED)
    assert found.is_slow.all()


def test_few_samples_and_missing_ones_tell_nothing() -> None:
    values = after_step(0.3, 1.0)[:, :2]
    values[3, 1] = np.nan
    assert [True, False] == slow_tail(SINCE_STEP, values, NOISE, DECLARED).is_slow.tolist()
    assert not slow_tail(SINCE_STEP[:4], values[:4], NOISE, DECLARED).is_slow.any()


def test_without_a_declared_filter_any_tail_is_slow() -> None:
    found = slow_tail(SINCE_STEP, after_step(0.1, 0.3), NOISE, 0.0)
    assert found.is_slow.all()
