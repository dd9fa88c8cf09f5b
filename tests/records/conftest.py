"""Fixtures for the tests of records."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from records_samples import HandClock, small_setup

from harness.descriptions.setup import Setup
from harness.records.store import Store


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def setup() -> Setup:
    return small_setup()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "results") as opened:
        yield opened
