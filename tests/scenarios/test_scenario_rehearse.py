"""`tapproof rehearse`: the user's own plan on the twin of the user's own bench."""

from __future__ import annotations

import dataclasses
import json
import re
from pathlib import Path
from typing import Any

import pytest
from command_line import ACCEPTANCE, LADDER, Said, described_by, tapproof
from sharing import made_once

LACKING = "mapping: not run: this bench lacks individual cell set-points"
MAPPING_AND_SWEEP = """
name = "Mapping and sweep"
[effort]
frames = 3
power_line_cycles = 0.2
[[check]]
kind = "mapping"
[[check]]
kind = "cell-accuracy"
points_volts = [2.50, 2.80, 3.10, 3.40, 3.65]
directions = ["up"]
"""


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Said:
    """A plan with a mapping check on the ladder bench, which moves all cells together."""
    return Said(**made_once("ladder", tmp_path_factory, request.config, rehearse_ladder))


def rehearse_ladder(folder: Path) -> dict[str, Any]:
    """Run `tapproof rehearse` in `folder`."""
    plan = folder / "plan.toml"
    plan.write_text(MAPPING_AND_SWEEP)
    setup = described_by(bench=LADDER, plan=plan)
    results = folder / "results"
    said = tapproof("rehearse", *setup, "--speed", 8, "--results", results, "--json")
    return dataclasses.asdict(said)


def test_what_the_bench_cannot_do_is_told_before_and_while_it_runs(rehearsed: Said) -> None:
    """Under the figures, and where the check's turn comes; both are for people."""
    assert [f"  {LACKING}", LACKING] == [
        line for line in rehearsed.err.splitlines() if LACKING in line
    ]


def test_a_check_not_run_is_no_pass(rehearsed: Said) -> None:
    """Every number is inside its limits, and verdict and exit code still are those of not run."""
    told = json.loads(rehearsed.out)
    assert (6, 6, "not run") == (rehearsed.code, told["exit_code"], told["verdict"])
    assert [("mapping", "not run", 0), ("cell-accuracy", "pass", 60)] == [
        (check["check"], check["verdict"], len(check["findings"])) for check in told["checks"]
    ]


def test_a_run_as_json_is_one_object(rehearsed: Said) -> None:
    """With timing, figures and the report's path beside the findings."""
    told = json.loads(rehearsed.out)
    assert 1 == rehearsed.out.count("\n")
    assert {"floor_seconds", "taken_seconds", "ratio", "report", "demands"} <= set(told)
    assert Path(told["report"]).is_file()


def test_the_kept_run_says_what_was_not_run(rehearsed: Said) -> None:
    results = Path(json.loads(rehearsed.out)["report"]).parents[1]
    said = tapproof("show", "latest", "--results", results)
    assert (6, "NOT RUN") == (said.code, said.lines[0].split("  ")[0])
    assert re.search(
        r"^Mapping and liveness +not run +not run: this bench lacks individual cell set-points",
        said.out,
        re.MULTILINE,
    )


def test_figures_of_the_ladder(tmp_path: Path) -> None:
    """12 x 3.65 V = 43.8 V; limit 100 mA, so 4.38 W; 43.8 V across 1.2 kohm is 36.5 mA."""
    results = tmp_path / "results"
    setup = described_by(bench=LADDER, plan=ACCEPTANCE)
    said = tapproof("rehearse", *setup, "--figures-only", "--results", results)
    told = {line[2:24].strip(): line[24:].strip() for line in said.lines}
    assert (0, "3.650 V", "43.80 V DC") == (
        said.code, told["highest cell voltage"], told["highest stack voltage"],
    )  # fmt: skip
    assert told["highest power"].startswith("4.38 W")
    assert re.match(r"about \d+ mA, limited to 100 mA a channel", told["current"])
    assert f"  {LACKING}" in said.lines


def test_figures_only_measures_and_keeps_nothing(tmp_path: Path) -> None:
    results = tmp_path / "results"
    tapproof("rehearse", *described_by(), "--figures-only", "--results", results)
    assert not results.exists()


def test_figures_as_json(tmp_path: Path) -> None:
    """SI units, one object, nothing else; figures for people go to standard error."""
    setup = described_by(bench=LADDER, plan=ACCEPTANCE)
    said = tapproof("rehearse", *setup, "--figures-only", "--json", "--results", tmp_path / "r")
    told = json.loads(said.out)["demands"]
    assert 43.8 == pytest.approx(told["stack_volts"])
    assert 0.1 == told["limit_amperes"]
    assert {
        "check": "mapping",
        "points": 0,
        "not_run": "this bench lacks individual cell set-points",
    } == told["checks"][0]
    assert "highest stack voltage" in said.err
