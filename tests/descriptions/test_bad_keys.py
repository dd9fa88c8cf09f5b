"""Missing, unknown and repeated keys and tables, unknown kinds, text that is no TOML."""

from __future__ import annotations

from pathlib import Path

import pytest
from description_cases import Case, faults_of

CASES = (
    Case(
        "missing key",
        (("board.toml", "noise_volts = 0.001\n", ""),),
        (("board.toml:5: limits.noise_volts: expected a number of volts above 0, got nothing"),),
    ),
    Case(
        "missing key at the top",
        (("board.toml", 'name = "Heron"\n', ""),),
        ("board.toml:1: name: expected a non-empty text, got nothing",),
    ),
    Case(
        "missing table",
        (("board.toml", '[serial]\nport = "socket://127.0.0.1:5030"\nbaud = 115200\n', ""),),
        ("board.toml:1: serial: expected a table, got nothing",),
    ),
    Case(
        "missing key in an array of tables",
        (("board.toml", 'name = "right"\n', ""),),
        ("board.toml:21: thermistors[1].name: expected a non-empty text, got nothing",),
    ),
    Case(
        "unknown key near a known one",
        (
            (
                "board.toml",
                "refresh_seconds = 0.05",
                "refresh_seconds = 0.05\nrefresh_second = 0.05",
            ),
        ),
        (
            (
                'board.toml:4: refresh_second: expected a known key, got "refresh_second"; did '
                'you mean "refresh_seconds"?'
            ),
        ),
    ),
    Case(
        "unknown key near none",
        (("plan.toml", "frames = 5", "frames = 5\ncolour = 3"),),
        (
            (
                'plan.toml:9: effort.colour: expected a known key, got "colour"; known keys '
                "are frames, most_frames, readings, power_line_cycles, target_uncertainty_volts"
            ),
        ),
    ),
    Case(
        "unknown table near a known one",
        (("bench.toml", "[ceilings]", "[ceiling]"),),
        (
            (
                'bench.toml:39: ceiling: expected a known key, got "ceiling"; did you mean '
                '"ceilings"?'
            ),
        ),
    ),
    Case(
        "unknown kind of check",
        (("plan.toml", 'kind = "noise"', 'kind = "nois"'),),
        (
            (
                'plan.toml:27: check[3].kind: expected "cell-accuracy", "mapping", "noise", '
                '"stack-total", "thermistor-accuracy" or "thermistor-open-short", got "nois"; '
                'did you mean "noise"?'
            ),
        ),
    ),
    Case(
        "check without a kind",
        (("plan.toml", 'kind = "noise"\n', ""),),
        (
            (
                'plan.toml:26: check[3].kind: expected "cell-accuracy", "mapping", "noise", '
                '"stack-total", "thermistor-accuracy" or "thermistor-open-short", got nothing'
            ),
        ),
    ),
    Case(
        "key of another kind of check",
        (("plan.toml", 'kind = "noise"', 'kind = "noise"\npoints_volts = [3.0]'),),
        (
            (
                "plan.toml:28: check[3].points_volts: expected a known key, got "
                '"points_volts"; known keys are kind, optional, cell_volts, frames'
            ),
        ),
    ),
    Case(
        "no check",
        (
            (
                "plan.toml",
                (
                    '[[check]]\nkind = "mapping"\nbase_volts = 3.2\nspacing_volts = 0.1\n\n'
                    '[[check]]\nkind = "cell-accuracy"\n'
                    "points_volts = [2.5, 2.8, 3.1, 3.4, 3.65]\n"
                    'directions = ["up", "down"]\ncells = [1, 2, 3]\n\n[[check]]\n'
                    'kind = "stack-total"\npoints_volts = [2.5, 3.3]\n\n[[check]]\n'
                    'kind = "noise"\nframes = 64\n\n[[check]]\n'
                    'kind = "thermistor-accuracy"\n'
                    "points_celsius = [-10.0, 0.0, 25.0, 40.0, 60.0]\nthermistors = [1, 2]\n\n"
                    '[[check]]\nkind = "thermistor-open-short"\nreaction_seconds = 2.0\n'
                ),
                "",
            ),
            ("plan.toml", 'name = "Test plan"', 'name = "Test plan"\ncheck = []'),
        ),
        ("plan.toml:2: check: expected a non-empty list of tables, got []",),
    ),
    Case(
        "table that is a number",
        (
            ("plan.toml", '[decision]\nrule = "guard-band"\ncoverage_probability = 0.95\n', ""),
            ("plan.toml", 'name = "Test plan"', 'name = "Test plan"\ndecision = 3'),
        ),
        ("plan.toml:2: decision: expected a table, got 3",),
    ),
    Case(
        "unknown accuracy column",
        (("meter.toml", 'accuracy."90d"', 'accuracy."2y"'),),
        (
            (
                'meter.toml:7: voltage_ranges[0].accuracy.2y: expected a key out of "24h", '
                '"90d" or "1y", got "2y"'
            ),
        ),
    ),
    Case(
        "range without any column",
        (
            (
                "meter.toml",
                (
                    'accuracy."90d" = { ppm_of_reading = 25.0, ppm_of_range = 5.0 }\n'
                    'accuracy."1y" = { ppm_of_reading = 35.0, ppm_of_range = 5.0 }'
                ),
                "accuracy = {}",
            ),
        ),
        (
            (
                "meter.toml:7: voltage_ranges[0].accuracy: expected a table with at least 1 "
                "entry, got {}"
            ),
        ),
    ),
    Case(
        "unknown role of a model",
        (("meter.toml", 'role = "meter"', 'role = "metre"'),),
        (
            (
                'meter.toml:1: role: expected "decade", "meter", "supply" or "switch", got '
                '"metre"; did you mean "meter"?'
            ),
        ),
    ),
    Case(
        "unknown form of curve",
        (("curve.toml", 'form = "beta"', 'form = "betta"'),),
        (
            (
                'curve.toml:6: curve.form: expected "beta", "steinhart-hart" or "table", got '
                '"betta"; did you mean "beta"?'
            ),
        ),
    ),
    Case(
        "not TOML",
        (("board.toml", "cells = 3", "cells 3"),),
        (
            (
                "board.toml:2: expected valid TOML, got an error at column 7: expected '=' "
                "after a key in a key/value pair"
            ),
        ),
    ),
    Case(
        "value missing",
        (("board.toml", "cells = 3", "cells ="),),
        ("board.toml:2: expected valid TOML, got an error at column 8: invalid value",),
    ),
    Case(
        "key twice",
        (("board.toml", "cells = 3", "cells = 3\ncells = 4"),),
        ('board.toml:3: expected every key and table once, got "cells" again',),
    ),
    Case(
        "table twice",
        (("board.toml", "[serial]", "[serial]\n[limits]"),),
        ("board.toml:26: expected every key and table once, got [limits] again",),
    ),
    Case(
        "key twice in an inline table",
        (
            (
                "meter.toml",
                "{ ppm_of_reading = 25.0, ppm_of_range = 5.0 }",
                "{ ppm_of_range = 25.0, ppm_of_range = 5.0 }",
            ),
        ),
        ('meter.toml:7: expected every key and table once, got "ppm_of_range" again',),
    ),
)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_bad_keys_are_told(case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The edited files give exactly these faults."""
    assert case.gives == faults_of(case, tmp_path, monkeypatch)
