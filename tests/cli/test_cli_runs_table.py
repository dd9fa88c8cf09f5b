"""The list of kept runs: one row a run that fits 80 columns, and where each stopped."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from harness.cli.runs_table import runs_as_json, runs_for_people
from harness.metrology.decision import Verdict
from harness.records.run_header import RunKind, RunState, RunSummary


def kept(**changes: object) -> RunSummary:
    """A finished run of the demonstration board."""
    values: dict[str, object] = {
        "id": "1234abcd-0000-4000-8000-000000000000",
        "short_id": "1234abcd",
        "kind": RunKind.REHEARSED,
        "started_wall": 1_772_400_000.0,
        "utc_offset_seconds": 3600,
        "serial_number": "H-0007",
        "board_name": "Heron",
        "plan_name": "Acceptance",
        "state": RunState.FINISHED,
        "verdict": Verdict.CONDITIONAL_FAIL,
        "points": 46,
        "last_point": "noise point 1 (nominal_volts 3.3)",
    }
    return RunSummary(**{**values, **changes})  # type: ignore[arg-type]


def printed(*runs: RunSummary, columns: int = 200) -> list[str]:
    """The lines at this width."""
    console = Console(file=io.StringIO(), width=columns)
    with console.capture() as captured:
        console.print(runs_for_people(runs))
    return [line.rstrip() for line in captured.get().splitlines()]


def test_a_row_tells_what_and_when() -> None:
    """The bench's own time to the minute: 2026-03-01 21:20 UTC is 22:20 there."""
    _, row = printed(kept())
    assert (
        "1234abcd 2026-03-01 22:20 rehearsed H-0007 Heron Acceptance finished conditional fail"
        == " ".join(row.split())
    )


def test_a_row_fits_80_columns() -> None:
    lines = printed(kept(verdict=Verdict.FAIL, state=RunState.ABORTED), columns=80)
    assert 3 == len(lines)
    assert max(map(len, lines)) <= 80


def test_long_names_fold_and_nothing_is_cut_off() -> None:
    lines = printed(kept(plan_name="Acceptance after repair of the inputs"), columns=100)
    told = " ".join(" ".join(lines).split())
    assert "…" not in told
    for word in ("Acceptance", "after", "repair", "inputs", "conditional fail"):
        assert word in told


def test_a_run_that_did_not_finish_says_where_it_stopped() -> None:
    assert "1234abcd stopped after noise point 1" == printed(kept(state=RunState.STOPPED))[-1]


def test_a_run_that_kept_nothing_says_so() -> None:
    stopped = kept(state=RunState.ABORTED, points=0, last_point="")
    assert "1234abcd aborted after no point" == printed(stopped)[-1]


def test_a_run_never_judged_says_so() -> None:
    assert printed(kept(verdict=None))[-1].endswith("not judged")


@pytest.mark.parametrize("name", ["[bold]", "[/]"])
def test_brackets_in_names_are_no_markup(name: str) -> None:
    assert name in printed(kept(board_name=name))[1]


def test_json_has_the_time_in_full() -> None:
    (told,) = runs_as_json([kept()])["runs"]
    assert ("2026-03-01T22:20:00+01:00", "rehearsed", "conditional fail", 46) == (
        told["started"],
        told["kind"],
        told["verdict"],
        told["points"],
    )


def test_json_of_a_run_never_judged_is_null() -> None:
    assert runs_as_json([kept(verdict=None)])["runs"][0]["verdict"] is None
