"""What a frame decoder reports: good frames, bad ones with the reason, the partial first one."""

from __future__ import annotations

from enum import Enum
from typing import NamedTuple


class BadReason(Enum):
    """Why bytes that were to be a frame gave no values."""

    BAD_CHECK = "bad check"
    MALFORMED = "malformed"
    WRONG_FIELD_COUNT = "wrong field count"
    NOT_A_NUMBER = "not a number"
    TOO_LONG = "too long"
    NOISE = "noise"


class GoodFrame(NamedTuple):
    """A frame whose check, form and numbers are all right.

    `values` is aligned with the decoder's `columns`, in SI units (degrees Celsius for
    temperature), NaN where the board marked "no value". `sequence` and `uptime_seconds` are
    None when the layout has no such field. `raw` is the frame as received, without line ends.
    """

    values: tuple[float, ...]
    sequence: int | None
    uptime_seconds: float | None
    raw: bytes

    @property
    def raw_text(self) -> str:
        """The frame for a record: as it is when it is printable ASCII, else in hex."""
        text = self.raw.decode("latin-1")
        return text if text.isascii() and text.isprintable() else self.raw.hex(" ")


class BadFrame(NamedTuple):
    """Bytes that gave no values; `detail` says what was expected and what came."""

    reason: BadReason
    detail: str
    raw: bytes


class PartialFrame(NamedTuple):
    """What came before the first whole frame after opening; expected, so it is no fault."""

    raw: bytes


FrameEvent = GoodFrame | BadFrame | PartialFrame


class FrameFault(Exception):  # noqa: N818 - it never leaves the decoders
    """Carries a reason and a detail from a parser to the decoder that makes the event."""

    def __init__(self, reason: BadReason, detail: str) -> None:
        super().__init__(detail)
        self.reason = reason
        self.detail = detail


# Longest excerpt of received bytes that an error sentence repeats.
_EXCERPT_CHARACTERS = 40


def excerpt(received: bytes | str) -> str:
    """Received bytes as printable text for an error sentence, cut to a readable length."""
    text = received.decode("latin-1") if isinstance(received, bytes) else received
    shown = text[:_EXCERPT_CHARACTERS].encode("unicode_escape").decode("ascii")
    return shown + ("..." if len(text) > _EXCERPT_CHARACTERS else "")
