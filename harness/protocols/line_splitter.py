"""Lines out of a byte stream that may be cut anywhere, in bounded memory."""

from __future__ import annotations


class LineSplitter:
    """Collects bytes and gives whole lines; LF, CR and CRLF all end one.

    Parameters
    ----------
    longest_bytes : a line longer than this is given cut to one byte more, which tells the
        receiver that it is too long; no more than that is ever kept.
    """

    def __init__(self, longest_bytes: int) -> None:
        self._kept_bytes = longest_bytes + 1
        self._tail = b""

    def receive(self, data: bytes) -> list[bytes]:
        """The lines that `data` completes, without their ends; empty ones included."""
        parts = data.replace(b"\r", b"\n").split(b"\n")
        parts[0] = self._tail + parts[0]
        self._tail = parts.pop()[: self._kept_bytes]
        return [
            part if len(part) <= self._kept_bytes else part[: self._kept_bytes] for part in parts
        ]
