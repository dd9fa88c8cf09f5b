"""How much to measure: frames for a wished-for uncertainty, integration time of the meter."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from harness.errors import MisuseError
from harness.metrology.budget import Budget, Contribution, Shape, combine, largest_first

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class SamplesNeeded:
    """The answer to "how many samples?".

    count : fewest samples with U <= target everywhere, None when `most` are not enough.
    expanded_uncertainty : largest U with that many (or with `most`).
    dominant : the contribution that weighs most where U is largest, with that many samples.
    reduce_by : what would make that one smaller.
    """

    count: int | None
    expanded_uncertainty: float
    dominant: str
    reduce_by: str

    @property
    def is_reachable(self) -> bool:
        """Whether averaging alone gets there."""
        return self.count is not None


def samples_needed(
    target_expanded: float,
    others: Budget,
    standard_deviation: ArrayLike,
    *,
    degrees_of_freedom: ArrayLike | None = None,
    fewest: int = 2,
    most: int = 200,
    probability: float = 0.95,
) -> SamplesNeeded:
    """Fewest samples a mean needs so that U of every error is at most the target.

    Parameters
    ----------
    target_expanded : largest U wished for, in the unit of the error, above 0.
    others : all contributions but the repeatability of the mean, arrays of shape (n,), n >= 1.
    standard_deviation : of one sample, scalar or shape (n,).
    degrees_of_freedom : of that figure, when it comes from before; None when it will come from
        the samples themselves, samples less one.
    fewest, most : bounds of the answer; at least 2 when the scatter must come from the samples.

    Raises
    ------
    MisuseError : target not above 0, no contribution, or bounds that contradict each other.
    """
    if not target_expanded > 0:
        raise MisuseError(f"target: expected a number above 0, got {target_expanded!r}")
    fewest = max(fewest, 1 if degrees_of_freedom is not None else 2)
    if most < fewest:
        raise MisuseError(f"samples: expected at most {fewest} or more, got {most}")
    s, nu = _repeatability(others, standard_deviation, degrees_of_freedom)

    def with_samples(count: int) -> Budget:
        freedom = np.full(s.shape, count - 1.0) if nu is None else nu
        mean = Contribution(
            name="repeatability",
            standard_uncertainty=s / np.sqrt(count),
            shape=Shape.STUDENT,
            degrees_of_freedom=freedom,
            is_common=False,
            reduce_by="take more samples",
            source=f"scatter of {count} samples",
        )
        return replace(others, contributions=(*others.contributions, mean))

    def largest(count: int) -> float:
        return float(combine(with_samples(count), probability).expanded_uncertainty.max())

    count = _fewest(lambda n: largest(n) <= target_expanded, fewest, most)
    return _answer(with_samples(count or most), count, probability)


def _repeatability(
    others: Budget, standard_deviation: ArrayLike, degrees_of_freedom: ArrayLike | None
) -> tuple[FloatArray, FloatArray | None]:
    if not others.contributions:
        raise MisuseError("others: expected at least one contribution, got none")
    shape = others.contributions[0].standard_uncertainty.shape
    s = np.broadcast_to(np.asarray(standard_deviation, dtype=np.float64), shape)
    if degrees_of_freedom is None:
        return s, None
    return s, np.broadcast_to(np.asarray(degrees_of_freedom, dtype=np.float64), shape)


def _fewest(is_enough: Callable[[int], bool], fewest: int, most: int) -> int | None:
    """Smallest count that is enough; U falls steadily with the count, so by bisection."""
    if not is_enough(most):
        return None
    low, high = fewest - 1, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_enough(middle) else (middle, high)
    return high


def _answer(budget: Budget, count: int | None, probability: float) -> SamplesNeeded:
    expanded = combine(budget, probability).expanded_uncertainty
    worst = int(np.argmax(expanded))
    dominant = largest_first(budget, worst)[0]
    return SamplesNeeded(count, float(expanded[worst]), dominant.name, dominant.reduce_by)


def choose_integration(
    seconds: ArrayLike, noise: ArrayLike, resolution: ArrayLike, allowed: float
) -> int | None:
    """The shortest integration whose own noise and resolution stay inside an allowance.

    Parameters
    ----------
    seconds : integration time of each row of the meter's table. noise : standard deviation of
        a reading, resolution : step; one unit, one shape.
    allowed : standard uncertainty, same unit, that noise and resolution may take together.

    Returns
    -------
    Index into the table, None when no row is good enough.
    """
    total = np.hypot(np.asarray(noise, dtype=np.float64), np.asarray(resolution) / np.sqrt(12.0))
    rows = np.flatnonzero(total <= allowed)
    if not rows.size:
        return None
    return int(rows[np.argmin(np.asarray(seconds, dtype=np.float64)[rows])])
