"""Fixtures that let a test measure a simulated board through the whole stack; see `twin_runs`."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from twin_runs import TwinRun, measure_once

MeasureOnTwin = Callable[..., TwinRun]


@pytest.fixture
def measure_on_twin(tmp_path: Path) -> MeasureOnTwin:
    """Measure one setup on its twin with planted faults; returns what became of it."""
    return functools.partial(measure_once, tmp_path / "records.sqlite")
