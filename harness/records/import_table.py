"""Reads a table measured elsewhere into rows of numbers; every bad cell is a fault.

Only the csv module and the declared columns are used: nothing is guessed, no cell is
repaired, and a file with any fault gives no rows at all.
"""

from __future__ import annotations

import csv
import hashlib
import io
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Protocol

from harness.descriptions.faults import DescriptionFaults, Fault, nearest_hint
from harness.descriptions.toml_text import alternatives, as_toml, figure

SEPARATORS = {"comma": ",", "semicolon": ";", "tab": "\t"}
_LONGEST_COUNT = 9

# Power of ten from a unit to the SI unit of its quantity.
_POWERS = {"V": 0, "mV": -3, "ohm": 0, "kohm": 3, "degC": 0}
_UNIT_WORDS = {
    "V": "volts",
    "mV": "millivolts",
    "ohm": "ohms",
    "kohm": "kilohms",
    "degC": "degrees Celsius",
}
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]{1,3})?")


class CellParser(Protocol):
    """Turns the text of one cell into a value, or says what it expected."""

    @property
    def expected(self) -> str:
        """What a cell must be, to follow the word "expected"."""
        ...

    def parse(self, text: str) -> float | str | None:
        """The value, None when the text is not what was expected."""
        ...

    def hint(self, text: str) -> str:
        """What may be the matter with `text`, empty when nothing is known."""
        ...


@dataclass(frozen=True)
class NumberParser:
    """A finite number in a unit, given in SI.

    bounds : lowest and highest value, SI, both allowed; is_positive : zero is not allowed.
    """

    unit: str
    decimal_mark: str
    bounds: tuple[float, float] | None = None
    is_positive: bool = False

    @property
    def expected(self) -> str:
        """In words, with the decimal mark and the bounds in the column's unit."""
        words = f"a number of {_UNIT_WORDS[self.unit]} with a decimal {self.decimal_mark}"
        if self.is_positive:
            words += ", above 0"
        if self.bounds is None:
            return words
        low, high = (figure(bound / 10 ** _POWERS[self.unit]) for bound in self.bounds)
        return f"{words}, from {low} to {high}"

    def parse(self, text: str) -> float | None:
        """The number in SI units, correctly rounded from its decimal digits."""
        if self.decimal_mark == "comma":
            text = text.replace(".", "?").replace(",", ".")
        if not _NUMBER.fullmatch(text):
            return None
        value = float(Decimal(text).scaleb(_POWERS[self.unit]))
        return value if math.isfinite(value) and self._allows(value) else None

    def _allows(self, value: float) -> bool:
        low, high = self.bounds or (-math.inf, math.inf)
        return low <= value <= high and (value > 0 or not self.is_positive)

    def hint(self, text: str) -> str:
        """Whether another unit or the other decimal mark is likely meant."""
        if NumberParser(self.unit, self.decimal_mark).parse(text) is not None:
            return "check the unit that is declared for the column" if self.bounds else ""
        other = "point" if self.decimal_mark == "comma" else "comma"
        if NumberParser(self.unit, other).parse(text) is not None:
            return f'the columns declare decimal_mark = "{self.decimal_mark}"'
        return ""


@dataclass(frozen=True)
class CountParser:
    """A whole number from 1 to `highest`."""

    highest: int

    @property
    def expected(self) -> str:
        """In words."""
        return f"a whole number from 1 to {self.highest}"

    def parse(self, text: str) -> float | None:
        """The number as a float (the callers' rows hold floats)."""
        is_count = text.isascii() and text.isdecimal() and len(text) <= _LONGEST_COUNT
        return float(text) if is_count and 1 <= int(text) <= self.highest else None

    def hint(self, text: str) -> str:
        """Nothing is known."""
        return ""


@dataclass(frozen=True)
class WordParser:
    """One of some words, whatever their case; gives the word's meaning."""

    meanings: Mapping[str, str]

    @property
    def expected(self) -> str:
        """The words."""
        return alternatives([as_toml(word) for word in self.meanings])

    def parse(self, text: str) -> str | None:
        """The meaning of the word."""
        known = {word.casefold(): meaning for word, meaning in self.meanings.items()}
        return known.get(text.casefold())

    def hint(self, text: str) -> str:
        """The nearest word."""
        return nearest_hint(text, self.meanings)


@dataclass(frozen=True)
class TableColumn:
    """One declared column: its heading in the file and what its cells must be."""

    heading: str
    parser: CellParser


@dataclass(frozen=True)
class Table:
    """The rows of a file, and the SHA-256 of the bytes they were read from."""

    rows: tuple[TableRow, ...]
    sha256: str


