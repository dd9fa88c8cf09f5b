"""Thermistor curves: temperature from resistance, resistance from temperature, sensitivity.

Resistance in ohms, temperature in degrees Celsius, arrays of any shape; outside of what a
curve is defined for the answer is NaN, never an extrapolation. (Which temperatures a board
may claim is the description's matter.)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from harness.errors import MisuseError

FloatArray = NDArray[np.float64]

ZERO_CELSIUS_KELVIN = 273.15


class Curve(Protocol):
    """A relation of resistance and temperature that goes both ways."""

    def temperature(self, ohms: ArrayLike) -> FloatArray:
        """Degrees Celsius at `ohms`; NaN where undefined."""
        ...

    def resistance(self, celsius: ArrayLike) -> FloatArray:
        """Ohms at `celsius`; NaN where undefined."""
        ...

    def sensitivity(self, ohms: ArrayLike) -> FloatArray:
        """dT/dR in kelvin per ohm at `ohms`; negative for a thermistor, NaN where undefined."""
        ...


def _log_ohms(ohms: ArrayLike) -> FloatArray:
    """ln R, NaN where R is not a positive finite number."""
    r = np.asarray(ohms, dtype=np.float64)
    usable = (r > 0) & np.isfinite(r)
    return np.where(usable, np.log(np.where(usable, r, 1.0)), np.nan)


def _inverse_kelvin(celsius: ArrayLike) -> FloatArray:
    """1/T in 1/K, NaN at and below absolute zero."""
    kelvin = np.asarray(celsius, dtype=np.float64) + ZERO_CELSIUS_KELVIN
    usable = kelvin > 0
    return np.where(usable, 1.0 / np.where(usable, kelvin, 1.0), np.nan)


def _celsius(inverse_kelvin: FloatArray) -> FloatArray:
    """Degrees Celsius from 1/T, NaN where 1/T is not positive."""
    usable = inverse_kelvin > 0
    return np.where(usable, 1.0 / np.where(usable, inverse_kelvin, 1.0), np.nan) - (
        ZERO_CELSIUS_KELVIN
    )


def _sensitivity(celsius: FloatArray, slope: ArrayLike, ohms: ArrayLike) -> FloatArray:
    """dT/dR = -T^2 (d(1/T)/d ln R) / R."""
    r = np.asarray(ohms, dtype=np.float64)
    usable = np.isfinite(celsius)
    kelvin = celsius + ZERO_CELSIUS_KELVIN
    return np.where(usable, -np.square(kelvin) * slope / np.where(usable, r, 1.0), np.nan)


@dataclass(frozen=True)
class SteinhartHart:
    """1/T = a + b ln R + c (ln R)^3, R in ohms.

    Steinhart and Hart, Deep-Sea Research 15 (1968) 497-503, doi:10.1016/0011-7471(68)90057-0
    (reference from memory).
    """

    a: float
    b: float
    c: float

    def __post_init__(self) -> None:
        if not self.b > 0:
            raise MisuseError(f"Steinhart-Hart b: expected a number above 0, got {self.b!r}")

    def temperature(self, ohms: ArrayLike) -> FloatArray:
        """Degrees Celsius at `ohms`; NaN where 1/T would not be positive."""
        log = _log_ohms(ohms)
        return _celsius(self.a + log * (self.b + self.c * np.square(log)))

    def resistance(self, celsius: ArrayLike) -> FloatArray:
        """Ohms at `celsius`: the closed-form root of the cubic in ln R."""
        inverse = _inverse_kelvin(celsius)
        if self.c == 0:
            return np.exp((inverse - self.a) / self.b)
        return np.exp(self._log_root(inverse))

    def _log_root(self, inverse: FloatArray) -> FloatArray:
        """ln R from c L^3 + b L + (a - 1/T) = 0; for c < 0 the middle one of three roots."""
        third = self.b / (3.0 * self.c)
        half = (self.a - inverse) / (2.0 * self.c)
        if self.c > 0:
            # The larger of the two cube roots, then the other from their product: no
            # cancellation where c is small and the two are nearly opposite.
            root = np.sqrt(third**3 + np.square(half))
            large = np.cbrt(-half - np.copysign(root, half))
            small = -third / large
            # large + small, written without their difference: L = -2 half / (l^2 - ls + s^2).
            result: FloatArray = -2.0 * half / (np.square(large) + third + np.square(small))
            return result
        amplitude = 2.0 * np.sqrt(-third)
        sine = -2.0 * half / (amplitude * third)
        usable = np.abs(sine) <= 1.0
        angle = np.arcsin(np.where(usable, sine, 0.0)) / 3.0
        return np.where(usable, amplitude * np.sin(angle), np.nan)

    def sensitivity(self, ohms: ArrayLike) -> FloatArray:
        """dT/dR, kelvin per ohm."""
        slope = self.b + 3.0 * self.c * np.square(_log_ohms(ohms))
        return _sensitivity(self.temperature(ohms), slope, ohms)


@dataclass(frozen=True)
class Beta:
    """R = reference_ohms exp(beta (1/T - 1/T_ref)): common practice, single beta."""

    reference_ohms: float
    beta_kelvin: float
    reference_celsius: float = 25.0

    def __post_init__(self) -> None:
        for name, value in (
            ("reference_ohms", self.reference_ohms),
            ("beta_kelvin", self.beta_kelvin),
            ("reference_celsius in kelvin", self.reference_celsius + ZERO_CELSIUS_KELVIN),
        ):
            if not value > 0:
                raise MisuseError(f"beta curve {name}: expected a number above 0, got {value!r}")

    def temperature(self, ohms: ArrayLike) -> FloatArray:
        """Degrees Celsius at `ohms`."""
        log = _log_ohms(ohms) - np.log(self.reference_ohms)
        reference = 1.0 / (self.reference_celsius + ZERO_CELSIUS_KELVIN)
        return _celsius(reference + log / self.beta_kelvin)

    def resistance(self, celsius: ArrayLike) -> FloatArray:
        """Ohms at `celsius`."""
        reference = 1.0 / (self.reference_celsius + ZERO_CELSIUS_KELVIN)
        difference = _inverse_kelvin(celsius) - reference
        return self.reference_ohms * np.exp(self.beta_kelvin * difference)

    def sensitivity(self, ohms: ArrayLike) -> FloatArray:
        """dT/dR, kelvin per ohm."""
        return _sensitivity(self.temperature(ohms), 1.0 / self.beta_kelvin, ohms)


@dataclass(frozen=True)
class Table:
    """Resistance against temperature, linear in ln R against 1/T between the entries.

    celsius rising, ohms falling, at least two entries; NaN outside the table. Over a 5 K step
    the interpolation of a usual curve is good to a few millikelvin.
    """

    celsius: tuple[float, ...]
    ohms: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.celsius) != len(self.ohms) or len(self.celsius) < 2:
            raise MisuseError(
                "curve table: expected two or more temperatures and as many resistances, "
                f"got {len(self.celsius)} and {len(self.ohms)}"
            )
        if not np.all(np.diff(self.celsius) > 0) or self.celsius[0] <= -ZERO_CELSIUS_KELVIN:
            raise MisuseError(
                "curve table: expected temperatures rising and above absolute zero, "
                f"got {self.celsius}"
            )
        if not (np.all(np.diff(self.ohms) < 0) and self.ohms[-1] > 0):
            raise MisuseError(
                f"curve table: expected resistances falling and above 0, got {self.ohms}"
            )

    def _rising(self) -> tuple[FloatArray, FloatArray]:
        """ln R and 1/T, both rising."""
        return _log_ohms(self.ohms)[::-1], _inverse_kelvin(self.celsius)[::-1]

    def temperature(self, ohms: ArrayLike) -> FloatArray:
        """Degrees Celsius at `ohms`; NaN outside the table."""
        log, inverse = self._rising()
        found = np.interp(_log_ohms(ohms), log, inverse, left=np.nan, right=np.nan)
        return _celsius(np.asarray(found))

    def resistance(self, celsius: ArrayLike) -> FloatArray:
        """Ohms at `celsius`; NaN outside the table."""
        log, inverse = self._rising()
        found = np.interp(_inverse_kelvin(celsius), inverse, log, left=np.nan, right=np.nan)
        return np.asarray(np.exp(found))

    def sensitivity(self, ohms: ArrayLike) -> FloatArray:
        """dT/dR, kelvin per ohm, of the segment that holds `ohms`."""
        log, inverse = self._rising()
        slopes = np.diff(inverse) / np.diff(log)
        place = np.clip(np.searchsorted(log, _log_ohms(ohms)) - 1, 0, len(slopes) - 1)
        return _sensitivity(self.temperature(ohms), slopes[place], ohms)


@dataclass(frozen=True)
class FourTerm:
    """Makers' pair of four-term equations in r = R / reference_ohms.

    ln r = A + B/T + C/T^2 + D/T^3 with `resistance_terms` (A, B, C, D), and
    1/T = a + b L + c L^2 + d L^3, L = ln r, with `temperature_terms` (a, b, c, d). The two
    are fitted apart and agree to some hundredths of a kelvin only.
    """

    reference_ohms: float
    resistance_terms: tuple[float, float, float, float]
    temperature_terms: tuple[float, float, float, float]

    def temperature(self, ohms: ArrayLike) -> FloatArray:
        """Degrees Celsius at `ohms`."""
        log = _log_ohms(ohms) - np.log(self.reference_ohms)
        return _celsius(np.polynomial.polynomial.polyval(log, self.temperature_terms))

    def resistance(self, celsius: ArrayLike) -> FloatArray:
        """Ohms at `celsius`."""
        terms = np.polynomial.polynomial.polyval(_inverse_kelvin(celsius), self.resistance_terms)
        return self.reference_ohms * np.exp(terms)

    def sensitivity(self, ohms: ArrayLike) -> FloatArray:
        """dT/dR, kelvin per ohm, of the temperature equation."""
        log = _log_ohms(ohms) - np.log(self.reference_ohms)
        derivative = np.polynomial.polynomial.polyder(self.temperature_terms)
        slope = np.polynomial.polynomial.polyval(log, derivative)
        return _sensitivity(self.temperature(ohms), slope, ohms)


def beta_between(
    first_celsius: float, first_ohms: float, second_celsius: float, second_ohms: float
) -> float:
    """Beta in kelvin through two points of a curve: ln(R1/R2) / (1/T1 - 1/T2)."""
    inverse = _inverse_kelvin([first_celsius, second_celsius])
    return float(np.log(first_ohms / second_ohms) / (inverse[0] - inverse[1]))
