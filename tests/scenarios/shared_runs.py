"""The runs that scenarios share, as values, and how each is made in a folder of its own."""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from command_line import FIXTURES, described_by, tapproof

SPREADSHEET = FIXTURES / "imports" / "spreadsheet.csv"
SPREADSHEET_PLAN = """
name = "Spreadsheet"
[[check]]
kind = "cell-accuracy"
points_volts = [2.50, 2.80, 3.20, 3.35, 3.65]
"""


@dataclass(frozen=True)
class Demonstration:
    """What `tapproof demo` left behind; diary : addresses that were opened."""

    results: str
    code: int
    out: str
    err: str
    diary: list[tuple[str, int, Any]]

    @property
    def run(self) -> str:
        """The short id of its run."""
        (folder,) = (p for p in Path(self.results).iterdir() if p.is_dir())
        return folder.name


@dataclass(frozen=True)
class Imported:
    """What `tapproof import --json` of the spreadsheet left behind."""

    results: str
    plan: str
    code: int
    out: str


def demonstrate(folder: Path) -> dict[str, Any]:
    """Run the demonstration with a diary of its sockets."""
    diary = folder / "sockets.jsonl"
    said = tapproof(
        "demo",
        "--results",
        folder / "results",
        PYTHONPATH=os.pathsep.join(
            [str(Path(__file__).parent / "socket_diary"), os.environ.get("PYTHONPATH", "")]
        ),
        SOCKET_DIARY=str(diary),
    )
    return asdict(
        Demonstration(
            results=str(folder / "results"),
            code=said.code,
            out=said.out,
            err=said.err,
            diary=[json.loads(line) for line in diary.read_text(encoding="utf-8").splitlines()],
        )
    )


def import_spreadsheet(folder: Path) -> dict[str, Any]:
    """Import the spreadsheet under a plan that asks for just what it holds."""
    plan, results = folder / "plan.toml", folder / "results"
    plan.write_text(SPREADSHEET_PLAN)
    said = tapproof("import", SPREADSHEET, *described_by(plan=plan), "--results", results, "--json")
    return asdict(Imported(str(results), str(plan), said.code, said.out))
