"""Lines out of a stream."""

from __future__ import annotations

import pytest

from harness.protocols.line_splitter import LineSplitter


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n"])
def test_every_usual_line_end_ends_a_line(end: bytes) -> None:
    """LF, CR, CRLF."""
    lines = LineSplitter(10).receive(end.join([b"one", b"two", b"rest"]))
    assert [b"one", b"two"] == [line for line in lines if line]


def test_a_line_may_come_in_pieces() -> None:
    """Down to single bytes."""
    splitter = LineSplitter(10)
    assert [b"abc"] == [line for byte in b"abc\n" for line in splitter.receive(bytes([byte]))]


@pytest.mark.parametrize("piece", [1, 3, 100])
def test_a_line_too_long_is_cut_to_one_byte_more(piece: int) -> None:
    """However it came, and the next line is whole."""
    splitter = LineSplitter(4)
    data = b"x" * 50 + b"\nabcd\n"
    pieces = [data[at : at + piece] for at in range(0, len(data), piece)]
    assert [b"xxxxx", b"abcd"] == [line for part in pieces for line in splitter.receive(part)]


def test_garbage_without_a_line_end_is_not_kept() -> None:
    """Memory is bounded by the longest line."""
    splitter = LineSplitter(16)
    for _ in range(100):
        splitter.receive(b"\xff" * 1000)
    assert len(splitter._tail) == 17
