"""How messages quote what was sent and what came."""

from __future__ import annotations

from harness.errors import InstrumentError, SafetyError
from harness.instruments.faults import BenchBusy, RelayConflict, quoted


def test_short_texts_are_quoted_whole():
    """In double quotes."""
    assert '"READ?"' == quoted("READ?")


def test_long_texts_are_cut():
    """A thousand readings are not repeated in a message."""
    assert '"' + "x" * 120 + '... (1000 characters)"' == quoted("x" * 1000)


def test_faults_are_of_their_party():
    """A lock is about an instrument, a relay conflict about safety."""
    assert (True, True) == (
        issubclass(BenchBusy, InstrumentError),
        issubclass(RelayConflict, SafetyError),
    )
