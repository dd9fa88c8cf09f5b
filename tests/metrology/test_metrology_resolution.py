"""Quantisation with and without dither, against simulation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from harness.metrology.resolution import (
    code_histogram,
    dithered_resolution_uncertainty,
    dithering_noise,
    effective_bits,
    largest_noise_behind,
    noise_free_bits,
    rectangular_resolution_uncertainty,
    residual_resolution_uncertainty,
)

Q = 0.001


def quantised(sigma: float, seed: int, readings: int = 4000, positions: int = 2000) -> tuple:
    """(root mean s^2, root mean square error of long means) over positions in the code."""
    rng = np.random.default_rng(seed)
    true = Q * (np.arange(positions) + rng.uniform(size=positions)) / positions
    seen = Q * np.rint((true + sigma * rng.normal(size=(readings, positions))) / Q)
    scatter = np.sqrt(seen.var(axis=0, ddof=1).mean())
    error = np.sqrt(np.mean((seen.mean(axis=0) - true) ** 2) - scatter**2 / readings)
    return scatter, error


@pytest.mark.parametrize("ratio", [0.02, 0.05, 0.09, 0.11, 0.2, 0.3])
def test_residual_after_dither_agrees_with_simulation(ratio: float) -> None:
    """What long means are wrong by, over a uniform position within the code."""
    _, error = quantised(ratio * Q, seed=int(1000 * ratio))
    assert error == pytest.approx(float(residual_resolution_uncertainty(Q, ratio * Q)), rel=0.03)


@pytest.mark.parametrize("ratio", [0.01, 0.05, 0.1, 0.2, 0.3, 0.5, 0.8, 1.5])
def test_noise_is_found_back_from_quantised_scatter(ratio: float) -> None:
    """From the scatter of simulated quantised readings."""
    scatter, _ = quantised(ratio * Q, seed=int(1000 * ratio), readings=1000)
    assert ratio * Q == pytest.approx(float(dithering_noise(Q, scatter)), rel=0.03)


@pytest.mark.parametrize("ratio", [0.0, 1e-3, 0.05, 0.0999, 0.1001, 0.3, 0.6, 0.99, 1.01, 4.0])
def test_inversion_undoes_the_relation(ratio: float) -> None:
    """E[s^2] = sigma^2 + q^2/12 - u_res^2(sigma), and back."""
    left = float(residual_resolution_uncertainty(1.0, ratio))
    scatter = np.sqrt(ratio**2 + 1 / 12 - left**2)
    assert ratio == pytest.approx(float(dithering_noise(1.0, scatter)), abs=1e-6)


def test_without_noise_it_is_the_customary_term() -> None:
    """q / sqrt 12, also where no scatter is known."""
    assert Q / 12**0.5 == pytest.approx(float(dithered_resolution_uncertainty(Q, 0.0)))
    assert Q / 12**0.5 == pytest.approx(float(dithered_resolution_uncertainty(Q, np.nan)))
    assert Q / 12**0.5 == pytest.approx(float(rectangular_resolution_uncertainty(Q)))


def test_it_is_gone_with_a_code_of_noise() -> None:
    assert float(dithered_resolution_uncertainty(Q, Q)) < 1e-6 * Q


def test_it_falls_steadily_with_noise() -> None:
    found = residual_resolution_uncertainty(1.0, np.linspace(0, 1.2, 500))
    assert (np.diff(found) <= 1e-15).all()


def test_both_forms_join() -> None:
    """Series and small-argument form agree where one takes over."""
    near, far = residual_resolution_uncertainty(1.0, np.array([0.1 - 1e-12, 0.1]))
    assert near == pytest.approx(far, rel=1e-9)


def test_no_step_no_term() -> None:
    """q = 0 adds nothing, in arrays too; a missing step is missing."""
    found = dithered_resolution_uncertainty(np.array([0.0, Q, np.nan]), np.array([1.0, 0.0, 1.0]))
    assert 0.0 == found[0]
    assert Q / 12**0.5 == pytest.approx(found[1])
    assert np.isnan(found[2])


def test_bits() -> None:
    """4.096 V and 1 mV of noise: 12 bits less log2 of 6.6 and of sqrt 12."""
    assert 12 - np.log2(6.6) == pytest.approx(float(noise_free_bits(4.096, 1e-3)))
    assert 12 - np.log2(12**0.5) == pytest.approx(float(effective_bits(4.096, 1e-3)))
    assert np.inf == effective_bits(4.096, 0.0)


def test_histogram_keeps_gaps_and_leaves_out_what_is_missing() -> None:
    codes, counts = code_histogram([3.301, 3.299, np.nan, 3.301], Q)
    assert [3299, 3300, 3301] == codes.tolist()
    assert [1, 0, 2] == counts.tolist()


def test_histogram_of_nothing() -> None:
    codes, counts = code_histogram([np.nan], Q)
    assert 0 == len(codes) == len(counts)


def test_histogram_needs_a_step() -> None:
    with pytest.raises(ValueError, match="step: expected a number above 0, got 0"):
        code_histogram([1.0], 0.0)


def test_no_reading_that_leaves_its_code_bounds_the_noise() -> None:
    """All of n in the middle of one code: (1 - 2 Phi(-q / 2 sigma))^n is half of 5 %."""
    sigma = float(largest_noise_behind(1.0, 0.0, 64, 0.95))
    stays = 1.0 - 2.0 * float(ndtr(-0.5 / sigma))
    assert 0.025 == pytest.approx(stays**64)


def test_a_scatter_of_half_a_step_hides_nothing() -> None:
    assert 0.0 == float(largest_noise_behind(1.0, 0.5, 64, 0.95))


def test_more_readings_hide_less_noise() -> None:
    few, many = largest_noise_behind(1.0, 0.0, [16, 256], 0.95)
    assert many < few < 0.5
