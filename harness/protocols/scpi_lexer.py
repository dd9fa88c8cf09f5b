"""Program messages cut into commands, headers and parameters, as IEEE 488.2 section 7 has it.

Semicolons and commas inside quotes, parentheses and blocks separate nothing. It knows no
command.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import NamedTuple

from harness.protocols.scpi_errors import ScpiFault

# IEEE 488.2-1992, 7.6.1.2: mnemonics joined by colons, a common command, each with "?" for a
# query; 7.4.1.2: white space is any control character but newline, and the space.
_HEADER = re.compile(r"(?:\*|:)?[A-Za-z][A-Za-z0-9_]*(?::[A-Za-z][A-Za-z0-9_]*)*\??")
_WHITE = "".join(map(chr, range(33)))

# IEEE 488.2-1992, 7.6.1.4.1: a program mnemonic has at most 12 characters.
LONGEST_MNEMONIC = 12


class Unit(NamedTuple):
    """One command: header as written without its "?", whether it asks, its parameters."""

    header: str
    is_query: bool
    parameters: tuple[str, ...]


def block_length(text: str, begin: int) -> int:
    """Length, from "#" on, of the arbitrary block that begins at `begin`.

    Definite form: "#", a digit d, d digits n, n bytes; indefinite form "#0": to the end of
    the message (IEEE 488.2-1992, 7.7.6). 0 where no block begins.

    Examples
    --------
    >>> block_length("#213" + 13 * "x", 0), block_length("#H1F", 0)
    (17, 0)
    """
    digit = text[begin + 1 : begin + 2]
    if text[begin : begin + 1] != "#" or digit not in tuple("0123456789"):
        return 0
    if digit == "0":
        return len(text) - begin
    count = text[begin + 2 : begin + 2 + int(digit)]
    if len(count) != int(digit) or not (count.isascii() and count.isdigit()):
        return 0
    return 2 + len(count) + int(count)


def cut(text: str, separator: str) -> Iterator[str]:
    """The parts of `text` between separators that stand outside quotes, (...) and blocks."""
    begin = at = depth = 0
    quote = ""
    while at < len(text):
        character = text[at]
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        elif character == "#" and (length := block_length(text, at)):
            at += length
            continue
        elif character in "()":
            depth = max(0, depth + (1 if character == "(" else -1))
        elif character == separator and not depth:
            yield text[begin:at]
            begin = at + 1
        at += 1
    yield text[begin:]


def units(message: str) -> Iterator[str]:
    """The commands of a message, stripped; empty ones left out, as receivers do."""
    for part in cut(message, ";"):
        stripped = part.strip(_WHITE)
        if stripped:
            yield stripped


def parse_unit(text: str) -> Unit:
    """One command taken apart.

    Raises
    ------
    ScpiFault : -101 for what is no character of a message and for an empty parameter, -102
        for what is no header, -112 for a mnemonic of more than 12 characters.
    """
    if not text.isascii():
        raise ScpiFault(-101)
    header, rest = _header_of(text)
    if max(map(len, header.strip("*:?").split(":"))) > LONGEST_MNEMONIC:
        raise ScpiFault(-112, header)
    parameters = tuple(part.strip(_WHITE) for part in cut(rest, ",")) if rest else ()
    if not all(parameters):
        raise ScpiFault(-101, text)
    return Unit(header.removesuffix("?"), header.endswith("?"), parameters)


def _header_of(text: str) -> tuple[str, str]:
    match = _HEADER.match(text)
    if match is None:
        raise ScpiFault(-102, text)
    rest = text[match.end() :]
    if rest and rest[0] not in _WHITE:
        raise ScpiFault(-102, text)
    return match.group(), rest.strip(_WHITE)