@dataclass(frozen=True)
class TableRow:
    """One row: values and the cells' own texts, both by the column's key."""

    line: int
    values: Mapping[str, float | str]
    texts: Mapping[str, str]


def read_table(path: Path, columns: Mapping[str, TableColumn], separator: str) -> Table:
    """All rows of a table whose first line that is not blank holds the headings.

    Parameters
    ----------
    columns : the declared columns by key; others in the file are left alone.
    separator : a key of `SEPARATORS`.

    Raises
    ------
    DescriptionFaults : every bad cell, line and heading, as `file:line: column: ...`.
    """
    file = str(path)
    faults: list[Fault] = []
    content = _content(path)
    lines = list(_split(file, _decoded(file, content), separator, faults))
    if not lines:
        raise DescriptionFaults(
            [*faults, Fault(file, None, "", "a table with headings", "an empty file")]
        )
    places = _places(file, lines[0], columns, separator, faults)
    if faults:
        raise DescriptionFaults(faults)
    width = len(lines[0].cells)
    rows = [row for line in lines[1:] if (row := _row(file, line, width, columns, places, faults))]
    if not rows and not faults:
        faults.append(Fault(file, lines[0].number, "", "rows of readings", "headings only"))
    if faults:
        raise DescriptionFaults(faults)
    return Table(tuple(rows), hashlib.sha256(content).hexdigest())


@dataclass(frozen=True)
class _Line:
    number: int
    cells: tuple[str, ...]


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        got = "a directory" if path.is_dir() else (error.strerror or "an unreadable file").lower()
        raise DescriptionFaults([Fault(str(path), None, "", "a table", got)]) from error


def _decoded(file: str, content: bytes) -> str:
    """The file's text; a byte-order mark as spreadsheets write it is dropped."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        got = f"byte 0x{content[error.start]:02X}"
        hint = "save the table as UTF-8"
        raise DescriptionFaults([Fault(file, line, "", "UTF-8 text", got, hint)]) from error


def _split(file: str, text: str, separator: str, faults: list[Fault]) -> Iterator[_Line]:
    """The lines that are not blank, each with the number of its first line in the file."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=SEPARATORS[separator], strict=True)
    while True:
        number = reader.line_num + 1
        try:
            cells = tuple(cell.strip() for cell in next(reader))
        except StopIteration:
            return
        except csv.Error as error:
            faults.append(Fault(file, number, "", "separated values", str(error)))
            return
        if any(cells):
            yield _Line(number, cells)


def _places(
    file: str,
    heading: _Line,
    columns: Mapping[str, TableColumn],
    separator: str,
    faults: list[Fault],
) -> dict[str, int]:
    """Where each declared column stands; a missing or doubled heading is a fault."""
    places = {}
    for key, column in columns.items():
        found = [i for i, cell in enumerate(heading.cells) if cell == column.heading]
        if len(found) == 1:
            places[key] = found[0]
            continue
        got = "no such heading" if not found else f"{len(found)} of that heading"
        hint = "" if found else _heading_hint(column.heading, heading.cells, separator)
        faults.append(Fault(file, heading.number, column.heading, "one column", got, hint))
    return places


def _heading_hint(wanted: str, headings: Sequence[str], separator: str) -> str:
    """The nearest heading, or that the separator is another one."""
    if len(headings) == 1:
        other = next((n for n, mark in SEPARATORS.items() if mark in headings[0]), "")
        if other:
            return f'the columns declare separator = "{separator}", the line holds a {other}'
    near = nearest_hint(wanted, headings)
    return near or f"headings are {', '.join(as_toml(h) for h in headings if h)}"


def _row(
    file: str,
    line: _Line,
    width: int,
    columns: Mapping[str, TableColumn],
    places: Mapping[str, int],
    faults: list[Fault],
) -> TableRow | None:
    """One row, or None when any of its cells is a fault."""
    if len(line.cells) < width or any(line.cells[width:]):
        expected = f"{width} columns as in the headings"
        faults.append(Fault(file, line.number, "", expected, f"{len(line.cells)}"))
        return None
    values: dict[str, float | str] = {}
    texts = {key: line.cells[place] for key, place in places.items()}
    for key, column in columns.items():
        value = column.parser.parse(texts[key])
        if value is None:
            faults.append(_cell_fault(file, line.number, column, texts[key]))
        else:
            values[key] = value
    return TableRow(line.number, values, texts) if len(values) == len(columns) else None


def _cell_fault(file: str, line: int, column: TableColumn, text: str) -> Fault:
    got = as_toml(text) if text else "an empty cell"
    hint = column.parser.hint(text) if text else ""
    return Fault(file, line, column.heading, column.parser.expected, got, hint)
