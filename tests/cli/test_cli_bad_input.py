"""No input whatever ends in a traceback: each command with each kind of wrong file.

In this process, because it is fast; a few of the same are in `tests/scenarios` as a person
types them.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from harness.cli.main import main

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
GOOD = {
    "--bench": FIXTURES / "benches" / "narrowboat-series.toml",
    "--board": FIXTURES / "boards" / "heron.toml",
    "--plan": FIXTURES / "plans" / "quick.toml",
}
KINDS = ("missing", "directory", "empty", "binary", "no TOML", "other TOML", "endless line")
CONTENT = {
    "empty": b"",
    "binary": bytes(range(128, 256)),
    "no TOML": b"cells == twelve\n",
    "other TOML": b"[tool.other]\nname = 'something else'\n",
    "endless line": b"a" * 200_000,
}


def wrong(kind: str, folder: Path, name: str = "wrong.toml") -> Path:
    """A file, or what is in its place, that is not what is expected."""
    path = folder / name
    if kind == "directory":
        path.mkdir()
    elif kind != "missing":
        path.write_bytes(CONTENT[kind])
    return path


def bad_input(words: list[object], capsys: pytest.CaptureFixture[str]) -> str:
    """What standard error says when `words` end as bad input."""
    with pytest.raises(SystemExit) as left:
        main([str(word) for word in words])
    told = capsys.readouterr()
    assert (2, "") == (left.value.code, told.out), told
    assert "Traceback" not in told.err
    return told.err


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("role", GOOD)
@pytest.mark.parametrize("command", ["run", "rehearse"])
def test_a_wrong_description(
    command: str, role: str, kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Told with its path; nothing is kept, because nothing began."""
    path = wrong(kind, tmp_path)
    files = {**GOOD, role: path}
    options = [word for pair in files.items() for word in pair]
    results = tmp_path / "results"
    assert str(path) in bad_input([command, *options, "--results", results], capsys)
    assert not results.exists()


@pytest.mark.parametrize("kind", KINDS)
def test_a_wrong_file_of_faults(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = [word for pair in GOOD.items() for word in pair]
    path = wrong(kind, tmp_path)
    words = ["rehearse", *options, "--faults", path, "--results", tmp_path / "results"]
    assert bad_input(words, capsys).startswith(str(path))


@pytest.mark.parametrize("kind", ["missing", "directory", "empty", "binary", "no TOML"])
def test_a_wrong_table(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options = [word for pair in GOOD.items() for word in pair]
    table = wrong(kind, tmp_path, "table.csv")
    columns = FIXTURES / "imports" / "spreadsheet.toml"
    words = ["import", table, "--columns", columns, *options, "--results", tmp_path / "results"]
    assert bad_input(words, capsys).startswith(str(table))


@pytest.mark.parametrize("kind", KINDS)
def test_wrong_columns(kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options = [word for pair in GOOD.items() for word in pair]
    columns = wrong(kind, tmp_path)
    table = FIXTURES / "imports" / "spreadsheet.csv"
    words = ["import", table, "--columns", columns, *options, "--results", tmp_path / "results"]
    assert bad_input(words, capsys).startswith(str(columns))


@pytest.mark.parametrize("kind", ["missing", "directory", "binary", "endless line"])
@pytest.mark.parametrize(
    "words",
    ["runs", "show latest", "judge latest", "explain latest 5 1", "report latest", "export latest"],
)
def test_wrong_records(
    words: str, kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    database = wrong(kind, tmp_path, "records.sqlite")
    told = bad_input([*words.split(), "--results", tmp_path], capsys)
    assert told.startswith(str(database))


def test_a_database_that_is_empty_has_no_runs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """SQLite takes an empty file for an empty database, as after `touch`."""
    (tmp_path / "records.sqlite").touch()
    main_words = ["show", "latest", "--results", tmp_path]
    assert "latest" in bad_input(main_words, capsys)


@pytest.mark.parametrize(
    "words",
    ["runs", "show latest", "judge latest", "explain latest 5 1", "report latest", "export latest"],
)
def test_a_results_folder_that_is_a_file(
    words: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "results"
    folder.touch()
    told = bad_input([*words.split(), "--results", folder], capsys)
    assert told.startswith(f"{folder}/records.sqlite: ")
