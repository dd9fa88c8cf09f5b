"""Faults of description files: place, what was expected, what came, what was perhaps meant.

A reader collects every fault of every file and raises them together, because a user who
mends one line at a time and runs again loses minutes each time.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass

from harness.errors import DescriptionError

# A key's place in a file: table and key names, and list indices that count from 0.
KeyPath = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_NUMBER = re.compile(r"\d+")

# Indices are sorted as numbers by padding them; no description has a million entries.
NUMBER_DIGITS = 6

# Share of matching letters from which a known key is offered for an unknown one; difflib's own
# default, which offers nothing for two words that merely share an ending.
NEARNESS_RATIO = 0.6


@dataclass(frozen=True)
class Remark:
    """A fault whose file is known from the context and whose line is still to be found."""

    path: KeyPath
    expected: str
    got: str
    hint: str = ""


@dataclass(frozen=True)
class Fault:
    """One fault; prints as `file:line: table.key: expected ..., got ...`.

    `line` counts from 1, None when it cannot be known; `path` is empty for a fault of the
    whole file; `hint` says what to do, may be empty.
    """

    file: str
    line: int | None
    path: str
    expected: str
    got: str
    hint: str = ""

    def __str__(self) -> str:
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        key = f" {self.path}:" if self.path else ""
        hint = f"; {self.hint}" if self.hint else ""
        return f"{place}:{key} expected {self.expected}, got {self.got}{hint}"


class DescriptionFaults(DescriptionError):  # noqa: N818 (it carries many)
    """All faults of all files read, sorted by file and line; `faults` holds them."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(set(faults), key=_place_order))
        super().__init__("\n".join(map(str, self.faults)))


def _place_order(fault: Fault) -> tuple[str, int, str, str]:
    counted = _NUMBER.sub(lambda number: number[0].zfill(NUMBER_DIGITS), fault.path)
    return (fault.file, fault.line or 0, counted, str(fault))


def path_text(path: KeyPath) -> str:
    """A path as TOML would write it, with list indices: `check[2].points_volts`."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step}]"
        else:
            text += ("." if text else "") + _key_text(step)
    return text


def _key_text(key: str) -> str:
    return key if _BARE_KEY.fullmatch(key) else '"' + key.replace('"', '\\"') + '"'


def nearest_hint(word: str, known: Iterable[str]) -> str:
    """`did you mean "..."?` with the nearest of `known`, or empty when none is near."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=NEARNESS_RATIO)
    return f'did you mean "{near[0]}"?' if near else ""
