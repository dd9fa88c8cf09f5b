"""A table is read exactly, or every bad cell of it is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.descriptions.faults import DescriptionFaults
from harness.records.import_table import (
    CountParser,
    NumberParser,
    TableColumn,
    WordParser,
    read_table,
)

COLUMNS = {
    "cell": TableColumn("Cell", CountParser(12)),
    "nominal": TableColumn("Set (V)", NumberParser("V", "point", (1.8, 4.2))),
    "board": TableColumn("Board (mV)", NumberParser("mV", "point")),
    "direction": TableColumn("Sweep", WordParser({"up": "up", "down": "down"})),
}
SHORT = {
    "CELL": "Cell: expected a whole number from 1 to 12,",
    "SET": "Set (V): expected a number of volts with a decimal point, from 1.8 to 4.2,",
    "BOARD": "Board (mV): expected a number of millivolts with a decimal point,",
    "UNIT": "check the unit that is declared for the column",
    "MARK": 'the columns declare decimal_mark = "point"',
}
HEADINGS = "Cell,Set (V),Board (mV),Sweep"
GOOD = "3,3.300,3301,up"


def write(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "table.csv"
    path.write_bytes(text.encode())
    return path


def complaints(path: Path, separator: str = "comma") -> str:
    """The whole message, with the file's folder left out."""
    with pytest.raises(DescriptionFaults) as caught:
        read_table(path, COLUMNS, separator)
    return str(caught.value).replace(f"{path.parent}/", "")


def test_values_are_si_and_texts_are_kept(tmp_path: Path) -> None:
    """Rounded once, from the decimal digits."""
    table = read_table(write(tmp_path, f"{HEADINGS}\n{GOOD}\n"), COLUMNS, "comma")
    (row,) = table.rows
    assert row.values == {"cell": 3.0, "nominal": 3.3, "board": 3.301, "direction": "up"}
    assert row.texts["board"] == "3301"
    assert row.line == 2


@pytest.mark.parametrize(
    "text",
    [
        f"\ufeff{HEADINGS}\r\n{GOOD}\r\n",
        f"\n{HEADINGS}\n,,,\n\n{GOOD}",
        f"{HEADINGS},Remark\n{GOOD},\n",
        '"Cell","Set (V)","Board (mV)","Sweep"\n" 3 ",+3.3e0,3301.,UP\n',
        "Sweep,Board (mV),Set (V),Cell\nup,3301.00,3.3,3\n",
        f"{HEADINGS}\n{GOOD},,\n",
    ],
    ids=["mark-and-crlf", "blank-lines", "other-columns", "quotes", "order", "empty-columns"],
)
def test_harmless_variety_is_read(tmp_path: Path, text: str) -> None:
    """What spreadsheets add does no harm."""
    (row,) = read_table(write(tmp_path, text), COLUMNS, "comma").rows
    assert row.values == {"cell": 3.0, "nominal": 3.3, "board": 3.301, "direction": "up"}


@pytest.mark.parametrize(
    ("text", "unit", "mark", "value"),
    [
        ("3300.1", "mV", "point", 3.3001),
        ("-0,25", "mV", "comma", -0.00025),
        ("4,7", "kohm", "comma", 4700.0),
        (".5", "V", "point", 0.5),
        ("1e3", "ohm", "point", 1000.0),
        ("1E-3", "ohm", "comma", 0.001),
    ],
)
def test_numbers_are_read_in_their_unit(text: str, unit: str, mark: str, value: float) -> None:
    """Decimal digits in, the nearest double of the SI value out."""
    assert value == NumberParser(unit, mark).parse(text)


