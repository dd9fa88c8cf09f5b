"""Instrument models and curves: named wrongly, of the wrong kind, contradicting themselves."""

from __future__ import annotations

from pathlib import Path

import pytest
from description_cases import Case, faults_of

CASES = (
    Case(
        "model file that is not there",
        (("bench.toml", 'model = "meter.toml"', 'model = "metre.toml"'),),
        (
            (
                "bench.toml:11: instruments.meter.model: expected the file of an instrument "
                'model or a name of the library, got "metre.toml"; looked for metre.toml'
            ),
        ),
    ),
    Case(
        "model name near one of the library",
        (("bench.toml", 'model = "meter.toml"', 'model = "generic-meter-6digits"'),),
        (
            (
                "bench.toml:11: instruments.meter.model: expected the file of an instrument "
                'model or a name of the library, got "generic-meter-6digits"; did you mean '
                '"generic-meter-6digit"?'
            ),
        ),
    ),
    Case(
        "model name without ending",
        (("bench.toml", 'model = "meter.toml"', 'model = "bicycle"'),),
        (
            (
                "bench.toml:11: instruments.meter.model: expected the file of an instrument "
                'model or a name of the library, got "bicycle"; a file needs its ending, .toml'
            ),
        ),
    ),
    Case(
        "curve file that is not there",
        (("board.toml", 'curve = "curve.toml"', 'curve = "../curves/none.toml"'),),
        (
            (
                "board.toml:19: thermistors[0].curve: expected the file of a thermistor curve "
                'or a name of the library, got "../curves/none.toml"; looked for '
                "../curves/none.toml"
            ),
        ),
    ),
    Case(
        "model of another role",
        (("bench.toml", 'model = "meter.toml"', 'model = "decade.toml"'),),
        (
            (
                "bench.toml:11: instruments.meter.model: expected a model of a meter, got "
                '"decade.toml", a decade'
            ),
        ),
    ),
    Case(
        "column the model lacks",
        (("bench.toml", 'column = "1y"', 'column = "24h"'),),
        (
            (
                "bench.toml:14: instruments.meter.column: expected a column that every range "
                'of Test meter has, "90d" or "1y", got "24h"'
            ),
        ),
    ),
    Case(
        "identity that is no pattern",
        (("meter.toml", 'identity = "test-meter"', 'identity = "test-meter("'),),
        (
            (
                'meter.toml:3: identity: expected a regular expression, got "test-meter(" '
                "(missing ), unterminated subpattern)"
            ),
        ),
    ),
    Case(
        "command with an unknown hole",
        (("supply.toml", '"VOLT {volts}"', '"VOLT {voltage}"'),),
        (
            (
                "supply.toml:10: commands.set_voltage: expected a command with no holes but "
                '{channel}, {volts} or {amperes}, got "VOLT {voltage}"'
            ),
        ),
    ),
    Case(
        "command without its hole",
        (("supply.toml", '"VOLT {volts}"', '"VOLT 3.3"'),),
        (
            (
                "supply.toml:10: commands.set_voltage: expected a command with {volts}, got "
                '"VOLT 3.3"'
            ),
        ),
    ),
    Case(
        "command with open braces",
        (("supply.toml", '"VOLT {volts}"', '"VOLT {volts"'),),
        (
            (
                "supply.toml:10: commands.set_voltage: expected a command with no holes but "
                '{channel}, {volts} or {amperes}, got "VOLT {volts"'
            ),
        ),
    ),
    Case(
        "several channels and no select",
        (("supply.toml", "[commands]", '[commands]\nselect = ""'),),
        (
            (
                "supply.toml:10: commands.select: expected a command with {channel} for 3 "
                'channels, got ""'
            ),
        ),
    ),
    Case(
        "protection below the output",
        (("supply.toml", "highest_protection_volts = 6.6", "highest_protection_volts = 5.5"),),
        (
            (
                "supply.toml:7: highest_protection_volts: expected at least highest_volts, 6 "
                "V, got 5.5"
            ),
        ),
    ),
    Case(
        "relay twice on a card",
        (("relays.toml", '"111", "112"', '"111", "111"'),),
        ('relays.toml:6: relays[8]: expected every relay once, got "111" again',),
    ),
    Case(
        "meter range twice",
        (("meter.toml", "range_value = 100.0", "range_value = 10.0"),),
        (
            (
                "meter.toml:11: voltage_ranges[1].range_value: expected every range once, got "
                "10.0 again"
            ),
        ),
    ),
    Case(
        "decade bounds reversed",
        (("decade.toml", "lowest_ohms = 1.0", "lowest_ohms = 2000000.0"),),
        (
            (
                "decade.toml:4: lowest_ohms: expected less than highest_ohms, 1000000 ohm, got "
                "2000000.0"
            ),
        ),
    ),
    Case(
        "curve bounds reversed",
        (("curve.toml", "lowest_celsius = -40.0", "lowest_celsius = 130.0"),),
        (
            (
                "curve.toml:2: lowest_celsius: expected less than highest_celsius, 125 degC, "
                "got 130.0"
            ),
        ),
    ),
    Case(
        "curve below absolute zero",
        (("curve.toml", "lowest_celsius = -40.0", "lowest_celsius = -300.0"),),
        ("curve.toml:2: lowest_celsius: expected more than -273.15 degC, got -300.0",),
    ),
    Case(
        "curve table not rising",
        (
            ("board.toml", '"curve.toml"', '"curve-table.toml"'),
            ("curve-table.toml", "25.0, 60.0", "25.0, 20.0"),
        ),
        (
            (
                "curve-table.toml:7: curve.celsius[3]: expected temperatures that rise, above "
                "25 degC, got 20.0"
            ),
        ),
    ),
    Case(
        "curve table not falling",
        (
            ("board.toml", '"curve.toml"', '"curve-table.toml"'),
            ("curve-table.toml", "10000.0, 2500.0", "10000.0, 25000.0"),
        ),
        (
            (
                "curve-table.toml:8: curve.ohms[3]: expected resistances that fall, below "
                "10000 ohm, got 25000.0"
            ),
        ),
    ),
    Case(
        "curve table of unequal lengths",
        (
            ("board.toml", '"curve.toml"', '"curve-table.toml"'),
            ("curve-table.toml", ", 1070.0", ""),
        ),
        ("curve-table.toml:8: curve.ohms: expected 5 resistances, one a temperature, got 4",),
    ),
    Case(
        "curve wider than its table",
        (
            ("board.toml", '"curve.toml"', '"curve-table.toml"'),
            ("curve-table.toml", "highest_celsius = 85.0", "highest_celsius = 125.0"),
        ),
        (
            (
                "curve-table.toml:3: highest_celsius: expected at most 85 degC, the table's "
                "last row, got 125.0"
            ),
        ),
    ),
    Case(
        "curve coefficients of no curve",
        (
            ("board.toml", '"curve.toml"', '"curve-steinhart.toml"'),
            ("curve-steinhart.toml", "c = 2.332730e-08", "c = -2.332730e-04"),
        ),
        (
            (
                "curve-steinhart.toml:5: curve: expected coefficients whose resistance falls "
                "from -40 degC to 125 degC, got nan ohm and nan ohm"
            ),
        ),
    ),
    Case(
        "curve table below absolute zero",
        (
            ("board.toml", '"curve.toml"', '"curve-table.toml"'),
            ("curve-table.toml", "[-20.0", "[-300.0"),
        ),
        (("curve-table.toml:7: curve.celsius[0]: expected more than -273.15 degC, got -300.0"),),
    ),
    Case(
        "beta reference below absolute zero",
        (
            (
                "curve.toml",
                "beta_kelvin = 3977.0",
                "beta_kelvin = 3977.0\nreference_celsius = -300.0",
            ),
        ),
        (("curve.toml:9: curve.reference_celsius: expected more than -273.15 degC, got -300.0"),),
    ),
    Case(
        "integration time twice",
        (("meter.toml", "power_line_cycles = 10.0", "power_line_cycles = 1.0"),),
        (
            (
                "meter.toml:26: integration[1].power_line_cycles: expected every integration "
                "time once, got 1.0 again"
            ),
        ),
    ),
)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_bad_models_are_told(case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The edited files give exactly these faults."""
    assert case.gives == faults_of(case, tmp_path, monkeypatch)
