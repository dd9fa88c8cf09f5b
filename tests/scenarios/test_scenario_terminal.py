"""On a terminal: progress with time left, each cell's latest difference, nothing cut off."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from command_line import TAPPROOF, described_by
from shared_runs import Demonstration
from sharing import made_once
from terminal import COLOUR, on_terminal, plain


@pytest.fixture(scope="module")
def written(
    tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> tuple[int, str]:
    """A rehearsal of the quick plan on a terminal of 80 columns: exit code, all it wrote."""
    made = made_once("terminal", tmp_path_factory, request.config, rehearse_on_terminal)
    return made["code"], made["text"]


def rehearse_on_terminal(folder: Path) -> dict[str, Any]:
    """Run `tapproof rehearse` on a terminal."""
    words = (str(TAPPROOF), "rehearse", *described_by(), "--speed", "5", "--results", str(folder))
    code, text = on_terminal(words)
    return {"code": code, "text": text}


def test_time_left_is_shown(written: tuple[int, str]) -> None:
    """From the first point on, in seconds of the person who waits."""
    left = re.findall(r"(\d)/5 points, (\d+) s left", "\n".join(plain(written[1])))
    assert left
    assert all(int(seconds) < 10 for _, seconds in left)


def test_differences_of_all_cells_are_shown(written: tuple[int, str]) -> None:
    """A row of cell numbers, and under it as many signed millivolts."""
    lines = plain(written[1])
    numbers = {tuple(line.split()[1:]) for line in lines if line.startswith("cell ")}
    assert {
        ("1", "2", "3", "4", "5", "6"),
        ("7", "8", "9", "10", "11", "12"),
    } <= numbers
    assert any(re.fullmatch(r"mV(?: +[+-]\d+\.\d\d){6}", line) for line in lines)


def test_the_point_under_way_is_said_in_words(written: tuple[int, str]) -> None:
    assert any(re.fullmatch(r"cell-accuracy: \d\.\d{3} V, up", line) for line in plain(written[1]))


def test_no_line_is_cut_off(written: tuple[int, str]) -> None:
    """Neither too wide for the terminal nor shortened with dots."""
    lines = plain(written[1])
    pasted = ("run ", "budget behind the worst number: ")  # a path and a command: not folded
    assert not [line for line in lines if "…" in line]
    assert max(len(line) for line in lines if not line.startswith(pasted)) <= 80


def test_the_verdict_is_what_stays(written: tuple[int, str]) -> None:
    """The live screen is wiped; after it comes the verdict, in colour."""
    code, text = written
    assert 0 == code
    after = text[text.rindex("s left") :]
    assert "PASS" in after
    assert COLOUR.search(after)


@pytest.fixture(scope="module")
def shown(demonstration: Demonstration) -> str:
    """`tapproof show latest` on a terminal of 80 columns."""
    words = (str(TAPPROOF), "show", "latest", "--results", demonstration.results)
    return on_terminal(words)[1]


def test_no_color_is_obeyed(demonstration: Demonstration, shown: str) -> None:
    """NO_COLOR: the same words without a colour (https://no-color.org)."""
    words = (str(TAPPROOF), "show", "latest", "--results", demonstration.results)
    _, bare = on_terminal(words, NO_COLOR="1")
    assert COLOUR.search(shown)
    assert not COLOUR.search(bare)
    assert plain(shown) == plain(bare)


def test_what_is_shown_fits_80_columns(shown: str) -> None:
    lines = plain(shown)
    assert max(map(len, lines)) <= 80
    assert not [line for line in lines if "…" in line]


@pytest.mark.parametrize("command", ["runs", "explain latest 5 '3.350 V up'"])
def test_lists_and_budgets_fit_80_columns(command: str, demonstration: Demonstration) -> None:
    words = (str(TAPPROOF), *shlex.split(command), "--results", demonstration.results)
    lines = plain(on_terminal(words)[1])
    assert max(map(len, lines)) <= 80
    assert not [line for line in lines if "…" in line]
