"""Replies of SCPI instruments, read by the controller: numbers, errors, identities, booleans.

Tolerant of what is in use (signs, spaces, declared units), strict about everything that could
change a value. Overload and "not a number" are states, never numbers.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum
from typing import NamedTuple

from harness.errors import InstrumentError
from harness.protocols.scpi_numbers import (
    LARGEST_NUMBER,
    NOT_A_NUMBER,
    split_decimal,
    suffix_multiplier,
)

# Character data that SCPI allows in place of a number, SCPI-1999 vol. 1, 7.2.1.
_INFINITE_WORDS = frozenset({"INF", "INFINITY", "NINF", "NINFINITY"})
_NOT_A_NUMBER_WORDS = frozenset({"NAN"})

# An instrument prints 9.91E37 with its own number of digits; infinity is 9.9E37.
_NOT_A_NUMBER_TOLERANCE = 0.002e37

_ERROR = re.compile(r"([+-]?[0-9]+)\s*(?:,\s*(.*))?", re.DOTALL)
_QUOTED = re.compile(r'"((?:[^"]|"")*)"?', re.DOTALL)
_BOOLEANS = {"0": False, "1": True, "OFF": False, "ON": True}


class ReplyFormatError(InstrumentError, ValueError):
    """A reply is not of the form that its query promises."""

    def __init__(self, expected: str, reply: str) -> None:
        super().__init__(f'expected {expected}, got "{reply}"')
        self.expected = expected
        self.reply = reply


class ReadingState(Enum):
    """Whether a reading is a number."""

    GOOD = "good"
    OVERLOAD = "overload"
    NOT_A_NUMBER = "not a number"


class Reading(NamedTuple):
    """One reading; `value` is NaN unless `state` is GOOD; `raw` is the reply it came from."""

    value: float
    state: ReadingState
    raw: str


@dataclass(frozen=True)
class DeviceError:
    """An entry of the instrument's error queue; two are equal when their numbers are.

    The text may carry device-dependent information behind a semicolon (SCPI-1999 vol. 2,
    21.8), so only the number identifies an error.
    """

    number: int
    text: str = field(default="", compare=False)

    @property
    def is_error(self) -> bool:
        """False for number 0, "No error"."""
        return self.number != 0


class Identity(NamedTuple):
    """The fields of the answer to *IDN? (IEEE 488.2-1992, 10.14)."""

    maker: str
    model: str
    serial: str
    firmware: str


def parse_reading(text: str, unit: str | None = None) -> Reading:
    """One numeric reply.

    Parameters
    ----------
    text : such as "+3.70000000E+00", or with a unit "3700 mV".
    unit : the unit that the reply may carry, a value of `harness.observation.UNITS`; the
        value is returned in it. None: no unit may follow.

    Raises
    ------
    ReplyFormatError : no number, another unit, or a multiplier that can be read two ways.

    Notes
    -----
    Infinity 9.9E37 and not-a-number 9.91E37: SCPI-1999 vol. 1, 7.2.1.
    """
    raw = text.strip()
    word = raw.lstrip("+-").upper()
    if word in _INFINITE_WORDS:
        return Reading(math.nan, ReadingState.OVERLOAD, raw)
    if word in _NOT_A_NUMBER_WORDS:
        return Reading(math.nan, ReadingState.NOT_A_NUMBER, raw)
    expected = "a number" if unit is None else f"a number in {unit}"
    try:
        number, suffix = split_decimal(raw)
        multiplier = 1.0 if not suffix else _multiplier(suffix, unit)
    except ValueError:
        raise ReplyFormatError(expected, text) from None
    if abs(number) > LARGEST_NUMBER:
        return Reading(math.nan, _special_state(number), raw)
    return Reading(number * multiplier, ReadingState.GOOD, raw)


def _multiplier(suffix: str, unit: str | None) -> float:
    if unit is None:
        raise ValueError("no unit may follow")
    # IEEE 488.2 reads "mohm" as megohm, everybody else as milliohm: nine decades apart.
    if unit == "ohm" and suffix.startswith("m"):
        raise ValueError("milliohm or megohm")
    return suffix_multiplier(suffix, unit)


def _special_state(number: float) -> ReadingState:
    if abs(abs(number) - NOT_A_NUMBER) < _NOT_A_NUMBER_TOLERANCE:
        return ReadingState.NOT_A_NUMBER
    return ReadingState.OVERLOAD


def parse_readings(text: str, unit: str | None = None) -> tuple[Reading, ...]:
    """A comma-separated list of readings, in order.

    Raises
    ------
    ReplyFormatError : one of them is no reading; an empty reply has none and is refused too.
    """
    return tuple(parse_reading(part, unit) for part in text.split(","))


def parse_error(text: str) -> DeviceError:
    """The answer to SYST:ERR?, such as `-222,"Data out of range;extra"` or `+0,"No error"`.

    Raises
    ------
    ReplyFormatError : it does not begin with a whole number (SCPI-1999 vol. 2, 21.8).
    """
    match = _ERROR.fullmatch(text.strip())
    if match is None or len(match.group(1)) > 10:
        raise ReplyFormatError('an error such as 0,"No error"', text)
    described = (match.group(2) or "").strip()
    quoted = _QUOTED.fullmatch(described)
    return DeviceError(
        number=int(match.group(1)),
        text=quoted.group(1).replace('""', '"') if quoted else described,
    )


def split_replies(text: str) -> tuple[str, ...]:
    """The replies of a compound query: `text` cut at semicolons outside of quotes, stripped.

    IEEE 488.2-1992, 8.4.1: response message units are separated by semicolons.
    """
    return tuple(part.strip() for part in _cut(text))


def _cut(text: str) -> Iterator[str]:
    begin, quote = 0, ""
    for at, character in enumerate(text):
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        elif character == ";":
            yield text[begin:at]
            begin = at + 1
    yield text[begin:]


def parse_identity(text: str) -> Identity:
    """The answer to *IDN?: maker, model, serial number, firmware level.

    Commas beyond the third belong to the firmware level, as some instruments send them.

    Raises
    ------
    ReplyFormatError : fewer than four fields (IEEE 488.2-1992, 10.14).
    """
    fields = [part.strip() for part in text.strip().strip('"').split(",", 3)]
    if len(fields) < 4 or not fields[0]:
        raise ReplyFormatError("maker,model,serial number,firmware level", text)
    return Identity(*fields)


def parse_boolean(text: str) -> bool:
    """0, 1, OFF or ON in any case.

    Raises
    ------
    ReplyFormatError : anything else (SCPI-1999 vol. 1, 7.3).
    """
    word = text.strip().upper().lstrip("+")
    if word not in _BOOLEANS:
        raise ReplyFormatError("0, 1, OFF or ON", text)
    return _BOOLEANS[word]
