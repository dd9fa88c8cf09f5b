"""What a person does with a kept run: list, show, judge, explain, export, report."""

from __future__ import annotations

import csv
import json
import math
import re
from pathlib import Path

import pyarrow.parquet
import pytest
from command_line import ACCEPTANCE, FIXTURES, Said, edited, shell, tapproof
from shared_runs import Demonstration

TOP_LEVEL_KEYS = {
    "verdict", "exit_code", "run", "state", "end_reason", "serial_number", "board", "plan",
    "decision_rule", "coverage_probability", "indicative_only", "checks",
}  # fmt: skip
CHECKS = (
    "mapping",
    "cell-accuracy",
    "stack-total",
    "noise",
    "thermistor-accuracy",
    "thermistor-open-short",
)

# Limits that a board with the two planted faults keeps, guard band and all.
WIDE_LIMITS = """
[limits]
cell_error_volts = 0.1
thermistor_error_celsius = 15.0
"""


@pytest.fixture(scope="module")
def shown(demonstration: Demonstration) -> Said:
    """`tapproof show latest --json`."""
    return tapproof("show", "latest", "--results", demonstration.results, "--json")


@pytest.fixture(scope="module")
def explained(demonstration: Demonstration) -> str:
    """What `tapproof explain` prints of cell 5 at 3.350 V up."""
    return tapproof("explain", "latest", 5, "3.350 V up", "--results", demonstration.results).out


