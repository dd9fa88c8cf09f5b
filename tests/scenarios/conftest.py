"""The runs that scenarios share: the demonstration, and an imported spreadsheet.

Each is measured once for all workers. Treat their folders as read-only; `demo_results` and
`imported_results` are copies to write to.
"""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from shared_runs import Demonstration, Imported, demonstrate, import_spreadsheet
from sharing import made_once


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
