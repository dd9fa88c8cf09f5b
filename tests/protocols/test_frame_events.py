"""Excerpts of received bytes in error sentences."""

from __future__ import annotations

from harness.protocols.frame_events import excerpt


def test_an_excerpt_is_printable_and_short() -> None:
    """Whatever a wrong baud rate makes of the bytes."""
    assert r"\x00\xffA" == excerpt(b"\x00\xffA")
    assert "x" * 40 + "..." == excerpt("x" * 41)
