"""Consoles fold at a terminal's edge and nowhere else."""

from __future__ import annotations

import pytest
from rich.console import Console

from harness.cli.consoles import FILE_COLUMNS, PeopleConsole, console_for_people

LONG = "word " * 30


def test_a_pipe_gets_long_lines(capsys: pytest.CaptureFixture[str]) -> None:
    console_for_people().print(LONG)
    assert [LONG.strip()] == [line.strip() for line in capsys.readouterr().out.splitlines()]


def test_columns_are_obeyed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    console_for_people().print(LONG)
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 40


def test_standard_error_on_request(capsys: pytest.CaptureFixture[str]) -> None:
    console_for_people(stderr=True).print("told")
    assert ("", "told\n") == tuple(capsys.readouterr())


def test_no_escape_codes_in_a_pipe(capsys: pytest.CaptureFixture[str]) -> None:
    console_for_people().print("[bold red]FAIL[/]")
    assert "FAIL\n" == capsys.readouterr().out


def test_a_broken_pipe_is_raised() -> None:
    """Rich itself would end the program with 1, which says that a board failed."""
    with pytest.raises(BrokenPipeError):
        PeopleConsole().on_broken_pipe()


def test_rich_still_asks_for_what_is_overridden() -> None:
    """The hook exists in the installed rich; without it the override would be dead."""
    assert callable(Console.on_broken_pipe)


def test_files_are_wide_enough_for_a_sentence() -> None:
    assert FILE_COLUMNS >= 160
