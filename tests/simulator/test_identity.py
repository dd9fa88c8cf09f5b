"""Answers to *IDN? made for the patterns of instrument models."""

from __future__ import annotations

import re

import pytest

from harness.errors import DescriptionError
from harness.simulator.identity import four_fields, identity_text


@pytest.mark.parametrize(
    "pattern",
    [
        "generic-meter-6digit",
        r"^MAKER,34\d+A,",
        r"(?i)maker.*(3000|4000)",
        r"MAKER[ _-]?INC\.?,PS-\w+",
        "A.C|D",
        r"^Maker,(?:M1|M2),",
    ],
)
def test_the_answer_matches(pattern: str) -> None:
    """The harness will find the pattern, and the answer has four fields."""
    text = identity_text(pattern, "S-1")
    assert re.search(pattern, text)
    assert text.count(",") == 3


def test_too_clever_patterns_are_refused() -> None:
    """A look-ahead is beyond it, and the message says so."""
    with pytest.raises(DescriptionError, match="simple enough"):
        identity_text(r"^(?=.*7.*8)[A-C]{3}$", "")


@pytest.mark.parametrize(
    ("text", "expected"), [("a", "a,0,0,0"), ("a,b,c,d", "a,b,c,d"), ("a,b,c,d,e", "a,b,c,d/e")]
)
def test_four_fields(text: str, expected: str) -> None:
    """Fields are added or joined until there are four."""
    assert expected == four_fields(text)
