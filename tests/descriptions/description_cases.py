"""Bad inputs as edits of good files: the driver that the tables of `test_bad_*.py` share.

Each case copies the files of `good/` to a folder of its own, replaces text in some of them,
reads the setup, and gives the exact text of every fault. The good files are small (3 cells)
and stay as they are: the line numbers in the cases count on it.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from harness.descriptions.faults import DescriptionFaults
from harness.descriptions.reading import read_setup

GOOD = Path(__file__).parent / "good"


@dataclass(frozen=True)
class Case:
    """Edits (file, text there, text instead) and the faults they give, all of them."""

    name: str
    edits: tuple[tuple[str, str, str], ...]
    gives: tuple[str, ...]
    bench: str = "bench.toml"
    board: str = "board.toml"

    def __str__(self) -> str:
        return self.name


def faults_of(case: Case, folder: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[str, ...]:
    """The texts of all faults that the edited files give, read from inside `folder`."""
    shutil.copytree(GOOD, folder, dirs_exist_ok=True)
    for file, old, new in case.edits:
        text = (folder / file).read_text("utf-8")
        assert old in text, f"{case.name}: {file} holds no {old!r}"
        (folder / file).write_text(text.replace(old, new, 1), "utf-8")
    monkeypatch.chdir(folder)
    with pytest.raises(DescriptionFaults) as caught:
        read_setup(case.bench, case.board, "plan.toml")
    assert str(caught.value) == "\n".join(map(str, caught.value.faults))
    return tuple(map(str, caught.value.faults))
