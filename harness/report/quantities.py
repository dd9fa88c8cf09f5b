"""Numbers as people read them: SI inside, millivolts and degrees Celsius on paper.

Pure text functions. A missing number is shown as a dash, never as zero and never left out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

MISSING = "–"


@dataclass(frozen=True)
class ShownUnit:
    """How an error of some SI unit is shown: multiplied by `factor`, followed by `symbol`."""

    symbol: str
    factor: float


_ERROR_UNITS = {
    "V": ShownUnit("mV", 1e3),
    "degC": ShownUnit("°C", 1.0),
    "s": ShownUnit("s", 1.0),
    "ohm": ShownUnit("Ω", 1.0),
    "A": ShownUnit("mA", 1e3),
    "1": ShownUnit("", 1.0),
}

# A value is shown with these decimals in its own unit: a tenth of a millivolt, a hundredth of
# a kelvin, a hundredth of a second.
_VALUE_DECIMALS = {"V": 4, "degC": 2, "s": 2, "ohm": 1, "A": 4}


def error_unit(unit: str) -> ShownUnit:
    """The unit in which errors, limits and uncertainties of SI unit `unit` are shown."""
    return _ERROR_UNITS.get(unit, ShownUnit(unit, 1.0))


def uncertainty_decimals(shown: float, digits: int | None = None) -> int:
    """Decimals that leave an uncertainty one or two significant digits.

    Parameters
    ----------
    shown : the uncertainty in the unit in which it is shown, > 0.
    digits : significant digits; by default two when the first is 1 or 2, else one, so that
        rounding changes the figure by less than a fifth. (GUM 7.2.6: at most two.)
    """
    if not shown > 0 or math.isinf(shown):
        return 1
    exponent = math.floor(math.log10(shown))
    if digits is None:
        digits = 2 if shown / 10**exponent < 3 else 1
    return max(0, digits - 1 - exponent)


def uncertainty_number(shown: float, decimals: int) -> str:
    """An uncertainty at `decimals`, upwards where plain rounding would take more than 5 % off.

    (EA-4/02 M:2022, 6.3, from memory.) NaN gives a dash.
    """
    if math.isnan(shown):
        return MISSING
    plain = round(shown, decimals)
    if plain < 0.95 * shown:
        plain = math.ceil(shown * 10**decimals) / 10**decimals
    return f"{plain:.{decimals}f}"


def signed_number(shown: float, decimals: int) -> str:
    """An error with its sign; NaN gives a dash, and there is no minus zero."""
    if math.isnan(shown):
        return MISSING
    text = f"{shown:+.{decimals}f}"
    return text if float(text) else f"{0:.{decimals}f}"


def error_decimals(unit: str, expanded_uncertainty: float, digits: int | None = None) -> int:
    """Decimals for an error of SI `unit` with that U (SI); two where U is not known."""
    shown = expanded_uncertainty * error_unit(unit).factor
    return 2 if math.isnan(shown) else uncertainty_decimals(shown, digits)


def size_text(value: float, unit: str, expanded_uncertainty: float) -> str:
    """The size of an error with its unit, rounded as its U is: "12.1 mV"."""
    if math.isnan(value):
        return MISSING
    shown = error_unit(unit)
    decimals = error_decimals(unit, expanded_uncertainty)
    if shown.factor == 1e3 and abs(value) >= 1.0:
        return value_text(abs(value), unit)
    return f"{abs(value) * shown.factor:.{decimals}f} {shown.symbol}".strip()


def uncertainty_text(expanded_uncertainty: float, unit: str) -> str:
    """U with its unit: "0.6 mV"."""
    if math.isnan(expanded_uncertainty):
        return MISSING
    shown = error_unit(unit)
    value = expanded_uncertainty * shown.factor
    return f"{uncertainty_number(value, uncertainty_decimals(value))} {shown.symbol}".strip()


def limit_text(limit: float, unit: str) -> str:
    """A limit with its unit, as declared: "5 mV"."""
    if math.isnan(limit):
        return MISSING
    shown = error_unit(unit)
    return f"{limit * shown.factor:.6g} {shown.symbol}".strip()


def value_text(value: float, unit: str) -> str:
    """An indication or reference in its own unit: "3.3004 V"."""
    if math.isnan(value):
        return MISSING
    symbol = "°C" if unit == "degC" else "Ω" if unit == "ohm" else unit
    return f"{value:.{_VALUE_DECIMALS.get(unit, 3)}f} {symbol if unit != '1' else ''}".strip()


def number_text(value: float, significant: int = 3) -> str:
    """A ratio or a factor; NaN gives a dash, infinity its word."""
    if math.isnan(value):
        return MISSING
    if math.isinf(value):
        return "infinite"
    return f"{value:#.{significant}g}".rstrip(".")


def small_text(shown: float) -> str:
    """An uncertainty contribution with two significant digits, tiny ones as a bound."""
    if math.isnan(shown):
        return MISSING
    if 0 < shown < 1e-3:
        return "< 0.001"
    decimals = 0 if shown == 0 else max(0, 1 - math.floor(math.log10(shown)))
    return f"{shown:.{decimals}f}"


def freedom_text(degrees_of_freedom: float) -> str:
    """Degrees of freedom, whole, cut downwards as for a t-table (GUM G.4.1, note)."""
    if math.isnan(degrees_of_freedom):
        return MISSING
    if degrees_of_freedom > 9999:
        return "infinite"
    return str(math.floor(degrees_of_freedom))


def percent_text(probability: float) -> str:
    """A probability in per cent; tiny ones as a bound."""
    if math.isnan(probability):
        return MISSING
    if 0 < probability < 1e-4:
        return "< 0.01 %"
    return f"{probability * 100:.2g} %" if probability < 0.1 else f"{probability * 100:.0f} %"


def point_text(point: str) -> str:
    """A point's name with the degree sign in place of its plain-text form."""
    return point.replace("degC", "°C")
