"""Straight lines by ordinary least squares, with their covariance, many lines at once.

Points run along the last axis; axes in front are separate lines (channels, boards).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from harness.errors import MisuseError

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """y = intercept + slope (x - origin); every field has the shape of the axes in front.

    intercept_uncertainty, slope_uncertainty : standard uncertainties from the scatter of the
    points about the line. covariance : of intercept and slope. residual_standard_deviation :
    with `degrees_of_freedom`. residual_sum : sum of squared residuals.
    """

    origin: float
    intercept: FloatArray
    slope: FloatArray
    intercept_uncertainty: FloatArray
    slope_uncertainty: FloatArray
    covariance: FloatArray
    residual_standard_deviation: FloatArray
    residual_sum: FloatArray
    degrees_of_freedom: int

    @property
    def correlation(self) -> FloatArray:
        """Correlation coefficient of intercept and slope."""
        result: FloatArray = self.covariance / (self.intercept_uncertainty * self.slope_uncertainty)
        return result

    def at(self, x: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """The line at `x`, and the standard uncertainty of the line there (GUM H.3.4).

        `x` broadcasts with the lines. The uncertainty is the line's, not a new reading's.
        """
        distance = np.asarray(x, dtype=np.float64) - self.origin
        variance = (
            np.square(self.intercept_uncertainty)
            + np.square(distance * self.slope_uncertainty)
            + 2.0 * distance * self.covariance
        )
        value: FloatArray = self.intercept + self.slope * distance
        return value, np.sqrt(np.maximum(variance, 0.0))


def fit_line(x: ArrayLike, y: ArrayLike, origin: float = 0.0) -> Line:
    """Least-squares line through points of equal weight (GUM H.3, equations H.13 to H.14).

    Parameters
    ----------
    x, y : shape (..., n), n >= 3, broadcast together; NaN spoils its own line only.
    origin : where the intercept is taken.

    Raises
    ------
    MisuseError : fewer than three points, or all x of a line equal.
    """
    xs, ys = _points(x, y, fewest=3)
    n = xs.shape[-1]
    centre = _mean(xs)
    dx = xs - centre[..., None]
    spread = np.square(dx).sum(axis=-1)
    if (spread == 0).any():
        raise MisuseError("line: expected points at different x, got all the same x")
    level = _mean(ys)
    dy = ys - level[..., None]
    slope = (dx * dy).sum(axis=-1) / spread
    residual = dy - slope[..., None] * dx
    residual_sum = np.square(residual).sum(axis=-1)
    variance = residual_sum / (n - 2)
    distance = origin - centre
    return Line(
        origin=origin,
        intercept=level + slope * distance,
        slope=slope,
        intercept_uncertainty=np.sqrt(variance * (1.0 / n + np.square(distance) / spread)),
        slope_uncertainty=np.sqrt(variance / spread),
        covariance=variance * distance / spread,
        residual_standard_deviation=np.sqrt(variance),
        residual_sum=residual_sum,
        degrees_of_freedom=n - 2,
    )


def fit_proportional(x: ArrayLike, y: ArrayLike) -> Line:
    """Least-squares line through the origin: y = slope x, intercept exactly 0.

    Parameters
    ----------
    x, y : shape (..., n), n >= 2, broadcast together.

    Raises
    ------
    MisuseError : fewer than two points, or all x of a line 0.
    """
    xs, ys = _points(x, y, fewest=2)
    n = xs.shape[-1]
    power = np.square(xs).sum(axis=-1)
    if (power == 0).any():
        raise MisuseError("line: expected points away from x = 0, got none")
    slope = (xs * ys).sum(axis=-1) / power
    residual_sum = np.square(ys - slope[..., None] * xs).sum(axis=-1)
    variance = residual_sum / (n - 1)
    nothing = np.zeros_like(slope)
    return Line(
        origin=0.0,
        intercept=nothing,
        slope=slope,
        intercept_uncertainty=nothing,
        slope_uncertainty=np.sqrt(variance / power),
        covariance=nothing,
        residual_standard_deviation=np.sqrt(variance),
        residual_sum=residual_sum,
        degrees_of_freedom=n - 1,
    )


def explained_share(y: ArrayLike, line: Line, *, about_mean: bool = True) -> FloatArray:
    """R^2: share of the sum of squares of y, about its mean or about zero, that a line explains."""
    ys = np.asarray(y, dtype=np.float64)
    centred = ys - ys.mean(axis=-1, keepdims=True) if about_mean else ys
    result: FloatArray = 1.0 - line.residual_sum / np.square(centred).sum(axis=-1)
    return result


def _points(x: ArrayLike, y: ArrayLike, fewest: int) -> tuple[FloatArray, FloatArray]:
    xs, ys = np.broadcast_arrays(np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64))
    if xs.ndim == 0 or xs.shape[-1] < fewest:
        got = xs.shape[-1] if xs.ndim else 0
        raise MisuseError(f"line: expected {fewest} points or more, got {got}")
    return xs, ys


def _mean(values: FloatArray) -> FloatArray:
    first = values.mean(axis=-1)
    corrected: FloatArray = first + (values - first[..., None]).mean(axis=-1)
    return corrected
