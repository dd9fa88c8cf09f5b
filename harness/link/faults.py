"""The ways in which a board's serial link can fail, each a kind of its own.

Mapping from pyserial and operating-system errors happens in `harness.link.port` and nowhere
else.
"""

# ruff: noqa: N818 - a fault is named by what happened, not by the word Error
from __future__ import annotations

from harness.errors import BoardError


class BoardMissing(BoardError):
    """The port cannot be opened."""


class BoardUnplugged(BoardError):
    """The port was open and then went away."""


class BoardSilent(BoardError):
    """No new frame came within the time that the board's declaration allows."""


class BoardFrameFault(BoardError):
    """Bytes come, but none of them make a frame as declared."""
