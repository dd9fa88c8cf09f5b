"""Command headers: SCPI's notation of long and short forms, optional nodes and suffixes.

A pattern such as "[SOURce:]VOLTage[:LEVel]" or "OUTPut#[:STATe]?" becomes a matcher. Capitals
are the short form, a word all in capitals has that form only; brackets mark nodes that may be
left out; "#" allows a numeric suffix, which is 1 when it is not written (SCPI-1999 vol. 1, 5.1
and 6.2).
"""

from __future__ import annotations

import re

from harness.errors import MisuseError

# Nodes as they stand in a notation whose every node has its colon in front.
_NODE = re.compile(r"\[:([A-Za-z]\w*)(#?)\]|:([A-Za-z]\w*)(#?)")
_COLON_INSIDE = re.compile(r"\[([A-Za-z]\w*#?):\]")
_FIRST_WORD = re.compile(r"^(\[?)(?=[A-Za-z])")
_VOWELS = frozenset("AEIOU")


def short_form(word: str) -> str:
    """The short form of a long-form mnemonic, in upper case.

    Words of four letters or fewer stay; else the first four letters, or the first three when
    the fourth is a vowel (SCPI-1999 vol. 1, 6.2.1).

    Examples
    --------
    >>> [short_form(word) for word in ("VOLTAGE", "DELAY", "AUTO")]
    ['VOLT', 'DEL', 'AUTO']
    """
    upper = word.upper()
    if len(upper) <= 4:
        return upper
    return upper[:3] if upper[3] in _VOWELS else upper[:4]


class HeaderPattern:
    """One declared header.

    Raises
    ------
    MisuseError : the notation cannot be read, or its capitals are not the short form.
    """

    def __init__(self, notation: str) -> None:
        self.notation = notation
        self.is_query = notation.endswith("?")
        self._regex = re.compile(self._expression(notation.removesuffix("?")))

    def match(self, header: str) -> tuple[int, ...] | None:
        """The suffixes of `header` when it is of this pattern, else None.

        Parameters
        ----------
        header : from the root, in upper case, with a leading colon unless it is a common
            command, without "?".
        """
        found = self._regex.fullmatch(header)
        if found is None:
            return None
        return tuple(int(digits) if digits else 1 for digits in found.groups())

    def _expression(self, notation: str) -> str:
        if notation.startswith("*"):
            return re.escape(notation.upper())
        # "[SOURce:]VOLTage" and "[SOURce]:VOLTage" are both in use.
        notation = _FIRST_WORD.sub(r"\1:", _COLON_INSIDE.sub(r"[:\1]:", notation))
        expression, at = "", 0
        while at < len(notation):
            found = _NODE.match(notation, at)
            if found is None:
                raise MisuseError(f'command header "{self.notation}": cannot read the notation')
            optional, optional_suffix, needed, needed_suffix = found.groups()
            node = _node_expression(self.notation, optional or needed)
            node += r"(\d{0,4})" if optional_suffix or needed_suffix else ""
            expression += f"(?:{node})?" if optional else node
            at = found.end()
        return expression


def _node_expression(notation: str, word: str) -> str:
    upper = word.upper()
    if word == upper:
        return f":{upper}"  # written in one form only, as by a user who knows no other
    short = "".join(character for character in word if not character.islower())
    if short != short_form(word):
        raise MisuseError(
            f'command header "{notation}": expected the short form {short_form(word)} in '
            f'capitals, got "{word}"'
        )
    return f":(?:{short}|{upper})"
