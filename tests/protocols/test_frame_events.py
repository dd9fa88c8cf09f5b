"""Received bytes as text."""

from __future__ import annotations

from harness.protocols.frame_events import GoodFrame, excerpt


def test_an_excerpt_is_printable_and_short() -> None:
    """Whatever a wrong baud rate makes of the bytes."""
    assert r"\x00\xffA" == excerpt(b"\x00\xffA")
    assert "x" * 40 + "..." == excerpt("x" * 41)


def test_a_record_shows_text_as_text_and_binary_as_hex() -> None:
    """So that a database holds no control characters."""
    assert [">17,3300*5F3A", "a5 5a 00"] == [
        GoodFrame((), None, None, raw).raw_text for raw in (b">17,3300*5F3A", b"\xa5\x5a\x00")
    ]
