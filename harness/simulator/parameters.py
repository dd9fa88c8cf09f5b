"""Parameters of commands to a simulated instrument: numbers within bounds, channel lists."""

from __future__ import annotations

from collections.abc import Sequence

from harness.protocols.scpi_errors import ScpiFault
from harness.protocols.scpi_numbers import split_decimal, suffix_multiplier


def number(text: str, unit: str, lowest: float, highest: float) -> float:
    """The number that `text` writes, in `unit`.

    Parameters
    ----------
    unit : a value of `harness.observation.UNITS`; lowest, highest : bounds, and what MIN and
        MAX stand for.

    Raises
    ------
    ScpiFault : -104 no number, -131 another unit's suffix, -222 out of bounds (SCPI-1999
        vol. 2, chapter 21, error numbers; as confirmed in a free implementation).
    """
    word = text.strip().upper()
    if word in ("MIN", "MINIMUM"):
        return lowest
    if word in ("MAX", "MAXIMUM"):
        return highest
    try:
        value, suffix = split_decimal(text)
    except ValueError:
        raise ScpiFault(-104, text) from None
    try:
        value *= suffix_multiplier(suffix, unit)
    except ValueError:
        raise ScpiFault(-131, text) from None
    if not lowest <= value <= highest:
        raise ScpiFault(-222, text)
    return value


def channel_list(text: str, known: Sequence[str]) -> list[str]:
    """The channels of "101,103:105"; a range means all known ones between its ends.

    Raises
    ------
    ScpiFault : -222 for a channel that is not there.
    """
    found: list[str] = []
    for part in text.replace(" ", "").split(","):
        first, colon, last = part.partition(":")
        for end in (first, last) if colon else (first,):
            if end not in known:
                raise ScpiFault(-222, end)
        at = known.index(first)
        found += known[at : known.index(last) + 1] if colon else [first]
    return found