@pytest.mark.parametrize(
    ("line", "complaint"),
    [
        ("3,3.3,nan,up", 'BOARD got "nan"'),
        ("3,3.3,NaN,up", 'BOARD got "NaN"'),
        ("3,3.3,inf,up", 'BOARD got "inf"'),
        ("3,3.3,,up", "BOARD got an empty cell"),
        ("3,3.3,open,up", 'BOARD got "open"'),
        ("3,3.3,3301 mV,up", 'BOARD got "3301 mV"'),
        ('3,3.3,"3,301",up', 'BOARD got "3,301"; MARK'),
        ("3,3.3,3'301,up", "BOARD got \"3'301\""),
        ("3,3.3,1e999,up", 'BOARD got "1e999"'),
        ("3,3.3,#DIV/0!,up", 'BOARD got "#DIV/0!"'),
        ("3,3.3,٣,up", 'BOARD got "٣"'),
        ("3,3300,3301,up", 'SET got "3300"; UNIT'),
        ("13,3.3,3301,up", 'CELL got "13"'),
        ("0,3.3,3301,up", 'CELL got "0"'),
        ("-1,3.3,3301,up", 'CELL got "-1"'),
        ("3.5,3.3,3301,up", 'CELL got "3.5"'),
        ("²,3.3,3301,up", 'CELL got "²"'),
        ("99999999999,3.3,3301,up", 'CELL got "99999999999"'),
        (",3.3,3301,up", "CELL got an empty cell"),
        ("3,3.3,3301,dwn", 'Sweep: expected "up" or "down", got "dwn"; did you mean "down"?'),
        ("3,3.3,3301,", 'Sweep: expected "up" or "down", got an empty cell'),
        ("3,3.3,3301", "expected 4 columns as in the headings, got 3"),
        ("3,3,300,3301,up", "expected 4 columns as in the headings, got 5"),
    ],
)  # fmt: skip
def test_a_bad_cell_is_told(tmp_path: Path, line: str, complaint: str) -> None:
    """File, line, column, what was expected, what came."""
    path = write(tmp_path, f"{HEADINGS}\n{GOOD}\n{line}\n")
    for short, text in SHORT.items():
        complaint = complaint.replace(short, text)
    assert f"table.csv:3: {complaint}" == complaints(path)


@pytest.mark.parametrize(
    ("text", "separator", "complaint"),
    [
        ("", "comma", "table.csv: expected a table with headings, got an empty file"),
        ("\n\n", "comma", "table.csv: expected a table with headings, got an empty file"),
        (HEADINGS, "comma", "table.csv:1: expected rows of readings, got headings only"),
        (
            "Cell,Set (V),Boards (mV),Sweep\n",
            "comma",
            "table.csv:1: Board (mV): expected one column, got no such heading; did you mean"
            ' "Boards (mV)"?',
        ),
        (
            "Cell,Set (V),x,Sweep\n",
            "comma",
            "table.csv:1: Board (mV): expected one column, got no such heading; headings are"
            ' "Cell", "Set (V)", "x", "Sweep"',
        ),
        (
            f"{HEADINGS},Cell\n",
            "comma",
            "table.csv:1: Cell: expected one column, got 2 of that heading",
        ),
        (
            f'{HEADINGS}\n3,"3.3"x,3301,up\n',
            "comma",
            "table.csv:2: expected separated values, got ',' expected after '\"'",
        ),
        (
            f'{HEADINGS}\n{GOOD}\n3,"3.3\n4,3.3,3301,up\n',
            "comma",
            "table.csv:3: expected separated values, got unexpected end of data",
        ),
    ],
    ids=[
        "empty", "blank", "no-rows", "near-heading", "no-heading", "twice", "quote", "open-quote",
    ],
)  # fmt: skip
def test_a_bad_table_is_told(tmp_path: Path, text: str, separator: str, complaint: str) -> None:
    """Headings first: without them no cell can be read."""
    assert complaint == complaints(write(tmp_path, text), separator)


def test_another_separator_is_noticed(tmp_path: Path) -> None:
    """All headings in one piece betray it."""
    path = write(tmp_path, HEADINGS.replace(",", ";") + "\n")
    said = complaints(path).splitlines()
    assert len(said) == 4
    assert said[0] == (
        "table.csv:1: Board (mV): expected one column, got no such heading; the columns declare"
        ' separator = "comma", the line holds a semicolon'
    )


def test_all_bad_cells_are_told_at_once(tmp_path: Path) -> None:
    """In the order of the file, each with the line on which its row begins."""
    rows = '3,3.3,"33\n01",up\n99,x,,sideways\n'
    said = complaints(write(tmp_path, f"{HEADINGS}\n{GOOD}\n{rows}")).splitlines()
    assert [line.split(": expected")[0] for line in said] == [
        'table.csv:3: Board (mV)', 'table.csv:5: Board (mV)', "table.csv:5: Cell",
        "table.csv:5: Set (V)", "table.csv:5: Sweep",
    ]  # fmt: skip


def test_text_in_another_encoding_is_told(tmp_path: Path) -> None:
    """With the byte and what to do."""
    path = tmp_path / "table.csv"
    path.write_bytes(f"{HEADINGS}\n{GOOD}\n3,3.3,3301,up,20 °C\n".encode("latin-1"))
    assert (
        complaints(path)
    ) == "table.csv:3: expected UTF-8 text, got byte 0xB0; save the table as UTF-8"


def test_a_missing_table_is_told(tmp_path: Path) -> None:
    """And so is a folder in its place."""
    assert (
        complaints(tmp_path / "missing.csv")
    ) == "missing.csv: expected a table, got no such file or directory"
    assert f"{tmp_path.name}: expected a table, got a directory" == complaints(tmp_path)