@pytest.fixture(scope="module")
def exported(demonstration: Demonstration, tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The files that `tapproof export` names."""
    folder = tmp_path_factory.mktemp("export")
    said = tapproof("export", "latest", "--to", folder, "--results", demonstration.results)
    return [Path(line) for line in said.lines]


def test_runs_lists_the_run(demonstration: Demonstration) -> None:
    heading, row = tapproof("runs", "--results", demonstration.results).lines
    assert "run started kind serial board plan ended verdict" == " ".join(heading.split())
    date_and_time = r"20\d\d-\d\d-\d\d \d\d:\d\d"
    expected = (
        f"{demonstration.run} {date_and_time} rehearsed H-0007 Heron Acceptance finished fail"
    )
    assert re.fullmatch(expected, " ".join(row.split()))


def test_runs_as_json(demonstration: Demonstration) -> None:
    said = tapproof("runs", "--results", demonstration.results, "--json")
    (run,) = json.loads(said.out)["runs"]
    assert (0, "finished", "fail", 46) == (said.code, run["state"], run["verdict"], run["points"])


def test_show_repeats_verdict_and_says_what_was_measured(demonstration: Demonstration) -> None:
    said = tapproof("show", demonstration.run, "--results", demonstration.results)
    assert (1, demonstration.out.splitlines()[0]) == (said.code, said.lines[0])
    assert re.search(
        r"board Heron B, serial number H-0007, plan Acceptance, bench Narrowboat series bench, "
        r"began 20\d\d-\d\d-\d\dT",
        said.lines[-1],
    )


def test_json_is_one_object_with_the_documented_keys(shown: Said) -> None:
    """Nothing else is on standard output."""
    told = json.loads(shown.out)
    assert 1 == shown.out.count("\n")
    assert TOP_LEVEL_KEYS == set(told)
    assert CHECKS == tuple(check["check"] for check in told["checks"])
    assert ("fail", 1, 1) == (told["verdict"], told["exit_code"], shown.code)


def test_judging_again_gives_the_same_findings(shown: Said, demo_results: Path) -> None:
    """Every number and verdict, recomputed from raw observations alone."""
    judged = tapproof("judge", "latest", "--results", demo_results, "--json")
    assert (shown.code, json.loads(shown.out)) == (judged.code, json.loads(judged.out))


def test_another_plan_has_its_own_checks(demo_results: Path) -> None:
    """The screen plan asks for four checks; the measured faults fail under it too."""
    plan = FIXTURES / "plans" / "screen.toml"
    said = tapproof("judge", "latest", "--plan", plan, "--results", demo_results, "--json")
    told = json.loads(said.out)
    checks = [check["check"] for check in told["checks"]]
    assert (1, "Screen") == (said.code, told["plan"])
    assert ["mapping", "cell-accuracy", "thermistor-accuracy", "thermistor-open-short"] == checks


def test_wider_limits_turn_the_verdict(demo_results: Path, tmp_path: Path) -> None:
    """The same raw values pass when the plan allows 100 mV and 15 K; the list tells so."""
    plan = edited(ACCEPTANCE, tmp_path, ("\n[effort]", f"{WIDE_LIMITS}\n[effort]"))
    said = tapproof("judge", "latest", "--plan", plan, "--results", demo_results)
    assert (0, "PASS") == (said.code, said.lines[0].split()[0])
    listed = tapproof("runs", "--results", demo_results, "--json")
    assert "pass" == json.loads(listed.out)["runs"][0]["verdict"]


def budget_rows(text: str) -> list[tuple[str, float]]:
    """Name and share of the variance (per cent) of each row of a printed budget."""
    rows = re.findall(
        r"^(\w[\w ]+?) {2,}(?:< )?[\d.]+ +(?:< )?([\d.]+) % {2,}\w+ {2,}\w+ {2,}(?:all|channel)",
        text,
        re.MULTILINE,
    )
    return [(name, float(share)) for name, share in rows]


def test_explain_prints_the_largest_contribution_first(explained: str) -> None:
    shares = [share for _, share in budget_rows(explained)]
    assert len(shares) >= 8
    assert sorted(shares, reverse=True) == shares


def test_the_shares_of_a_budget_make_up_the_whole(explained: str) -> None:
    """Two printed digits a share: the sum is 100 % within 2 %."""
    assert 100 == pytest.approx(math.fsum(share for _, share in budget_rows(explained)), abs=2)


def test_explain_says_what_reduces_the_largest(explained: str) -> None:
    largest, share = budget_rows(explained)[0]
    assert f"To reduce {largest} ({share:g} % of the variance): " in explained


def test_explain_takes_a_point_in_several_words(demonstration: Demonstration) -> None:
    """A point typed without quotes, and a thermistor by name."""
    words = ("thermistor 2", "25.0", "°C")
    said = tapproof("explain", "latest", *words, "--results", demonstration.results)
    assert (0, "thermistor-accuracy:") == (said.code, said.lines[0])


def test_explain_lists_the_points_there_are(demonstration: Demonstration) -> None:
    said = tapproof("explain", "latest", 5, "3.36 V", "--results", demonstration.results)
    assert 2 == said.code
    assert said.err.startswith("point: expected one of cell 5 moved, 2.500 V up, 2.800 V up")
    assert said.err.endswith('got "3.36 V"\n')


def test_exported_csv_and_parquet_agree(exported: list[Path]) -> None:
    """Row by row and column by column; the Parquet file is read by Arrow itself."""
    in_csv, in_parquet = exported[0], exported[1]
    table = pyarrow.parquet.read_table(in_parquet).to_pylist()
    with open(in_csv, encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert (len(table), list(table[0])) == (len(rows), list(rows[0]))
    columns = ("source", "quantity", "unit", "channel", "step", "value", "monotonic_seconds")
    told = [tuple(text_of(row[name]) for name in columns) for row in table]
    assert told == [tuple(row[name] for name in columns) for row in rows]


def text_of(value: object) -> str:
    """A stored value as CSV has it: a number in full, nothing for none."""
    return "" if value is None or value != value else str(value)


def test_every_exported_file_is_there(exported: list[Path]) -> None:
    assert sorted(exported[0].parent.iterdir()) == sorted(exported)


def test_the_report_is_the_same_byte_for_byte(demo_results: Path) -> None:
    """As written with the run, and again from the record."""
    (page,) = demo_results.glob("*/report.html")
    first = page.read_bytes()
    page.unlink()
    said = tapproof("report", "latest", "--results", demo_results)
    assert (0, str(page)) == (said.code, said.out.strip())
    assert first == page.read_bytes()


def test_showing_changes_nothing(demo_results: Path) -> None:
    """The database is the same byte for byte, and nothing lies beside it."""
    before = {path: path.read_bytes() for path in demo_results.rglob("*") if path.is_file()}
    tapproof("show", "latest", "--results", demo_results)
    assert before == {p: p.read_bytes() for p in demo_results.rglob("*") if p.is_file()}


def test_a_reader_that_leaves_early_causes_no_traceback(demonstration: Demonstration) -> None:
    """`tapproof show --json | head -c 1`: more is written than a pipe holds."""
    where = demonstration.results
    said = shell(f"tapproof show latest --json --results '{where}' | head -c 1")
    assert ("{", "") == (said.out, said.err)


def test_the_first_line_can_be_cut_off(demonstration: Demonstration) -> None:
    said = shell(f"tapproof runs --results '{demonstration.results}' | head -1")
    assert ("run", "") == (said.out.split()[0], said.err)
