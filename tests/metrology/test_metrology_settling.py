"""Settling: steady but noisy signals pass, drifting and restless ones do not."""

from __future__ import annotations

import numpy as np
import pytest

from harness.errors import MisuseError
from harness.metrology.settling import (
    is_settled,
    lag_after_ramp,
    settled_after_ramp_seconds,
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
