"""The group: its table agrees with the commands, and wrong words end with bad input."""

from __future__ import annotations

import pytest
import rich_click as click

from harness.cli.exit_codes import ExitCode
from harness.cli.main import COMMANDS, EPILOG, load_command, main, tapproof


@pytest.mark.parametrize("name", COMMANDS)
def test_one_line_help_is_the_commands_own(name: str) -> None:
    """The overview does not import the commands, so it repeats their first lines."""
    assert COMMANDS[name][2] == (load_command(name).help or "").splitlines()[0]


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_has_the_name_it_is_called_by(name: str) -> None:
    assert name == load_command(name).name


@pytest.mark.parametrize("name", COMMANDS)
def test_a_line_of_help_fits_the_overview(name: str) -> None:
    """Two borders, the longest name and two spaces leave 63 of 80 columns."""
    assert len(COMMANDS[name][2]) <= 63


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_has_a_help(name: str) -> None:
    options = [p for p in load_command(name).params if isinstance(p, click.Option)]
    assert [] == [option.name for option in options if not option.help]


def test_the_overview_is_in_the_tables_order() -> None:
    assert list(COMMANDS) == tapproof.list_commands(click.Context(tapproof))


def test_unknown_names_have_no_command() -> None:
    assert tapproof.get_command(click.Context(tapproof), "shw") is None


@pytest.mark.parametrize("code", list(ExitCode))
def test_the_epilogue_tells_every_code(code: ExitCode) -> None:
    assert f" {int(code)} " in EPILOG


@pytest.mark.parametrize("words", [["shw"], ["show"], ["runs", "--jsn"]])
def test_wrong_words_are_bad_input(words: list[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(words)
    assert ExitCode.BAD_INPUT == left.value.code
