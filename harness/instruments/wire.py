"""The wire: whole messages as bytes, to and fro, with nothing known of what they say.

`Wire` is what a transport needs of a connection, so that tests can script one in memory. It
must not retry, interpret or log. Errors are of three kinds only; `harness.instruments.transport`
turns them into messages for people.
"""

# ruff: noqa: N818 - a fault is named by what happened, not by the word Error
from __future__ import annotations

from typing import Protocol


class WireError(Exception):
    """Base of what a wire can raise; `reason` is the operating system's or VISA's own text."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class WireMissing(WireError):
    """There is nothing to connect to."""


class WireClosed(WireError):
    """The connection ended."""


class WireTimeout(WireError):
    """No whole message came in time; `partial` is what did come of it."""

    def __init__(self, partial: bytes = b"") -> None:
        super().__init__("timeout")
        self.partial = partial


class Wire(Protocol):
    """A connection to one instrument."""

    def send(self, message: bytes) -> None:
        """Send one message; the wire adds the termination.

        Raises
        ------
        WireMissing, WireClosed : it could not be sent.
        """
        ...

    def receive(self, timeout_seconds: float) -> bytes:
        """The next whole message without its termination.

        Parameters
        ----------
        timeout_seconds : operating-system seconds, finite and positive.

        Raises
        ------
        WireTimeout : not in time. WireClosed : the far end closed.
        """
        ...

    def has_input(self) -> bool:
        """Whether something has come that nobody asked for; False where that cannot be told.

        Raises
        ------
        WireClosed : the far end has closed.
        """
        ...

    def drain(self) -> None:
        """Drop everything that has come, and clear the device where the wire can."""
        ...

    def reopen(self) -> None:
        """Close and connect anew.

        Raises
        ------
        WireMissing : nothing to connect to.
        """
        ...

    def close(self) -> None:
        """End the connection; may be called twice."""
        ...
