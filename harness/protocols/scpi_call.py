"""One received command as its handler sees it: typed parameters that fault by the standard."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from harness.protocols.scpi_errors import ScpiFault
from harness.protocols.scpi_headers import short_form
from harness.protocols.scpi_numbers import LARGEST_NUMBER, split_decimal, suffix_multiplier

_WORD = re.compile(r"[A-Za-z]\w*")
_CHANNEL = r"[0-9]+(?:![0-9]+)*"
_RANGE = re.compile(rf"({_CHANNEL})(?::({_CHANNEL}))?")

# A range of a channel list longer than any instrument has channels is refused before it is
# written out.
LONGEST_CHANNEL_RANGE = 10_000


def is_word(text: str, notation: str) -> bool:
    """Whether `text` is the short or the long form of a mnemonic such as "MINimum"."""
    return text.upper() in (notation.upper(), short_form(notation))


@dataclass(frozen=True)
class Call:
    """One command.

    header : as declared in the command table.
    suffixes : one number for each "#" in it, 1 where none was written.
    parameters : as written; the getters count from 0.
    """

    header: str
    suffixes: tuple[int, ...]
    parameters: tuple[str, ...]

    def has(self, index: int) -> bool:
        """Whether the parameter was given."""
        return index < len(self.parameters)

    def text(self, index: int) -> str:
        """The parameter as written.

        Raises
        ------
        ScpiFault : -109, it was not given.
        """
        if not self.has(index):
            raise ScpiFault(-109)
        return self.parameters[index]

    def number(
        self,
        index: int,
        minimum: float,
        maximum: float,
        *,
        unit: str = "",
        default: float | None = None,
    ) -> float:
        """A number in [minimum, maximum]; MINimum, MAXimum and DEFault are understood.

        Parameters
        ----------
        unit : the unit a suffix may name, a value of `harness.observation.UNITS`; "" allows
            no suffix.

        Raises
        ------
        ScpiFault : -222 out of range, -104 no number, -138 and -131 for suffixes, -109, -224
            for DEFault where there is none.
        """
        written = self.text(index)
        if _WORD.fullmatch(written):
            return _named_number(written, minimum, maximum, default)
        try:
            value, suffix = split_decimal(written)
        except ValueError:
            raise ScpiFault(-104, written) from None
        value *= _multiplier(suffix, unit)
        if not minimum <= value <= maximum or abs(value) > LARGEST_NUMBER:
            raise ScpiFault(-222, written)
        return value

    def whole(self, index: int, minimum: int, maximum: int) -> int:
        """A number, rounded to a whole one (IEEE 488.2-1992, 10.11.3 and others).

        Raises
        ------
        ScpiFault : as `number`.
        """
        return math.floor(self.number(index, minimum - 0.5, maximum + 0.49) + 0.5)

    def boolean(self, index: int) -> bool:
        """ON, OFF or a number, which is true unless it rounds to 0 (SCPI-1999 vol. 1, 7.3).

        Raises
        ------
        ScpiFault : -224 for another word, -104 for what is neither.
        """
        written = self.text(index)
        if _WORD.fullmatch(written):
            if written.upper() not in ("ON", "OFF"):
                raise ScpiFault(-224, written)
            return written.upper() == "ON"
        return self.whole(index, -32767, 32767) != 0

    def choice(self, index: int, choices: Sequence[str]) -> str:
        """The one of `choices`, in notation such as "VOLTage", that was given.

        Raises
        ------
        ScpiFault : -224 none of them, -104 no word.
        """
        written = self.text(index)
        if not _WORD.fullmatch(written):
            raise ScpiFault(-104, written)
        for choice in choices:
            if is_word(written, choice):
                return choice
        raise ScpiFault(-224, written)

    def string(self, index: int) -> str:
        """A quoted string, without its quotes.

        Raises
        ------
        ScpiFault : -104 no string, -151 the closing quote is missing.
        """
        written = self.text(index)
        quote = written[0]
        if quote not in "\"'":
            raise ScpiFault(-104, written)
        if len(written) < 2 or not written.endswith(quote):
            raise ScpiFault(-151)
        return written[1:-1].replace(quote * 2, quote)

    def channels(self, index: int, known: Collection[str] | None = None) -> tuple[str, ...]:
        """A channel list such as (@101,103:105), ranges written out, in the order given.

        Parameters
        ----------
        known : the instrument's channels; numbers inside a range that are none of them are
            passed over, single ones and the ends of ranges must be among them.

        Raises
        ------
        ScpiFault : -104 no list, -170 not of the form (SCPI-1999 vol. 1, 8.3.2), -222 a
            channel that is not known.
        """
        written = self.text(index)
        if not written.startswith("("):
            raise ScpiFault(-104, written)
        if not written.startswith("(@") or not written.endswith(")"):
            raise ScpiFault(-170, written)
        parts = [part.strip() for part in written[2:-1].split(",")]
        return tuple(name for part in parts for name in _range(part, known))


def _named_number(word: str, minimum: float, maximum: float, default: float | None) -> float:
    named = {"MINimum": minimum, "MAXimum": maximum, "DEFault": default}
    for notation, value in named.items():
        if is_word(word, notation):
            if value is None or not math.isfinite(value):
                raise ScpiFault(-224, word)
            return value
    raise ScpiFault(-104, word)


def _multiplier(suffix: str, unit: str) -> float:
    if not suffix:
        return 1.0
    if not unit:
        raise ScpiFault(-138, suffix)
    try:
        return suffix_multiplier(suffix, unit)
    except ValueError:
        raise ScpiFault(-131, suffix) from None


def _range(part: str, known: Collection[str] | None) -> list[str]:
    found = _RANGE.fullmatch(part)
    if found is None:
        raise ScpiFault(-170, part)
    first, last = found.group(1), found.group(2)
    for name in (first, last):
        if name is not None and known is not None and name not in known:
            raise ScpiFault(-222, name)
    if last is None:
        return [first]
    return _written_out(part, first, last, known)


def _written_out(part: str, first: str, last: str, known: Collection[str] | None) -> list[str]:
    if "!" in part:
        raise ScpiFault(-170, part)  # ranges over rows and columns are not understood here
    begin, end = int(first), int(last)
    step = 1 if end >= begin else -1
    if abs(end - begin) > LONGEST_CHANNEL_RANGE:
        raise ScpiFault(-222, part)
    names = [str(number) for number in range(begin, end + step, step)]
    return [name for name in names if known is None or name in known]
