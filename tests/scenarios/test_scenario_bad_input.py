"""Bad input ends with exit code 2 and one message: place, expected, got, what to do."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from command_line import HERON, QUICK, SERIES, edited, tapproof
from shared_runs import Demonstration

BINARY = bytes(range(128, 256)) * 4
ROLES = ("--bench", "--board", "--plan")


def test_files_that_are_no_descriptions(tmp_path: Path) -> None:
    """A directory, an empty and a binary file: each is told in a line of its own."""
    folder, empty, binary = (tmp_path / name for name in ("folder", "empty.toml", "binary.toml"))
    folder.mkdir()
    empty.touch()
    binary.write_bytes(BINARY)
    options = [word for pair in zip(ROLES, (folder, empty, binary), strict=True) for word in pair]
    said = tapproof("rehearse", *options, "--results", tmp_path / "r")
    assert (2, "") == (said.code, said.out)
    assert [
        f"{binary}:1: expected UTF-8 text, got byte 0x80; save the file as UTF-8",
        f"{empty}: expected a board description, got an empty file",
        f"{folder}: expected a bench description, got a directory",
    ] == sorted(said.err.splitlines())


def test_all_faults_of_all_files_at_once(tmp_path: Path) -> None:
    """File, line, key, expected, got; an unknown key with the nearest known one."""
    bench = edited(SERIES, tmp_path, ("line_frequency_hertz = 50.0", "line_frequency_hertz = 5"))
    board = edited(HERON, tmp_path, ("\ncells = 12", "\ncels = 12"))
    said = tapproof(
        "rehearse", "--bench", bench, "--board", board, "--plan", QUICK, "--results", tmp_path / "r"
    )
    lines = said.err.splitlines()
    assert 2 == said.code
    assert any(
        re.match(rf"{re.escape(str(bench))}:\d+: line_frequency_hertz: expected .*, got 5", line)
        for line in lines
    )
    assert any(re.match(rf"{re.escape(str(board))}:\d+: cels: .*cells", line) for line in lines)


def test_a_results_folder_that_is_a_file(tmp_path: Path) -> None:
    """Told before anything is measured."""
    results = tmp_path / "file"
    results.touch()
    said = tapproof(
        "rehearse", "--bench", SERIES, "--board", HERON, "--plan", QUICK, "--results", results
    )
    assert (2, False) == (said.code, "Traceback" in said.err)
    assert said.err.startswith(f"{results}/records.sqlite: ")


def test_a_results_folder_without_records(tmp_path: Path) -> None:
    """What is missing, and how to come by it."""
    said = tapproof("runs", "--results", tmp_path)
    assert (2, "") == (said.code, said.out)
    assert (
        f"{tmp_path}/records.sqlite: expected records, there is no such file; make a run first "
        "or name another results folder\n"
    ) == said.err


def test_a_database_that_is_none(tmp_path: Path) -> None:
    (tmp_path / "records.sqlite").write_bytes(BINARY)
    said = tapproof("runs", "--results", tmp_path)
    assert (2, False) == (said.code, "Traceback" in said.err)
    assert said.err.startswith(f"{tmp_path}/records.sqlite: ")


def test_an_unknown_run_is_answered_with_those_there_are(demonstration: Demonstration) -> None:
    said = tapproof("show", "zzz", "--results", demonstration.results)
    assert 2 == said.code
    assert "got 'zzz'" in said.err
    assert demonstration.run in said.err


def test_an_error_as_json(tmp_path: Path) -> None:
    """One object with the message and the code; the message for people on standard error."""
    said = tapproof("show", "latest", "--results", tmp_path, "--json")
    told = json.loads(said.out)
    assert (2, 2, {"error", "notes", "exit_code"}) == (said.code, told["exit_code"], set(told))
    assert said.err.startswith(told["error"])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("shw",), "No such command 'shw'"),
        (("show",), "Missing argument 'RUN'"),
        (("runs", "--jsn"), "Did you mean '--json'?"),
        (("run",), "Missing option '--bench'"),
        (("rehearse", "--speed", "fast"), "Invalid value for '--speed'"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_wrong_words(words: tuple[str, ...], told: str) -> None:
    said = tapproof(*words)
    assert (2, "", False) == (said.code, said.out, "Traceback" in said.err)
    assert told in said.err
