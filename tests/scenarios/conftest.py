"""The runs that scenarios share: the demonstration, and an imported spreadsheet.

Each is measured once for all workers. Treat their folders as read-only; `demo_results` and
`imported_results` are copies to write to.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from command_line import FIXTURES, described_by, tapproof
from sharing import made_once

SPREADSHEET = FIXTURES / "imports" / "spreadsheet.csv"
SPREADSHEET_PLAN = """
name = "Spreadsheet"
[[check]]
kind = "cell-accuracy"
points_volts = [2.50, 2.80, 3.20, 3.35, 3.65]
"""


@dataclass(frozen=True)
class Demonstration:
    """What `tapproof demo` left behind.

    seconds : by the clock on the wall; cpu_seconds : of all its processes; load : how many
    processes wanted to run on each core meanwhile; diary : addresses that were opened.
    """

    results: str
    code: int
    out: str
    err: str
    seconds: float
    cpu_seconds: float
    load: float
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


def children_seconds() -> float:
    """Processor time of all child processes that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def demonstrate(folder: Path) -> dict[str, Any]:
    """Run the demonstration with a diary of its sockets."""
    diary = folder / "sockets.jsonl"
    began, cpu_before = time.monotonic(), children_seconds()
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
            seconds=time.monotonic() - began,
            cpu_seconds=children_seconds() - cpu_before,
            load=os.getloadavg()[0] / (os.cpu_count() or 1),
            diary=[json.loads(line) for line in diary.read_text(encoding="utf-8").splitlines()],
        )
    )


def import_spreadsheet(folder: Path) -> dict[str, Any]:
    """Import the spreadsheet under a plan that asks for just what it holds."""
    plan, results = folder / "plan.toml", folder / "results"
    plan.write_text(SPREADSHEET_PLAN)
    said = tapproof("import", SPREADSHEET, *described_by(plan=plan), "--results", results, "--json")
    return asdict(Imported(str(results), str(plan), said.code, said.out))


@pytest.fixture(scope="session")
def demonstration(
    tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest
) -> Demonstration:
    """`tapproof demo`."""
    made = made_once("demonstration", tmp_path_factory, request.config, demonstrate)
    return Demonstration(**made)


@pytest.fixture(scope="session")
def imported(tmp_path_factory: pytest.TempPathFactory, request: pytest.FixtureRequest) -> Imported:
    """`tapproof import` of the spreadsheet fixture."""
    made = made_once("imported", tmp_path_factory, request.config, import_spreadsheet)
    return Imported(**made)


@pytest.fixture
def demo_results(demonstration: Demonstration, tmp_path: Path) -> Path:
    """A copy of the demonstration's results folder that a test may write to."""
    return Path(shutil.copytree(demonstration.results, tmp_path / "results"))


@pytest.fixture
def imported_results(imported: Imported, tmp_path: Path) -> Path:
    """A copy of the imported run's results folder that a test may write to."""
    return Path(shutil.copytree(imported.results, tmp_path / "results"))
