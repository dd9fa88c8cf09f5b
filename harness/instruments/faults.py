"""The ways in which an instrument or its connection can fail, each a kind of its own.

One message grammar for all: instrument (resource): what was sent: what was expected, what
came; what to do. Mapping from VISA and operating-system errors happens in
`harness.instruments.visa_wire` and nowhere else.
"""

# ruff: noqa: N818 - a fault is named by what happened, not by the word Error
from __future__ import annotations

from harness.errors import InstrumentError, SafetyError


class InstrumentMissing(InstrumentError):
    """Nothing answers at the resource, or the resource string means nothing."""


class InstrumentSilent(InstrumentError):
    """An answer did not come in time."""


class ConnectionLost(InstrumentError):
    """The connection stood and then ended."""


class WrongInstrument(InstrumentError):
    """The answer to *IDN? is not the one the model description expects."""


class InstrumentRefused(InstrumentError):
    """The instrument's error queue says that it did not do what it was told."""


class UnexpectedReply(InstrumentError):
    """An answer came, but not of the form that the question calls for."""


class SetPointMismatch(InstrumentError):
    """A set-point read back differs from what was set."""


class BenchBusy(InstrumentError):
    """Another run holds an instrument or port of this bench."""


class RelayConflict(SafetyError):
    """Relays were about to be closed together that must never be."""


def quoted(text: str, longest: int = 120) -> str:
    """`text` in double quotes, cut in the middle of the message when very long."""
    if len(text) > longest:
        text = f"{text[:longest]}... ({len(text)} characters)"
    return f'"{text}"'
