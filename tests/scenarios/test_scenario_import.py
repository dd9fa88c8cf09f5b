"""`tapproof import`: a spreadsheet measured elsewhere is judged like a run of its own."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from command_line import ACCEPTANCE, FIXTURES, described_by, tapproof
from shared_runs import SPREADSHEET, Imported

IMPORTS = FIXTURES / "imports"


def findings(told: dict[str, Any], check: str) -> list[dict[str, Any]]:
    """The findings of one check of a judged run."""
    (found,) = [c["findings"] for c in told["checks"] if c["check"] == check]
    return list(found)


def test_a_spreadsheet_is_judged(imported: Imported) -> None:
    """Cell 7 has a gain error that passes 5 mV from about 2.8 V upwards; no other cell fails."""
    told = json.loads(imported.out)
    failing = {f["channel"] for f in findings(told, "cell-accuracy") if f["verdict"] == "fail"}
    assert (1, "fail", {7}) == (imported.code, told["verdict"], failing)


def test_an_imported_run_is_read_like_any_other(imported: Imported) -> None:
    """Shown with the same findings, and a report is there."""
    shown = tapproof("show", "latest", "--results", imported.results, "--json")
    assert (imported.code, imported.out) == (shown.code, shown.out)
    assert 1 == len(list(Path(imported.results).glob("*/report.html")))


def test_an_imported_run_is_listed_as_such(imported: Imported) -> None:
    listed = json.loads(tapproof("runs", "--results", imported.results, "--json").out)["runs"]
    assert [("imported", "finished", "fail")] == [
        (run["kind"], run["state"], run["verdict"]) for run in listed
    ]


def test_decimal_commas_and_thermistors(imported: Imported, tmp_path: Path) -> None:
    """Two tables in one run, millivolts with decimal commas in one, kilohms in the other.

    The cells come out as from the plain spreadsheet; checks that no table feeds are not run.
    """
    said = tapproof(
        "import",
        IMPORTS / "spreadsheet-decimal-comma.csv",
        IMPORTS / "thermistors.tsv",
        *described_by(plan=ACCEPTANCE),
        "--results",
        tmp_path,
        "--json",
    )
    told = json.loads(said.out)
    plain = [f["error"] for f in findings(json.loads(imported.out), "cell-accuracy")]
    assert plain == pytest.approx([f["error"] for f in findings(told, "cell-accuracy")], abs=1e-9)
    assert 12 == len(findings(told, "thermistor-accuracy"))
    (noise,) = [check for check in told["checks"] if check["check"] == "noise"]
    assert "no imported table feeds this check" == noise["not_run"]


def test_columns_files_must_be_as_many_as_tables(tmp_path: Path) -> None:
    columns = ("--columns", IMPORTS / "spreadsheet.toml") * 2
    said = tapproof("import", SPREADSHEET, *columns, *described_by(), "--results", tmp_path)
    assert (2, "--columns: expected one for each of 1 files, got 2\n") == (said.code, said.err)
