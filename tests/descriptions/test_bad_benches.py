"""Benches that contradict themselves or what they name: wiring, ceilings, paths."""

from __future__ import annotations

from pathlib import Path

import pytest
from description_cases import Case, faults_of

CASES = (
    Case(
        "resource used twice",
        (("bench.toml", "5026", "5025"),),
        (
            (
                'bench.toml:10: instruments.meter.resource: expected a resource that "supply" '
                'does not have, got "TCPIP::127.0.0.1::5025::SOCKET"'
            ),
        ),
    ),
    Case(
        "second meter",
        (
            (
                "bench.toml",
                "[wiring]",
                (
                    '[instruments.spare]\nrole = "meter"\nresource = "GPIB::7::INSTR"\n'
                    'model = "meter.toml"\n\n[wiring]'
                ),
            ),
        ),
        (
            (
                "bench.toml:27: instruments.spare.role: expected one meter on a bench, "
                '"meter", got a second meter'
            ),
        ),
    ),
    Case(
        "due before calibrated",
        (("bench.toml", "due = 2027-03-02", "due = 2025-03-02"),),
        (
            (
                "bench.toml:13: instruments.meter.due: expected a date after calibrated, "
                "2026-03-02, got 2025-03-02"
            ),
        ),
    ),
    Case(
        "supply that is no supply",
        (("bench.toml", 'supply = "supply"', 'supply = "meter"'),),
        (('bench.toml:29: wiring.supply: expected the name of a supply, "supply", got "meter"'),),
    ),
    Case(
        "supply nearly named",
        (("bench.toml", 'supply = "supply"', 'supply = "suply"'),),
        (
            (
                'bench.toml:29: wiring.supply: expected the name of a supply, "supply", got '
                '"suply"; did you mean "supply"?'
            ),
        ),
    ),
    Case(
        "fewer channels than cells",
        (("bench.toml", "channels = [1, 2, 3]", "channels = [1, 2]"),),
        ("bench.toml:30: wiring.channels: expected 3 channels, one a cell, got 2",),
    ),
    Case(
        "channel twice",
        (("bench.toml", "channels = [1, 2, 3]", "channels = [1, 2, 2]"),),
        ("bench.toml:30: wiring.channels[2]: expected every channel once, got 2 again",),
    ),
    Case(
        "channel the supply lacks",
        (("bench.toml", "channels = [1, 2, 3]", "channels = [1, 2, 4]"),),
        (
            (
                "bench.toml:30: wiring.channels[2]: expected a channel of Test supply, which "
                "has 3 channels, got 4"
            ),
        ),
    ),
    Case(
        "ladder with two channels",
        (("bench-ladder.toml", "channels = [1]", "channels = [1, 2]"),),
        (
            (
                "bench-ladder.toml:22: wiring.channels: expected 1 channel, across the whole "
                "ladder, got 2"
            ),
            (
                "bench-ladder.toml:22: wiring.channels[1]: expected a channel of Ladder "
                "supply, which has 1 channel, got 2"
            ),
        ),
        bench="bench-ladder.toml",
    ),
    Case(
        "ladder without rungs",
        (("bench-ladder.toml", "rung_ohms = 100.0\n", ""),),
        (
            (
                "bench-ladder.toml:18: wiring.rung_ohms: expected the resistance of a rung in "
                "ohms, got nothing"
            ),
        ),
        bench="bench-ladder.toml",
    ),
    Case(
        "shunts without a ratio",
        (("bench-ladder.toml", "rung_shunt_ratio = 9.0\n", ""),),
        (
            (
                "bench-ladder.toml:18: wiring.rung_shunt_ratio: expected the resistance of a "
                "shunt in rungs, for paths.rung_shunt, got nothing"
            ),
        ),
        bench="bench-ladder.toml",
    ),
    Case(
        "ratio without shunts",
        (("bench-ladder.toml", 'rung_shunt = [["111"], ["112"], ["113"]]\n', ""),),
        (
            (
                "bench-ladder.toml:26: paths.rung_shunt: expected 3 paths, for "
                "wiring.rung_shunt_ratio, got nothing"
            ),
        ),
        bench="bench-ladder.toml",
    ),
    Case(
        "rungs on a series bench",
        (("bench.toml", "cells = 3", "cells = 3\nrung_ohms = 100.0"),),
        ("bench.toml:29: wiring.rung_ohms: expected no rungs on a series bench, got 100.0",),
    ),
    Case(
        "hazardous voltage undeclared",
        (("bench.toml", "total_volts = 15.0", "total_volts = 75.0"),),
        (
            (
                "bench.toml:41: ceilings.total_volts: expected at most 60 V without "
                "hazardous_voltage_declared = true, got 75.0"
            ),
        ),
    ),
    Case(
        "cell ceiling above the total",
        (("bench.toml", "cell_volts = 4.2", "cell_volts = 16.0"),),
        (
            (
                "bench.toml:40: ceilings.cell_volts: expected at most the highest over-voltage "
                "protection of Test supply, 6.6 V, got 16 V"
            ),
            "bench.toml:40: ceilings.cell_volts: expected at most total_volts, 15 V, got 16.0",
        ),
    ),
    Case(
        "off above the total",
        (("bench.toml", "channel_amperes = 0.1", "off_volts = 20.0"),),
        (("bench.toml:42: ceilings.off_volts: expected less than total_volts, 15 V, got 20.0"),),
    ),
    Case(
        "path too few",
        (("bench.toml", '[["101"], ["102"], ["103"]]', '[["101"], ["102"]]'),),
        ("bench.toml:33: paths.meter_at_cell: expected 3 paths, one a cell, got 2",),
    ),
    Case(
        "thermistor path too few",
        (("bench.toml", '[["106"], ["107"]]', '[["106"]]'),),
        (
            (
                "bench.toml:36: paths.decade_at_thermistor: expected 2 paths, one a thermistor "
                "of board Heron, got 1"
            ),
        ),
    ),
    Case(
        "path to a meter that is not there",
        (
            (
                "bench-ladder.toml",
                (
                    '[instruments.meter]\nrole = "meter"\n'
                    'resource = "TCPIP::127.0.0.1::5026::SOCKET"\nmodel = "meter.toml"\n'
                ),
                "",
            ),
        ),
        (
            (
                "bench-ladder.toml:23: paths.meter_at_cell: expected a meter among the "
                "instruments for it, got none"
            ),
        ),
        bench="bench-ladder.toml",
    ),
    Case(
        "relay no card has",
        (("bench.toml", 'meter_at_stack = ["104"]', 'meter_at_stack = ["1004"]'),),
        (
            (
                "bench.toml:34: paths.meter_at_stack[0]: expected a relay of relays, got "
                '"1004"; did you mean "104"?'
            ),
        ),
    ),
    Case(
        "relays without a card",
        (
            (
                "bench-ladder.toml",
                (
                    '[instruments.relays]\nrole = "switch"\n'
                    'resource = "TCPIP::127.0.0.1::5028::SOCKET"\nmodel = "relays.toml"\n'
                ),
                "",
            ),
            (
                "bench-ladder.toml",
                (
                    'meter_at_cell = [["101"], ["102"], ["103"]]\n'
                    'rung_shunt = [["111"], ["112"], ["113"]]'
                ),
                'meter_at_stack = ["101"]',
            ),
            ("bench-ladder.toml", "rung_shunt_ratio = 9.0\n", ""),
        ),
        (
            (
                "bench-ladder.toml:22: paths.meter_at_stack[0]: expected a relay card among "
                'the instruments, got "101"'
            ),
        ),
        bench="bench-ladder.toml",
    ),
    Case(
        "plain relay with two cards",
        (
            (
                "bench-ladder.toml",
                "[wiring]",
                (
                    '[instruments.upper]\nrole = "switch"\nresource = "GPIB::9::INSTR"\n'
                    'model = "relays.toml"\n\n[wiring]'
                ),
            ),
            (
                "bench-ladder.toml",
                '["101"], ["102"], ["103"]',
                '["relays:101"], ["upper:102"], ["103"]',
            ),
            (
                "bench-ladder.toml",
                '["111"], ["112"], ["113"]',
                '["relays:111"], ["relays:112"], ["upper:999"]',
            ),
        ),
        (
            (
                'bench-ladder.toml:32: paths.meter_at_cell[2][0]: expected "instrument:relay" '
                'with a relay of relays, upper, got "103"'
            ),
            (
                'bench-ladder.toml:33: paths.rung_shunt[2][0]: expected "instrument:relay" '
                'with a relay of relays, upper, got "upper:999"'
            ),
        ),
        bench="bench-ladder.toml",
    ),
    Case(
        "path against its own interlock",
        (("bench.toml", 'meter_at_stack = ["104"]', 'meter_at_stack = ["104", "101"]'),),
        (
            (
                "bench.toml:34: paths.meter_at_stack: expected at most one relay of "
                'never_together[0], got "104" and "101"'
            ),
        ),
    ),
    Case(
        "interlock of one relay",
        (("bench.toml", '["106", "107"]]', '["106"]]'),),
        ('bench.toml:37: paths.never_together[1]: expected at least 2 relays, got ["106"]',),
    ),
    Case(
        "contacts below the stack",
        (("relays.toml", "contact_rating_volts = 100.0", "contact_rating_volts = 10.0"),),
        (
            (
                "bench.toml:24: instruments.relays.model: expected contacts rated for the "
                "stack's ceiling, 12.6 V, got 10 V"
            ),
        ),
    ),
    Case(
        "protection the supply lacks",
        (("bench.toml", "cell_volts = 4.2\n", "cell_volts = 7.0\n"),),
        (
            (
                "bench.toml:40: ceilings.cell_volts: expected at most the highest over-voltage "
                "protection of Test supply, 6.6 V, got 7 V"
            ),
        ),
    ),
    Case(
        "current the supply lacks",
        (("bench.toml", "channel_amperes = 0.1", "channel_amperes = 0.6"),),
        (
            (
                "bench.toml:42: ceilings.channel_amperes: expected at most the highest current "
                "of Test supply, 0.5 A, got 0.6"
            ),
        ),
    ),
    Case(
        "shunts on a series bench",
        (
            (
                "bench.toml",
                "decade_at_thermistor",
                'rung_shunt = [["111"], ["112"], ["113"]]\ndecade_at_thermistor',
            ),
        ),
        (("bench.toml:36: paths.rung_shunt: expected no rungs on a series bench, got 3 paths"),),
    ),
    Case(
        "pattern above what the supply reaches",
        (
            ("plan.toml", "spacing_volts = 0.1", "spacing_volts = 0.7"),
            ("supply.toml", "highest_volts = 6.0", "highest_volts = 3.7"),
        ),
        (
            (
                "plan.toml:14: check[0].spacing_volts: expected at most what Test supply "
                "reaches, 3.7 V, got 3.9 V with 0.7"
            ),
        ),
    ),
)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_bad_benches_are_told(case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The edited files give exactly these faults."""
    assert case.gives == faults_of(case, tmp_path, monkeypatch)
