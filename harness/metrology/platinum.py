"""Platinum resistance thermometers by the Callendar-Van Dusen equation, both ways.

R(t) = R0 (1 + A t + B t^2) for t >= 0, with C (t - 100) t^3 added below 0 (IEC 60751:2008,
ITS-90), valid from -200 to 850 degrees Celsius; NaN outside.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

# IEC 60751:2008.
A_PER_KELVIN = 3.9083e-3
B_PER_KELVIN2 = -5.775e-7
C_PER_KELVIN4 = -4.183e-12
LOWEST_CELSIUS = -200.0
HIGHEST_CELSIUS = 850.0
# Newton's method from the quadratic's root doubles its digits each time; four are enough
# down to -200 degrees, six leave no doubt.
_ITERATIONS = 6


class ToleranceClass(Enum):
    """Tolerance of a thermometer: (constant in kelvin, share of |t|), IEC 60751:2008."""

    A = (0.15, 0.002)
    B = (0.30, 0.005)


@dataclass(frozen=True)
class Platinum:
    """A thermometer with `zero_ohms` at 0 degrees Celsius (100 for a Pt100)."""

    zero_ohms: float = 100.0

    def resistance(self, celsius: ArrayLike) -> FloatArray:
        """Ohms at `celsius`; NaN outside -200 to 850."""
        t = np.asarray(celsius, dtype=np.float64)
        inside = (t >= LOWEST_CELSIUS) & (t <= HIGHEST_CELSIUS)
        return np.where(inside, self.zero_ohms * _ratio(np.where(inside, t, 0.0)), np.nan)

    def temperature(self, ohms: ArrayLike) -> FloatArray:
        """Degrees Celsius at `ohms`; NaN where that is outside -200 to 850."""
        ratio = np.asarray(ohms, dtype=np.float64) / self.zero_ohms
        low, high = _ratio(np.array([LOWEST_CELSIUS, HIGHEST_CELSIUS]))
        slack = 1e-12  # so that resistance(-200) still has a temperature
        inside = (ratio >= low - slack) & (ratio <= high + slack)
        r = np.where(inside, ratio, 1.0)
        root = np.sqrt(A_PER_KELVIN**2 - 4.0 * B_PER_KELVIN2 * (1.0 - r))
        t = 2.0 * (r - 1.0) / (A_PER_KELVIN + root)
        for _ in range(_ITERATIONS):
            t = t - (_ratio(t) - r) / _slope(t)
        return np.where(inside, t, np.nan)

    def sensitivity(self, ohms: ArrayLike) -> FloatArray:
        """dT/dR, kelvin per ohm; positive."""
        t = self.temperature(ohms)
        usable = np.isfinite(t)
        slope = self.zero_ohms * _slope(np.where(usable, t, 0.0))
        return np.where(usable, 1.0 / slope, np.nan)


def _ratio(t: FloatArray) -> FloatArray:
    """R / R0."""
    below = np.minimum(t, 0.0)
    ratio: FloatArray = (
        1.0 + t * (A_PER_KELVIN + B_PER_KELVIN2 * t) + C_PER_KELVIN4 * (below - 100.0) * below**3
    )
    return ratio


def _slope(t: FloatArray) -> FloatArray:
    """d(R/R0)/dt."""
    below = np.minimum(t, 0.0)
    slope: FloatArray = (
        A_PER_KELVIN + 2.0 * B_PER_KELVIN2 * t + C_PER_KELVIN4 * (4.0 * below**3 - 300.0 * below**2)
    )
    return slope


def tolerance_kelvin(celsius: ArrayLike, tolerance_class: ToleranceClass) -> FloatArray:
    """Largest permissible deviation at `celsius`: constant + share of |t| (IEC 60751:2008)."""
    constant, share = tolerance_class.value
    result: FloatArray = constant + share * np.abs(np.asarray(celsius, dtype=np.float64))
    return result
