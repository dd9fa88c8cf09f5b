"""Faults that show only when files are read together, and several faults at once."""

from __future__ import annotations

from pathlib import Path

import pytest
from description_cases import Case, faults_of

CASES = (
    Case(
        "bench and board of different cells",
        (
            ("board.toml", "cells = 3", "cells = 2"),
            ("board.toml", "channels = [1, 3]", "channels = [1, 2]"),
            ("plan.toml", "cells = [1, 2, 3]", "cells = [1, 2]"),
        ),
        ("bench.toml:28: wiring.cells: expected the 2 cells of board Heron, got 3",),
    ),
    Case(
        "cell 13 of a 3-cell board",
        (("plan.toml", "cells = [1, 2, 3]", "cells = [1, 2, 13]"),),
        ("plan.toml:20: check[1].cells[2]: expected a cell of a board with 3 cells, got 13",),
    ),
    Case(
        "thermistor 3 of a 2-thermistor board",
        (("plan.toml", "thermistors = [1, 2]", "thermistors = [3]"),),
        (
            (
                "plan.toml:33: check[4].thermistors[0]: expected a thermistor of a board with "
                "2 thermistors, got 3"
            ),
        ),
    ),
    Case(
        "no cell chosen",
        (("plan.toml", "cells = [1, 2, 3]", "cells = []"),),
        (
            (
                "plan.toml:20: check[1].cells: expected at least one of the cells, or no such "
                "key for all, got []"
            ),
        ),
    ),
    Case(
        "cell chosen twice",
        (("plan.toml", "cells = [1, 2, 3]", "cells = [1, 2, 2]"),),
        ("plan.toml:20: check[1].cells[2]: expected each of the cells once, got 2 again",),
    ),
    Case(
        "point outside the board's range",
        (("plan.toml", "[2.5, 2.8,", "[1.5, 2.8,"),),
        (
            (
                "plan.toml:18: check[1].points_volts[0]: expected a voltage in the board's "
                "range, 1.8 V to 4.2 V, got 1.5"
            ),
        ),
    ),
    Case(
        "points not rising",
        (("plan.toml", "3.4, 3.65]", "3.4, 3.1]"),),
        (
            (
                "plan.toml:18: check[1].points_volts[4]: expected points that rise, above 3.4 "
                "V, got 3.1"
            ),
        ),
    ),
    Case(
        "point above the cell ceiling",
        (("bench.toml", "cell_volts = 4.2", "cell_volts = 3.6"),),
        (
            (
                "plan.toml:18: check[1].points_volts[4]: expected at most the cell ceiling, "
                "3.6 V, got 3.65"
            ),
        ),
    ),
    Case(
        "stack above the total ceiling",
        (("bench.toml", "total_volts = 15.0", "total_volts = 10.0"),),
        (
            (
                "plan.toml:16: check[1]: expected at most the total ceiling, 10 V, got 10.95 V "
                "over 3 cells"
            ),
        ),
    ),
    Case(
        "pattern outside the board's range",
        (("plan.toml", "spacing_volts = 0.1", "spacing_volts = 1.2"),),
        (
            (
                "plan.toml:14: check[0].spacing_volts: expected a voltage in the board's "
                "range, 1.8 V to 4.2 V, got 4.4 V with 1.2"
            ),
            (
                "plan.toml:14: check[0].spacing_volts: expected at most the cell ceiling, 4.2 "
                "V, got 4.4 V with 1.2"
            ),
        ),
    ),
    Case(
        "pattern too fine to tell cells",
        (("plan.toml", "spacing_volts = 0.1", "spacing_volts = 0.01"),),
        (
            (
                "plan.toml:14: check[0].spacing_volts: expected more than 2 cell limits, 0.01 "
                "V, got 0.01"
            ),
        ),
    ),
    Case(
        "stack check without a stack field",
        (("board.toml", 'quantity = "stack_voltage"', 'quantity = "uptime"'),),
        (
            (
                "plan.toml:23: check[2].kind: expected a check this board's frames allow, got "
                '"stack-total" without a stack_voltage field'
            ),
        ),
    ),
    Case(
        "thermistor check without thermistors",
        (
            (
                "board.toml",
                (
                    '[[thermistors]]\nname = "left"\ncurve = "curve.toml"\n\n'
                    '[[thermistors]]\nname = "right"\ncurve = "curve.toml"\n\n'
                ),
                "",
            ),
            (
                "board.toml",
                (
                    '[[frame.fields]]\nquantity = "temperature"\nchannels = [1, 2]\n\n'
                    '[[frame.fields]]\nquantity = "thermistor_open"\nchannels = [1, 2]\n'
                    'bit = 0\n\n[[frame.fields]]\nquantity = "thermistor_short"\n'
                    "channels = [1, 2]\nbit = 0\n"
                ),
                "",
            ),
            ("plan.toml", "thermistors = [1, 2]\n", ""),
            (
                "plan.toml",
                'kind = "thermistor-open-short"',
                'kind = "thermistor-open-short"\noptional = true',
            ),
        ),
        (
            (
                "plan.toml:31: check[4].kind: expected a check for a board without "
                'thermistors, got "thermistor-accuracy"'
            ),
        ),
    ),
    Case(
        "thermistor faults the board cannot tell",
        (
            (
                "board.toml",
                (
                    'quantity = "thermistor_open"\nchannels = [1, 2]\nbit = 0\n\n'
                    '[[frame.fields]]\nquantity = "thermistor_short"\nchannels = [1, 2]\n'
                    "bit = 0"
                ),
                'quantity = "uptime"',
            ),
        ),
        (
            (
                "plan.toml:36: check[5].kind: expected a check this board can answer, got "
                '"thermistor-open-short" without a thermistor_open field (or '
                "open_reads_celsius) and a thermistor_short field (or short_reads_celsius)"
            ),
        ),
    ),
    Case(
        "temperature off the curve",
        (("plan.toml", "points_celsius = [-10.0,", "points_celsius = [-60.0,"),),
        (
            (
                "plan.toml:32: check[4].points_celsius[0]: expected a temperature on the curve "
                "of thermistors 1 and 2, -40 degC to 125 degC, got -60.0"
            ),
        ),
    ),
    Case(
        "resistance the decade lacks",
        (("decade.toml", "highest_ohms = 1000000.0", "highest_ohms = 40000.0"),),
        (
            (
                "plan.toml:32: check[4].points_celsius[0]: expected a temperature that Test "
                "decade can set, 1 to 40000 ohm, got -10.0, 58951.5 ohm at thermistors 1 and 2"
            ),
        ),
    ),
    Case(
        "resistance the meter lacks",
        (("meter.toml", "range_value = 100000.0", "range_value = 10000.0"),),
        (
            (
                "plan.toml:32: check[4].points_celsius[0]: expected a resistance that Test "
                "meter measures, up to 10000 ohm, got -10.0, 58951.5 ohm at thermistors 1 and 2"
            ),
            (
                "plan.toml:32: check[4].points_celsius[1]: expected a resistance that Test "
                "meter measures, up to 10000 ohm, got 0.0, 33900.4 ohm at thermistors 1 and 2"
            ),
        ),
    ),
    Case(
        "integration time the meter lacks",
        (("plan.toml", "power_line_cycles = 1.0", "power_line_cycles = 5.0"),),
        (
            (
                "plan.toml:9: effort.power_line_cycles: expected an integration time of Test "
                "meter, 1 or 10, got 5.0"
            ),
        ),
    ),
    Case(
        "most frames below frames",
        (("plan.toml", "frames = 5", "frames = 5\nmost_frames = 3"),),
        ("plan.toml:9: effort.most_frames: expected at least frames, 5, got 3",),
    ),
    Case(
        "voltage the supply lacks",
        (("supply.toml", "highest_volts = 6.0", "highest_volts = 3.5"),),
        (
            (
                "plan.toml:18: check[1].points_volts[4]: expected at most what Test supply "
                "reaches, 3.5 V, got 3.65"
            ),
        ),
    ),
    Case(
        "ladder voltage the supply lacks",
        (("supply-ladder.toml", "highest_volts = 20.0", "highest_volts = 10.0"),),
        (
            (
                "plan.toml:18: check[1].points_volts[3]: expected at most what Ladder supply "
                "reaches, 10 V, got 3.4, 10.2 V over the ladder"
            ),
            (
                "plan.toml:18: check[1].points_volts[4]: expected at most what Ladder supply "
                "reaches, 10 V, got 3.65, 10.95 V over the ladder"
            ),
        ),
        bench="bench-ladder.toml",
    ),
    Case(
        "stack beyond the meter",
        (
            ("meter.toml", "range_value = 100.0", "range_value = 9.0"),
            ("plan.toml", "points_volts = [2.5, 3.3]", "points_volts = [2.5, 3.6]"),
        ),
        (
            (
                "plan.toml:22: check[2]: expected a stack within the highest range of Test "
                "meter, 10 V, got 10.8 V"
            ),
        ),
    ),
    Case(
        "cells beyond the meter",
        (
            ("meter.toml", "range_value = 100.0", "range_value = 3.0"),
            ("meter.toml", "range_value = 10.0", "range_value = 2.6"),
        ),
        (
            (
                "plan.toml:13: check[0].base_volts: expected at most the highest range of Test "
                "meter, 3 V, got 3.2"
            ),
            (
                "plan.toml:14: check[0].spacing_volts: expected at most the highest range of "
                "Test meter, 3 V, got 3.1 V with 0.1"
            ),
            (
                "plan.toml:14: check[0].spacing_volts: expected at most the highest range of "
                "Test meter, 3 V, got 3.3 V with 0.1"
            ),
            (
                "plan.toml:18: check[1].points_volts[2]: expected at most the highest range of "
                "Test meter, 3 V, got 3.1"
            ),
            (
                "plan.toml:18: check[1].points_volts[3]: expected at most the highest range of "
                "Test meter, 3 V, got 3.4"
            ),
            (
                "plan.toml:18: check[1].points_volts[4]: expected at most the highest range of "
                "Test meter, 3 V, got 3.65"
            ),
            (
                "plan.toml:22: check[2]: expected a stack within the highest range of Test "
                "meter, 3 V, got 9.9 V"
            ),
            (
                "plan.toml:24: check[2].points_volts[1]: expected at most the highest range of "
                "Test meter, 3 V, got 3.3"
            ),
        ),
    ),
    Case(
        "ladder current above the limit",
        (("bench-ladder.toml", "rung_ohms = 100.0", "rung_ohms = 30.0"),),
        (
            (
                "bench-ladder.toml:30: ceilings.channel_amperes: expected at least 0.131667 A, "
                "which ladder and board draw at 10.95 V, got 0.1"
            ),
        ),
        bench="bench-ladder.toml",
    ),
    Case(
        "several faults of one file",
        (
            ("board.toml", "refresh_seconds = 0.05", 'refresh_second = "fast"'),
            ("board.toml", "noise_volts = 0.001", "noise_volts = -1"),
            ("board.toml", "baud = 115200", "baud = 0\nport_speed = 3"),
        ),
        (
            "board.toml:1: refresh_seconds: expected a number of seconds above 0, got nothing",
            (
                'board.toml:3: refresh_second: expected a known key, got "refresh_second"; did '
                'you mean "refresh_seconds"?'
            ),
            "board.toml:8: limits.noise_volts: expected a number of volts above 0, got -1",
            "board.toml:27: serial.baud: expected a whole number, at least 1, got 0",
            (
                'board.toml:28: serial.port_speed: expected a known key, got "port_speed"; '
                "known keys are port, baud, parity, stop_bits, modem_lines"
            ),
        ),
    ),
    Case(
        "faults of several files",
        (
            ("bench.toml", "cells = 3", "cells = 4"),
            ("board.toml", "scale = 0.001", "scale = 0.0"),
            ("plan.toml", "cells = [1, 2, 3]", "cells = [1, 2, 13]"),
            ("curve.toml", "beta_kelvin = 3977.0", "beta_kelvin = -1.0"),
            ("meter.toml", "noise_ppm_of_range = 0.7", "noise_ppm = 0.7"),
        ),
        (
            "bench.toml:28: wiring.cells: expected the 3 cells of board Heron, got 4",
            "bench.toml:30: wiring.channels: expected 4 channels, one a cell, got 3",
            "bench.toml:33: paths.meter_at_cell: expected 4 paths, one a cell, got 3",
            "board.toml:39: frame.fields[1].scale: expected a number other than 0, got 0.0",
            "curve.toml:8: curve.beta_kelvin: expected a number of kelvin above 0, got -1.0",
            (
                "meter.toml:20: integration[0].noise_ppm_of_range: expected a number of parts "
                "per million of range, at least 0, got nothing"
            ),
            (
                "meter.toml:23: integration[0].noise_ppm: expected a known key, got "
                '"noise_ppm"; did you mean "noise_ppm_of_range"?'
            ),
            "plan.toml:20: check[1].cells[2]: expected a cell of a board with 3 cells, got 13",
        ),
    ),
)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_bad_crossings_are_told(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The edited files give exactly these faults."""
    assert case.gives == faults_of(case, tmp_path, monkeypatch)
