"""Tests of the command line see the same width whoever runs them."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def no_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """A parallel test session tells its workers a width; a person's shell does not."""
    for name in ("COLUMNS", "LINES", "FORCE_COLOR", "NO_COLOR", "TTY_COMPATIBLE"):
        monkeypatch.delenv(name, raising=False)
