"""Fixtures of the simulator's tests; what they are made with is in `simulated_benches`."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from harness.descriptions.setup import Setup

sys.path.insert(0, str(Path(__file__).parent))

from simulated_benches import fixture_setup


@pytest.fixture(scope="session")
def series_setup() -> Setup:
    """Twelve supply channels in series with a Heron board."""
    return fixture_setup()


@pytest.fixture(scope="session")
def ladder_setup() -> Setup:
    """One channel over a ladder with rung shunts."""
    return fixture_setup("narrowboat-ladder-shunts")
