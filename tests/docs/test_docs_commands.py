"""docs/commands.md tells every command, option, exit code and JSON key as the program has them."""

from __future__ import annotations

import ast
import dataclasses
import inspect
import shlex

import pytest
import rich_click as click
from pages import ROOT, first_column, headings, page, section, table_rows

from harness.cli import conducting, demands, machine, runs_table, translating
from harness.cli.exit_codes import ExitCode
from harness.cli.main import COMMANDS, EPILOG, load_command
from harness.finding import Finding
from harness.metrology.decision import Verdict
from harness.run.rehearsal import Demands

PAGE = page("commands.md")
README = (ROOT / "README.md").read_text(encoding="utf-8")

# Columns of a finding that stand elsewhere in the JSON: with its check and at the top.
NOT_IN_A_FINDING = {"check", "check_index", "run"}


def parameter_row(parameter: click.Parameter) -> tuple[str, str]:
    """Name and default of a parameter, as the page writes them."""
    if isinstance(parameter, click.Argument):
        name = parameter.metavar or str(parameter.name).upper()
    else:
        name = parameter.opts[0]
    if parameter.required:
        return f"`{name}`", "required"
    if getattr(parameter, "is_flag", False):
        return f"`{name}`", "off"
    default = parameter.to_info_dict()["default"]
    is_nothing = default is None or default in ("", ()) or "UNSET" in repr(default).upper()
    return f"`{name}`", "none" if is_nothing else f"`{default}`"


def test_every_command_has_a_section_in_order() -> None:
    """Commands stand in the order of `tapproof --help`."""
    found = [h.split()[1].strip("`") for h in headings(PAGE) if h.startswith("`tapproof ")]
    assert list(COMMANDS) == found


@pytest.mark.parametrize("command", COMMANDS)
def test_options(command: str) -> None:
    """Arguments and options with their defaults, in the order of the help; each has a meaning."""
    rows = table_rows(section(PAGE, f"`tapproof {command}`"))
    expected = sorted(parameter_row(parameter) for parameter in load_command(command).params)
    assert expected == sorted((row[0], row[1]) for row in rows)
    assert all(len(row) == 3 and row[2] for row in rows)


@pytest.mark.parametrize("command", COMMANDS)
def test_first_sentence(command: str) -> None:
    """A section begins with the command's own one-line help."""
    text = " ".join(section(PAGE, f"`tapproof {command}`").split())
    assert text.startswith(COMMANDS[command][2].rstrip("."))


def test_exit_codes() -> None:
    """All codes with their names."""
    rows = [(row[0], row[1].strip("`")) for row in table_rows(section(PAGE, "Exit codes"))]
    assert [(str(int(code)), code.name) for code in ExitCode] == rows


def test_exit_codes_of_readme_and_help() -> None:
    """README and `--help` list as many codes as there are."""
    for text in (README, EPILOG):
        said = " ".join(text[text.index("Exit codes:") :].split())
        assert all(f" {int(code)} " in said for code in ExitCode)


def test_every_verdict_word_is_said() -> None:
    """Every verdict word stands with the exit code it leads to."""
    text = section(PAGE, "Exit codes")
    assert all(f"`{verdict.value}`" in text for verdict in Verdict)


def dictionary_keys(function: object) -> set[str]:
    """The keys of all dictionaries written out in a function."""
    tree = ast.parse(inspect.getsource(function))  # type: ignore[arg-type]
    return {
        key.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Dict)
        for key in node.keys
        if isinstance(key, ast.Constant)
    }


def test_keys_of_a_judged_run() -> None:
    """Top-level keys of a judged run, and what a run adds."""
    expected = dictionary_keys(machine.judged_as_json) | dictionary_keys(conducting._extra)
    assert expected == first_column(section(PAGE, "A judged run"))


def test_keys_of_a_check() -> None:
    """Keys of each check."""
    expected = dictionary_keys(machine._check)
    assert expected == first_column(section(PAGE, "Each of `checks`"))


def test_keys_of_a_finding() -> None:
    """Keys of each finding, in its own order."""
    names = [field.name for field in dataclasses.fields(Finding)]
    expected = [name for name in names if name not in NOT_IN_A_FINDING]
    rows = table_rows(section(PAGE, "Each of `findings`"))
    assert expected == [row[0].strip("`") for row in rows]


def test_keys_of_the_demands() -> None:
    """Keys of what a plan asks of a bench."""
    expected = {field.name for field in dataclasses.fields(Demands)} | {"checks"}
    text = section(PAGE, "What a plan asks of a bench")
    assert expected == first_column(text)
    assert all(f"`{key}`" in text for key in dictionary_keys(demands.demands_as_json))


def test_keys_of_the_list_of_runs() -> None:
    """Keys of each run in the list."""
    expected = dictionary_keys(runs_table._run_as_json)
    assert expected == first_column(section(PAGE, "The list of runs"))


def test_keys_of_an_error() -> None:
    """Keys of an error."""
    expected = dictionary_keys(translating._end)
    assert expected == first_column(section(PAGE, "An error"))


def test_readme_lists_every_command() -> None:
    """The README's table has every command."""
    assert all(f"`tapproof {command}" in README for command in COMMANDS)


def examples(text: str) -> list[str]:
    """Command lines that a page shows, continued lines joined."""
    joined = text.replace("\\\n", " ")
    return [line.strip() for line in joined.splitlines() if line.startswith("    tapproof ")]


@pytest.mark.parametrize("line", examples(PAGE) + examples(README))
def test_examples_are_accepted(line: str) -> None:
    """A command line that a page shows is one the program takes."""
    _, command, *arguments = shlex.split(line)
    if command in COMMANDS:
        load_command(command).make_context(command, arguments)
    else:
        assert line == "tapproof COMMAND [OPTIONS]"


def test_every_command_has_an_example() -> None:
    """No section is without a command line to copy."""
    assert set(COMMANDS) <= {line.split()[1] for line in examples(PAGE)}
