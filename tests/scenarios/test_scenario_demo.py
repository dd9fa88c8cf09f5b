"""`tapproof demo`: one command, both planted faults found, nothing but loopback opened."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from command_line import FIXTURES, shell
from shared_runs import Demonstration

ESCAPE = "\x1b"


def test_demo_ends_with_the_code_of_a_failed_board(demonstration: Demonstration) -> None:
    assert (1, True) == (demonstration.code, "Traceback" not in demonstration.err)


def test_first_line_is_the_verdict_and_the_worst_finding(demonstration: Demonstration) -> None:
    first = demonstration.out.splitlines()[0]
    assert re.match(r"FAIL  Cell 5 reads 1[12]\.\d mV high at \d\.\d{3} V, limit 5 mV, U 0", first)


def test_second_line_says_that_it_is_simulated(demonstration: Demonstration) -> None:
    assert "SIMULATED BENCH, invented data" == demonstration.out.splitlines()[1]


def test_both_planted_faults_are_named(demonstration: Demonstration) -> None:
    said = demonstration.out
    assert re.search(r"^fail: Cell 5 reads 1\d\.\d mV high", said, re.MULTILINE)
    assert re.search(r"^fail: Thermistor 2 reads \d\.\d+ °C high", said, re.MULTILINE)


def test_nothing_else_is_found(demonstration: Demonstration) -> None:
    """Eleven cells and the other thermistor are healthy."""
    failing = re.findall(r"^fail: (\w+ \d+)", demonstration.out, re.MULTILINE)
    assert ["Cell 5", "Thermistor 2"] == failing


def test_what_was_planted_is_told_as_the_fault_file_has_it(demonstration: Demonstration) -> None:
    planted = tomllib.loads((FIXTURES / "faults" / "heron-two-faults.toml").read_text("utf-8"))
    (cell,), (thermistor,) = planted["cell"], planted["thermistor"]
    assert (
        f"cell {cell['cell']} reads {cell['offset_volts'] * 1e3:g} mV high, and the pull-up of "
        f"thermistor {thermistor['thermistor']} is {thermistor['pull_up_ratio'] * 100:g} % too"
    ) in demonstration.out


def test_floor_time_and_ratio_are_told(demonstration: Demonstration) -> None:
    told = re.search(
        r"^physical floor ([\d.]+) s, taken ([\d.]+) s, ratio ([\d.]+) \(clock 3 times real",
        demonstration.out,
        re.MULTILINE,
    )
    assert told is not None
    floor, taken, ratio = map(float, told.groups())
    assert ratio == pytest.approx(taken / floor, abs=0.01)


def test_the_report_is_where_it_says(demonstration: Demonstration) -> None:
    told = re.search(r"^run (\w+), report (\S+)$", demonstration.out, re.MULTILINE)
    assert told is not None
    run, page = told.groups()
    assert run == demonstration.run
    assert Path(page).read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_progress_goes_to_standard_error(demonstration: Demonstration) -> None:
    """One line a check, so that standard output begins with the verdict."""
    begun = re.findall(r"^([\w-]+): \d+ points?$", demonstration.err, re.MULTILINE)
    assert [
        "mapping",
        "cell-accuracy",
        "stack-total",
        "noise",
        "thermistor-accuracy",
        "thermistor-open-short",
    ] == begun


def test_outputs_are_told_to_be_measured_off(demonstration: Demonstration) -> None:
    assert re.search(r"^outputs off, measured 0\.\d+ V at most$", demonstration.err, re.MULTILINE)


def test_files_and_pipes_get_no_escape_codes(demonstration: Demonstration) -> None:
    assert ESCAPE not in demonstration.out + demonstration.err


def test_no_sentence_is_folded_in_a_pipe(demonstration: Demonstration) -> None:
    """The longest sentence stands on one line, far beyond 80 columns."""
    assert max(map(len, demonstration.out.splitlines())) > 100


def test_sockets_are_watched_in_both_processes(demonstration: Demonstration) -> None:
    """The diary is no proof unless command and simulated bench both wrote into it."""
    by_event = {event: process for event, process, _ in demonstration.diary}
    assert by_event["socket.connect"] != by_event["socket.bind"]


def test_nothing_outside_loopback_is_opened(demonstration: Demonstration) -> None:
    """Every address connected, bound, sent to or looked up is 127.0.0.1 or a local path."""
    elsewhere = [
        (event, target)
        for event, _, target in demonstration.diary
        if isinstance(target, list) and target[0] not in ("127.0.0.1", "localhost", "::1")
    ]
    assert [] == elsewhere


def test_the_next_command_that_it_tells_works(demonstration: Demonstration) -> None:
    """The line that says how to see the budget behind the worst number can be pasted."""
    told = re.search(r"^budget behind the worst number: (.*)$", demonstration.out, re.MULTILINE)
    assert told is not None
    said = shell(told[1])
    assert (0, True) == (said.code, "board repeatability" in said.out)
