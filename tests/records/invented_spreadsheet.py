"""Makes the tables under fixtures/imports: readings of a Heron board that never existed.

Run as a script it writes them; a test holds the files equal to what it makes. Each cell has a
gain and an offset of its own, the board reports whole millivolts, the meter ten microvolts.
Cell 7 reads about 6 mV high at the top of the range: an error that judging must find.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

IMPORTS = Path(__file__).parents[2] / "fixtures" / "imports"
SEED = 20260301
POINTS_VOLTS = (2.5, 2.8, 3.2, 3.35, 3.65)
POINTS_CELSIUS = (-10.0, 0.0, 15.0, 25.0, 40.0, 60.0)
READINGS = 4
CELLS = 12
BAD_CELL, BAD_GAIN = 7, 0.0017

CellReading = tuple[int, str, float, float, float]


def cell_readings() -> Iterator[CellReading]:
    """Cell, direction, nominal, reference and board in volts."""
    rng = np.random.default_rng(SEED)
    gains = rng.uniform(-0.0002, 0.0002, CELLS)
    gains[BAD_CELL - 1] = BAD_GAIN
    offsets = rng.uniform(-0.0005, 0.0005, CELLS)
    for direction, points in (("up", POINTS_VOLTS), ("down", POINTS_VOLTS[::-1])):
        for nominal in points:
            pins = nominal + rng.uniform(-0.002, 0.002, CELLS)
            for _ in range(READINGS):
                for cell in range(CELLS):
                    board = pins[cell] * (1 + gains[cell]) + offsets[cell] + rng.normal(0, 5e-4)
                    reference = pins[cell] + rng.normal(0, 5e-6)
                    yield cell + 1, direction, nominal, round(reference, 5), round(board, 3)


def thermistor_readings() -> Iterator[tuple[int, float, float, float]]:
    """Thermistor, nominal, reference in ohms, board in degrees Celsius; beta curve of 3977 K."""
    rng = np.random.default_rng(SEED + 1)
    for thermistor, error in ((1, 0.2), (2, -0.3)):
        for nominal in POINTS_CELSIUS:
            ohms = 1e4 * math.exp(3977.0 * (1 / (nominal + 273.15) - 1 / 298.15))
            for _ in range(READINGS):
                board = nominal + error + rng.normal(0, 0.05)
                yield thermistor, nominal, round(ohms + rng.normal(0, 0.05), 2), round(board, 1)


def plain_table() -> str:
    """Comma, decimal point, volts."""
    lines = ["Reading,Sweep,Cell,Set (V),Meter (V),Board (V)"]
    lines += [
        f"{i},{direction},{cell},{nominal:.3f},{reference:.5f},{board:.3f}"
        for i, (cell, direction, nominal, reference, board) in enumerate(cell_readings(), 1)
    ]
    return "\n".join(lines) + "\n"


def decimal_comma_table() -> str:
    """The same readings: semicolon, decimal comma, millivolts, CRLF and a byte-order mark."""
    words = {"up": "rising", "down": "falling"}
    lines = ["Cell;Set [mV];Direction;Board [mV];Meter [mV];Remark"]
    lines += [
        f"{cell};{nominal * 1e3:.0f};{words[direction]};{board * 1e3:.0f};"
        f"{reference * 1e3:.2f};".replace(".", ",")
        for cell, direction, nominal, reference, board in cell_readings()
    ]
    return "\ufeff" + "\r\n".join(lines) + "\r\n"


def thermistor_table() -> str:
    """Tab, decimal point, kilohms."""
    lines = ["Thermistor\tNominal (degC)\tDecade (kohm)\tBoard (degC)"]
    lines += [
        f"{thermistor}\t{nominal:.1f}\t{ohms / 1e3:.5f}\t{board:.1f}"
        for thermistor, nominal, ohms, board in thermistor_readings()
    ]
    return "\n".join(lines) + "\n"


TABLES: dict[str, Callable[[], str]] = {
    "spreadsheet.csv": plain_table,
    "spreadsheet-decimal-comma.csv": decimal_comma_table,
    "thermistors.tsv": thermistor_table,
}


if __name__ == "__main__":
    for name, make in TABLES.items():
        (IMPORTS / name).write_bytes(make().encode())
