"""Numbers as IEEE 488.2 and SCPI write them: decimal forms, suffixes, infinity, not a number.

Shared by the controller side and the instrument side. It knows notation only: what a number
means to an instrument is not its business.
"""

from __future__ import annotations

import math
import re
import unicodedata

# SCPI-1999 vol. 1, 7.2.1: how infinity and "not a number" are written.
INFINITY = 9.9e37
NOT_A_NUMBER = 9.91e37
# Nothing measurable comes near: a larger magnitude is one of the two above, whatever digits an
# instrument prints them with.
LARGEST_NUMBER = 1.0e36

# IEEE 488.2-1992, 7.7.2: decimal numeric program data, white space allowed round the exponent
# mark. The second group is a suffix or empty.
_DECIMAL = re.compile(
    r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[ \t]*[eE][ \t]*[+-]?[0-9]+)?)[ \t]*(.*)", re.DOTALL
)

# IEEE 488.2-1992, 7.7.3, table of suffix multipliers; mega is MA, because M is milli.
_MULTIPLIERS = {
    "T": 1e12,
    "G": 1e9,
    "MA": 1e6,
    "K": 1e3,
    "": 1.0,
    "M": 1e-3,
    "U": 1e-6,
    "N": 1e-9,
    "P": 1e-12,
}

# Spellings by unit, keyed as in `harness.observation.UNITS`, in the upper case they are
# compared in. SCPI writes CEL for degrees Celsius.
_SPELLINGS = {
    "V": ("V",),
    "A": ("A",),
    "W": ("W",),
    "s": ("S",),
    "ohm": ("OHM", "OHMS", "\N{GREEK CAPITAL LETTER OMEGA}"),
    "degC": ("CEL", "DEGC", "C", "°C"),
    "1": (),
}


def split_decimal(text: str) -> tuple[float, str]:
    """The number at the start of `text`, and the suffix behind it ("" when there is none).

    A number too large for a float comes back infinite; the caller decides.

    Raises
    ------
    ValueError : `text` does not begin with a decimal number (IEEE 488.2-1992, 7.7.2).
    """
    match = _DECIMAL.fullmatch(text.strip())
    if match is None:
        raise ValueError(f'expected a decimal number, got "{text}"')
    digits = match.group(1).replace(" ", "").replace("\t", "")
    return float(digits), match.group(2)


def suffix_multiplier(suffix: str, unit: str) -> float:
    """What a number with `suffix` is to be multiplied by to be in `unit`.

    Parameters
    ----------
    suffix : multiplier and unit in any case, such as "mV" or "MAOHM"; "" gives 1.
    unit : a value of `harness.observation.UNITS`.

    Raises
    ------
    ValueError : the suffix is of another unit, or is no suffix.

    Notes
    -----
    IEEE 488.2-1992, 7.7.3: case does not matter, M is milli, except that MOHM is megohm.
    """
    if not suffix:
        return 1.0
    # NFKC folds the two micro signs and the two ohm signs into one each.
    folded = unicodedata.normalize("NFKC", suffix)
    written = folded.replace("\N{GREEK SMALL LETTER MU}", "U").upper()
    if unit == "ohm" and written in ("MOHM", "MOHMS", "M\N{GREEK CAPITAL LETTER OMEGA}"):
        return 1e6
    for spelling in _SPELLINGS.get(unit, (unit.upper(),)):
        head = written.removesuffix(spelling)
        if head != written and head in _MULTIPLIERS and (unit != "degC" or not head):
            return _MULTIPLIERS[head]
    raise ValueError(f'expected the unit {unit}, got "{suffix}"')


def format_number(value: float, digits: int | None = None) -> str:
    """`value` in decimal notation with upper-case E, never truncated by a fixed format.

    Parameters
    ----------
    digits : significant digits; None gives the fewest that read back as the same float.

    Raises
    ------
    ValueError : the value is not finite, or `digits` is below 1.

    Examples
    --------
    >>> format_number(0.1), format_number(3), format_number(1.5e-07)
    ('0.1', '3', '1.5E-07')
    >>> format_number(3.30000049, digits=6)
    '3.3'
    """
    if not math.isfinite(value):
        raise ValueError(f"expected a finite number, got {value!r}")
    if isinstance(value, int):
        return str(int(value))
    if digits is None:
        return repr(float(value)).upper()
    if digits < 1:
        raise ValueError(f"digits: expected at least 1, got {digits}")
    return f"{value:.{digits}G}"


def format_reading(value: float, decimals: int = 8) -> str:
    """`value` in the form NR3 that meters answer with; infinite and NaN as SCPI writes them.

    Examples
    --------
    >>> format_reading(3.7), format_reading(float("inf"))
    ('+3.70000000E+00', '+9.90000000E+37')
    """
    if math.isnan(value):
        value = NOT_A_NUMBER
    elif math.isinf(value):
        value = math.copysign(INFINITY, value)
    return f"{value:+.{decimals}E}"
