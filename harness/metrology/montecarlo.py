"""Propagation of distributions by Monte Carlo (JCGM 101:2008): the judge of closed forms.

Findings are never judged by it, it is too slow; it checks `coverage` and serves models that
are far from linear.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from harness.errors import MisuseError
from harness.metrology.budget import Budget, Contribution, Shape

FloatArray = NDArray[np.float64]
Sampler = Callable[[np.random.Generator, int], FloatArray]
Model = Callable[..., FloatArray]


# Inputs (JCGM 101:2008, 6.4) -------------------------------------------------------------


def normal(mean: float, standard_uncertainty: float) -> Sampler:
    """Normal distribution (6.4.7)."""
    return lambda rng, draws: mean + standard_uncertainty * rng.standard_normal(draws)


def student(mean: float, scale: float, degrees_of_freedom: float) -> Sampler:
    """Scaled and shifted t-distribution (6.4.9); `scale` is s/sqrt(n)."""
    return lambda rng, draws: mean + scale * rng.standard_t(degrees_of_freedom, draws)


def rectangular(mean: float, half_width: float) -> Sampler:
    """Rectangular distribution (6.4.2)."""
    return lambda rng, draws: mean + half_width * rng.uniform(-1.0, 1.0, draws)


def arcsine(mean: float, half_width: float) -> Sampler:
    """Arc sine distribution of a cyclic quantity (6.4.6)."""
    return lambda rng, draws: mean + half_width * np.sin(2 * np.pi * rng.uniform(size=draws))


# Propagation -----------------------------------------------------------------------------


def propagate(
    model: Model, inputs: Sequence[Sampler], draws: int, rng: np.random.Generator
) -> FloatArray:
    """Draws of the output of a model of independent inputs, shape (draws,).

    Parameters
    ----------
    model : called with one array of shape (draws,) for each input.
    """
    return np.asarray(model(*(sample(rng, draws) for sample in inputs)), dtype=np.float64)


def simulate_error(budget: Budget, draws: int, rng: np.random.Generator) -> FloatArray:
    """Draws of the unknown error that a budget describes, shape (draws, n)."""
    return np.asarray(np.sum([_draw(c, draws, rng) for c in budget.contributions], axis=0))


def _draw(contribution: Contribution, draws: int, rng: np.random.Generator) -> FloatArray:
    u, nu = contribution.standard_uncertainty, contribution.degrees_of_freedom
    shape = (draws, len(u))
    if contribution.shape is Shape.RECTANGULAR:
        return np.asarray(np.sqrt(3.0) * u * rng.uniform(-1.0, 1.0, shape))
    normal_draws = rng.standard_normal(shape)
    finite = np.isfinite(nu)
    if finite.any():
        chi_square = rng.chisquare(np.where(finite, nu, 1.0), shape)
        spread = np.sqrt(np.where(finite, nu, 1.0) / chi_square)
        normal_draws *= np.where(finite, spread, 1.0)
    return u * normal_draws


def symmetric_interval(samples: ArrayLike, probability: float = 0.95) -> tuple[float, float]:
    """Probabilistically symmetric coverage interval of draws (JCGM 101:2008, 7.7.2)."""
    ordered, covered = _ordered(samples, probability)
    first = (len(ordered) - covered) // 2
    return float(ordered[first]), float(ordered[first + covered])


def shortest_interval(samples: ArrayLike, probability: float = 0.95) -> tuple[float, float]:
    """Shortest coverage interval of draws (JCGM 101:2008, 7.7.4)."""
    ordered, covered = _ordered(samples, probability)
    widths = ordered[covered:] - ordered[: len(ordered) - covered]
    first = int(np.argmin(widths))
    return float(ordered[first]), float(ordered[first + covered])


def _ordered(samples: ArrayLike, probability: float) -> tuple[FloatArray, int]:
    values = np.sort(np.asarray(samples, dtype=np.float64).reshape(-1))
    covered = round(probability * len(values))
    if not 0 < covered < len(values):
        raise MisuseError(
            f"coverage interval: expected enough draws for {probability!r}, got {len(values)}"
        )
    return values, covered


# Adaptive procedure ----------------------------------------------------------------------


@dataclass(frozen=True)
class AdaptiveResult:
    """Estimate, standard uncertainty and symmetric interval of an adaptive simulation.

    draws : how many it took. is_stable : all four figures are stable to the tolerance.
    """

    mean: float
    standard_uncertainty: float
    interval: tuple[float, float]
    draws: int
    is_stable: bool


def numerical_tolerance(standard_uncertainty: float, digits: int = 2) -> float:
    """Half a unit in the last of `digits` significant digits of u (JCGM 101:2008, 7.9.2)."""
    exponent = int(np.floor(np.log10(standard_uncertainty))) - (digits - 1)
    return float(0.5 * 10.0**exponent)


def adaptive(
    model: Model,
    inputs: Sequence[Sampler],
    rng: np.random.Generator,
    *,
    probability: float = 0.95,
    digits: int = 2,
    batch: int = 10_000,
    most_batches: int = 200,
) -> AdaptiveResult:
    """Simulate until mean, u and both interval ends are stable (JCGM 101:2008, 7.9.4).

    Parameters
    ----------
    digits : significant digits of u that count. batch : draws of one batch.
    most_batches : give up after so many; the result then says it is not stable.
    """
    samples: list[FloatArray] = []
    figures: list[tuple[float, float, float, float]] = []
    is_stable = False
    while len(samples) < most_batches and not is_stable:
        samples.append(propagate(model, inputs, batch, rng))
        low, high = symmetric_interval(samples[-1], probability)
        figures.append((float(samples[-1].mean()), float(samples[-1].std(ddof=1)), low, high))
        if len(samples) > 1:
            spread = np.std(figures, axis=0, ddof=1) / np.sqrt(len(figures))
            u = float(np.concatenate(samples).std(ddof=1))
            is_stable = bool((2.0 * spread < numerical_tolerance(u, digits)).all())
    drawn = np.concatenate(samples)
    return AdaptiveResult(
        mean=float(drawn.mean()),
        standard_uncertainty=float(drawn.std(ddof=1)),
        interval=symmetric_interval(drawn, probability),
        draws=len(drawn),
        is_stable=is_stable,
    )
