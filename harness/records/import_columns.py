"""What the columns of a table measured elsewhere are: declared, never guessed.

A table holds one reading a row: which cell (or thermistor), at which nominal value, what the
board said and what the reference said. Repeated rows are repeated readings. One small TOML
file says which column is which, in which unit, how columns are separated, which decimal mark
is used, and which check of the plan the table feeds. Nothing is read here but that file.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, TypeAdapter, ValidationError

from harness.descriptions.documents import load_document
from harness.descriptions.faults import DescriptionFaults
from harness.descriptions.translating import remarks_of
from harness.descriptions.values import Count, Positive, Text, described

Separator = Literal["comma", "semicolon", "tab"]
DecimalMark = Literal["point", "comma"]


@described
class VoltageColumn:
    """A column of voltages, named by its heading."""

    heading: Text
    unit: Literal["V", "mV"] = "V"


@described
class ResistanceColumn:
    """A column of resistances, named by its heading."""

    heading: Text
    unit: Literal["ohm", "kohm"] = "ohm"


@described
class TemperatureColumn:
    """A column of temperatures, named by its heading."""

    heading: Text
    unit: Literal["degC"] = "degC"


@described
class NumberColumn:
    """A column of cell or thermistor numbers, which count from 1."""

    heading: Text


@described
class DirectionColumn:
    """A column that says whether a point was reached upwards or downwards, and its words."""

    heading: Text
    up: Text = "up"
    down: Text = "down"


@described
class CellColumns:
    """Columns of a table of cell voltages; without `direction` every point counts as up."""

    cell: NumberColumn
    nominal_volts: VoltageColumn
    board_volts: VoltageColumn
    reference_volts: VoltageColumn
    direction: DirectionColumn | None = None


@described
class ThermistorColumns:
    """Columns of a table of temperatures at injected resistances."""

    thermistor: NumberColumn
    nominal_celsius: TemperatureColumn
    board_celsius: TemperatureColumn
    reference_ohms: ResistanceColumn


@described
class CellAccuracyImport:
    """A table for the plan's cell-accuracy check; `occurrence` picks among several of them.

    power_line_cycles : integration time of the meter's readings; the plan's when not said.
    """

    feeds: Literal["cell-accuracy"]
    columns: CellColumns
    occurrence: Count = 1
    separator: Separator = "comma"
    decimal_mark: DecimalMark = "point"
    power_line_cycles: Positive | None = None


@described
class ThermistorAccuracyImport:
    """A table for the plan's thermistor-accuracy check; `occurrence` picks among several.

    power_line_cycles : integration time of the meter's readings; the plan's when not said.
    """

    feeds: Literal["thermistor-accuracy"]
    columns: ThermistorColumns
    occurrence: Count = 1
    separator: Separator = "comma"
    decimal_mark: DecimalMark = "point"
    power_line_cycles: Positive | None = None


ImportColumns = Annotated[
    CellAccuracyImport | ThermistorAccuracyImport, Field(discriminator="feeds")
]

_ADAPTER: TypeAdapter[Any] = TypeAdapter(ImportColumns)


def read_import_columns(path: Path) -> CellAccuracyImport | ThermistorAccuracyImport:
    """The declaration of columns in the TOML file at `path`.

    Raises
    ------
    DescriptionFaults : all faults of the file, each with its line.
    """
    document = load_document(path, "a declaration of columns")
    try:
        found: CellAccuracyImport | ThermistorAccuracyImport = _ADAPTER.validate_python(
            document.data
        )
    except ValidationError as error:
        raise DescriptionFaults(document.faults(remarks_of(error, _ADAPTER))) from error
    return found
