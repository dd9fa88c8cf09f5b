"""Wrong types, values outside their bounds, lists of the wrong length."""

from __future__ import annotations

from pathlib import Path

import pytest
from description_cases import Case, faults_of

CASES = (
    Case(
        "text where a number belongs",
        (("board.toml", "refresh_seconds = 0.05", 'refresh_seconds = "fast"'),),
        ('board.toml:3: refresh_seconds: expected a number of seconds above 0, got "fast"',),
    ),
    Case(
        "number in quotes",
        (("board.toml", "resolution_volts = 0.001", 'resolution_volts = "0.001"'),),
        (
            (
                "board.toml:15: cell_inputs.resolution_volts: expected a number of volts above "
                '0, got "0.001"; write numbers without quotes'
            ),
        ),
    ),
    Case(
        "negative where positive belongs",
        (("board.toml", "refresh_seconds = 0.05", "refresh_seconds = -0.05"),),
        ("board.toml:3: refresh_seconds: expected a number of seconds above 0, got -0.05",),
    ),
    Case(
        "zero where positive belongs",
        (("bench.toml", "cell_volts = 4.2", "cell_volts = 0"),),
        ("bench.toml:40: ceilings.cell_volts: expected a number of volts above 0, got 0",),
    ),
    Case(
        "not a number",
        (("board.toml", "highest_volts = 4.2", "highest_volts = nan"),),
        (
            (
                "board.toml:14: cell_inputs.highest_volts: expected a finite number of volts "
                "above 0, got nan"
            ),
        ),
    ),
    Case(
        "infinite",
        (("plan.toml", "base_volts = 3.2", "base_volts = inf"),),
        (
            (
                "plan.toml:13: check[0].base_volts: expected a finite number of volts above 0, "
                "got inf"
            ),
        ),
    ),
    Case(
        "true is no number",
        (("board.toml", "noise_volts = 0.001", "noise_volts = true"),),
        ("board.toml:8: limits.noise_volts: expected a number of volts above 0, got true",),
    ),
    Case(
        "fraction where a whole number belongs",
        (("board.toml", "cells = 3", "cells = 3.0"),),
        ("board.toml:2: cells: expected a whole number, at least 1, got 3.0",),
    ),
    Case(
        "no cells",
        (("board.toml", "cells = 3", "cells = 0"),),
        ("board.toml:2: cells: expected a whole number, at least 1, got 0",),
    ),
    Case(
        "number where a text belongs",
        (("bench.toml", 'name = "Test bench"', "name = 7"),),
        ("bench.toml:1: name: expected a non-empty text, got 7; write texts in quotes",),
    ),
    Case(
        "empty text",
        (("plan.toml", 'name = "Test plan"', 'name = ""'),),
        ('plan.toml:1: name: expected a non-empty text, got ""',),
    ),
    Case(
        "word where true or false belongs",
        (("plan.toml", 'kind = "noise"', 'kind = "noise"\noptional = "true"'),),
        (
            (
                'plan.toml:28: check[3].optional: expected true or false, got "true"; write it '
                "without quotes"
            ),
        ),
    ),
    Case(
        "unknown choice",
        (("bench.toml", 'topology = "series"', 'topology = "serial"'),),
        (
            (
                'bench.toml:27: wiring.topology: expected "series" or "ladder", got "serial"; '
                'did you mean "series"?'
            ),
        ),
    ),
    Case(
        "choice of the wrong type",
        (("board.toml", "baud = 115200", "baud = 115200\nparity = 0"),),
        ('board.toml:28: serial.parity: expected "none", "even" or "odd", got 0',),
    ),
    Case(
        "above an upper bound",
        (("bench.toml", 'name = "Test bench"', 'name = "Test bench"\nline_frequency_hertz = 400'),),
        (
            (
                "bench.toml:2: line_frequency_hertz: expected a number of hertz from 45 to 65, "
                "got 400"
            ),
        ),
    ),
    Case(
        "outside an open interval",
        (("plan.toml", "coverage_probability = 0.95", "coverage_probability = 1.0"),),
        (
            (
                "plan.toml:5: decision.coverage_probability: expected a number above 0.5 and "
                "below 1, got 1.0"
            ),
        ),
    ),
    Case(
        "bound on both sides",
        (("board.toml", "baud = 115200", "baud = 115200\nstop_bits = 3"),),
        ("board.toml:28: serial.stop_bits: expected a whole number from 1 to 2, got 3",),
    ),
    Case(
        "unit from the longest suffix",
        (("bench.toml", "total_volts = 15.0", "total_volts = 15.0\nramp_volts_per_second = 0.0"),),
        (
            (
                "bench.toml:42: ceilings.ramp_volts_per_second: expected a number of volts per "
                "second above 0, got 0.0"
            ),
        ),
    ),
    Case(
        "date that is a number",
        (("bench.toml", "due = 2027-03-02", "due = 20270302"),),
        (
            (
                "bench.toml:13: instruments.meter.due: expected a date such as 2026-03-31, got "
                "20270302"
            ),
        ),
    ),
    Case(
        "date in quotes",
        (("bench.toml", "due = 2027-03-02", 'due = "2027-03-02"'),),
        (
            (
                "bench.toml:13: instruments.meter.due: expected a date such as 2026-03-31, got "
                '"2027-03-02"; write dates without quotes'
            ),
        ),
    ),
    Case(
        "date with a time",
        (("bench.toml", "due = 2027-03-02", "due = 2027-03-02T10:00:00"),),
        (
            (
                "bench.toml:13: instruments.meter.due: expected a date such as 2026-03-31, got "
                "2027-03-02T10:00:00"
            ),
        ),
    ),
    Case(
        "list that is a scalar",
        (("bench.toml", "channels = [1, 2, 3]", "channels = 3"),),
        (
            (
                "bench.toml:30: wiring.channels: expected a non-empty list of whole numbers, "
                "at least 1, got 3"
            ),
        ),
    ),
    Case(
        "list too short",
        (("plan.toml", "points_volts = [2.5, 2.8, 3.1, 3.4, 3.65]", "points_volts = [2.5, 3.65]"),),
        (
            (
                "plan.toml:18: check[1].points_volts: expected a list of at least 5 numbers of "
                "volts above 0, got [2.5, 3.65]"
            ),
        ),
    ),
    Case(
        "list too long",
        (("plan.toml", 'directions = ["up", "down"]', 'directions = ["up", "down", "up"]'),),
        (
            (
                "plan.toml:19: check[1].directions: expected a list of 1 to 2 values out of "
                '"up" and "down", got ["up", "down", "up"]'
            ),
        ),
    ),
    Case(
        "pair with one entry",
        (
            (
                "board.toml",
                "thermistor_core_celsius = [0.0, 60.0]",
                "thermistor_core_celsius = [0.0]",
            ),
        ),
        (
            (
                "board.toml:10: limits.thermistor_core_celsius: expected a list of 2 numbers "
                "of degrees Celsius, got [0.0]"
            ),
        ),
    ),
    Case(
        "wrong entry in a list",
        (
            (
                "plan.toml",
                "points_volts = [2.5, 2.8, 3.1, 3.4, 3.65]",
                'points_volts = [2.5, 2.8, "3.1", 3.4, 3.65]',
            ),
        ),
        (
            (
                "plan.toml:18: check[1].points_volts[2]: expected a number of volts above 0, "
                'got "3.1"; write numbers without quotes'
            ),
        ),
    ),
    Case(
        "wrong entry in a list over several lines",
        (
            (
                "plan.toml",
                "points_volts = [2.5, 2.8, 3.1, 3.4, 3.65]",
                "points_volts = [\n  2.5, 2.8,\n  -3.1,\n  3.4, 3.65,\n]",
            ),
        ),
        (("plan.toml:20: check[1].points_volts[2]: expected a number of volts above 0, got -3.1"),),
    ),
    Case(
        "path that is no list",
        (("bench.toml", 'meter_at_stack = ["104"]', 'meter_at_stack = "104"'),),
        (
            (
                "bench.toml:34: paths.meter_at_stack: expected a non-empty list of non-empty "
                'texts, got "104"'
            ),
        ),
    ),
    Case(
        "empty path",
        (("bench.toml", '["102"]', "[]"),),
        (
            (
                "bench.toml:33: paths.meter_at_cell[1]: expected a non-empty list of non-empty "
                "texts, got []"
            ),
        ),
    ),
    Case(
        "sync byte too large",
        (("board-binary.toml", "sync = [0xA5, 0x5A]", "sync = [0xA5, 0x15A]"),),
        (("board-binary.toml:31: frame.sync[1]: expected a whole number from 0 to 255, got 346"),),
        board="board-binary.toml",
    ),
)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_bad_values_are_told(case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The edited files give exactly these faults."""
    assert case.gives == faults_of(case, tmp_path, monkeypatch)
