"""The declaration of a table's columns is read with all its faults."""

from __future__ import annotations

from pathlib import Path

import pytest
from invented_spreadsheet import IMPORTS

from harness.descriptions.faults import DescriptionFaults
from harness.records.import_columns import (
    CellAccuracyImport,
    DirectionColumn,
    ResistanceColumn,
    ThermistorAccuracyImport,
    read_import_columns,
)

GOOD = """\
feeds = "cell-accuracy"
[columns.cell]
heading = "Cell"
[columns.nominal_volts]
heading = "Set"
[columns.board_volts]
heading = "Board"
[columns.reference_volts]
heading = "Meter"
"""


def test_what_is_not_said_is_the_plain_form(tmp_path: Path) -> None:
    """Comma, decimal point, volts, the first check of its kind, upwards only."""
    path = tmp_path / "columns.toml"
    path.write_text(GOOD, "utf-8")
    found = read_import_columns(path)
    assert isinstance(found, CellAccuracyImport)
    assert (
        found.separator,
        found.decimal_mark,
        found.occurrence,
        found.columns.direction,
        found.columns.board_volts.unit,
    ) == ("comma", "point", 1, None, "V")


def test_the_fixtures_declare_both_forms() -> None:
    """A table of cells with words of its own, and a table of thermistors."""
    cells = read_import_columns(IMPORTS / "spreadsheet-decimal-comma.toml")
    thermistors = read_import_columns(IMPORTS / "thermistors.toml")
    assert isinstance(cells, CellAccuracyImport)
    assert isinstance(thermistors, ThermistorAccuracyImport)
    assert DirectionColumn(heading="Direction", up="rising", down="falling") == (
        cells.columns.direction
    )
    assert ResistanceColumn(heading="Decade (kohm)", unit="kohm") == (
        thermistors.columns.reference_ohms
    )


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        (
            'feeds = "cell-accuracy"',
            'feeds = "cell-acuracy"',
            '1: feeds: expected "cell-accuracy" or "thermistor-accuracy", got "cell-acuracy"; did'
            ' you mean "cell-accuracy"?',
        ),
        (
            'heading = "Set"',
            'heading = "Set"\nunit = "uV"',
            '6: columns.nominal_volts.unit: expected "V" or "mV", got "uV"; did you mean "V"?',
        ),
        (
            "[columns.cell]",
            "[columns.cel]",
            '2: columns.cel: expected a known key, got "cel"; did you mean "cell"?\n'
            "FILE:2: columns.cell: expected a table, got nothing",
        ),
        (
            'heading = "Board"',
            'header = "Board"',
            "6: columns.board_volts.heading: expected a non-empty text, got nothing\n"
            'FILE:7: columns.board_volts.header: expected a known key, got "header"; did you mean'
            ' "heading"?',
        ),
        (
            'feeds = "cell-accuracy"',
            'feeds = "cell-accuracy"\nseparator = ";"',
            '2: separator: expected "comma", "semicolon" or "tab", got ";"',
        ),
        (
            'feeds = "cell-accuracy"',
            'feeds = "cell-accuracy"\noccurrence = 0',
            "2: occurrence: expected a whole number, at least 1, got 0",
        ),
    ],
    ids=["feeds", "unit", "column", "heading", "separator", "occurrence"],
)
def test_faults_are_told_with_their_line(tmp_path: Path, old: str, new: str, text: str) -> None:
    """As in every other description."""
    path = tmp_path / "columns.toml"
    path.write_text(GOOD.replace(old, new, 1), "utf-8")
    with pytest.raises(DescriptionFaults) as caught:
        read_import_columns(path)
    assert f"{path}:{text}".replace("FILE", str(path)) == str(caught.value)


def test_a_missing_declaration_is_told(tmp_path: Path) -> None:
    """With what the file should hold."""
    path = tmp_path / "columns.toml"
    with pytest.raises(DescriptionFaults) as caught:
        read_import_columns(path)
    assert f"{path}: expected a declaration of columns, got no such file" == str(caught.value)
