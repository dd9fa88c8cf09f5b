"""Each verdict and each kind of trouble ends with its own exit code.

The others: 0 in `test_scenario_terminal`, 1 in `test_scenario_demo`, 6 in
`test_scenario_rehearse`, 4 for a killed run in `test_scenario_stopped`, 2 in
`test_scenario_bad_input`.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from command_line import FIXTURES, ROOT, SERIES, described_by, edited, tapproof
from shared_runs import SPREADSHEET, SPREADSHEET_PLAN, Imported

LIBRARY = ROOT / "harness" / "descriptions" / "library"


@pytest.mark.parametrize(
    ("limit_volts", "code", "verdict"),
    # The worst error of the table is 6.8 mV with U 0.54 mV: inside 7 mV but not by U, outside
    # 6.5 mV but not by U.
    [(0.007, 5, "conditional pass"), (0.0065, 1, "conditional fail")],
    ids=["pass", "fail"],
)
def test_conditional_verdicts(
    limit_volts: float, code: int, verdict: str, imported_results: Path, tmp_path: Path
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(f"{SPREADSHEET_PLAN}[limits]\ncell_error_volts = {limit_volts}\n")
    said = tapproof("judge", "latest", "--plan", plan, "--results", imported_results, "--json")
    told = json.loads(said.out)
    assert (code, code, verdict) == (said.code, told["exit_code"], told["verdict"])


def test_a_meter_that_is_too_poor_decides_nothing(imported: Imported, tmp_path: Path) -> None:
    """An invented meter good to 3000 ppm of reading cannot judge 5 mV at 3.65 V: TUR < 1."""
    text = (LIBRARY / "generic-meter-6digit.toml").read_text(encoding="utf-8")
    poor = re.sub(r"ppm_of_reading = [\d.]+", "ppm_of_reading = 3000.0", text)
    (tmp_path / "poor-meter.toml").write_text(poor)
    bench = edited(SERIES, tmp_path, ('"generic-meter-6digit"', '"poor-meter.toml"'))
    setup = described_by(bench=bench, plan=Path(imported.plan))
    said = tapproof("import", SPREADSHEET, *setup, "--results", tmp_path / "r")
    assert (3, True) == (said.code, said.lines[0].startswith("CANNOT DECIDE"))


def test_an_output_that_stays_on_says_switch_off_by_hand(tmp_path: Path) -> None:
    faults = FIXTURES / "faults" / "supply-stuck-on.toml"
    said = tapproof(
        "rehearse", *described_by(), "--faults", faults, "--speed", 8, "--results", tmp_path
    )
    assert (7, True) == (said.code, "switch off by hand" in said.err.lower())


def test_an_absent_bench_aborts(tmp_path: Path) -> None:
    """`tapproof run` where nothing listens: the instrument is named as in the bench file."""
    bench = edited(SERIES, tmp_path, ("127.0.0.1::502", "127.0.0.1::1502"))
    said = tapproof("run", *described_by(bench=bench), "--results", tmp_path / "r", "--json")
    told = json.loads(said.out)
    assert (4, 4) == (said.code, told["exit_code"])
    assert told["error"].startswith("relays (TCPIP::127.0.0.1::15028::SOCKET): opening: expected")
    assert told["error"].endswith("check power, cable and the resource in the bench file")
    assert told["notes"][1].startswith("    tapproof show ")
