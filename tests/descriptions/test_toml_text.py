"""Values in messages look as they look in the file."""

from __future__ import annotations

import datetime
import math

import pytest

from harness.descriptions.toml_text import alternatives, as_toml, figure


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (True, "true"),
        (False, "false"),
        (3, "3"),
        (3.0, "3.0"),
        (1e-6, "1e-06"),
        (math.nan, "nan"),
        (-math.inf, "-inf"),
        ("fast", '"fast"'),
        ('a "b"', r'"a \"b\""'),
        ("Grad °C", '"Grad °C"'),
        ([1, "a", [True]], '[1, "a", [true]]'),
        ((1.5, 2.5), "[1.5, 2.5]"),
        ({"a": 1, "b": "c"}, '{ a = 1, b = "c" }'),
        ({}, "{}"),
        (datetime.date(2026, 3, 2), "2026-03-02"),
        (datetime.datetime(2026, 3, 2, 10, 30), "2026-03-02T10:30:00"),
    ],
    ids=repr,
)
def test_value_is_written_as_toml(value: object, text: str) -> None:
    """Strings quoted, booleans small, dates bare."""
    assert text == as_toml(value)


def test_long_value_is_cut() -> None:
    """A message stays readable whatever stands in the file."""
    assert '"' + "x" * 56 + "..." == as_toml("x" * 500)


@pytest.mark.parametrize(
    ("words", "text"),
    [([], ""), (["a"], "a"), (["a", "b"], "a or b"), (["a", "b", "c"], "a, b or c")],
    ids=str,
)
def test_alternatives_are_a_phrase(words: list[str], text: str) -> None:
    """Commas, and one "or" before the last."""
    assert text == alternatives(words)


@pytest.mark.parametrize(
    ("value", "text"),
    [(4.2, "4.2 V"), (4.0, "4 V"), (1e6, "1000000 V"), (1e-6, "1e-06 V"), (1e12, "1e+12 V")],
    ids=str,
)
def test_figure_has_its_unit_and_no_needless_exponent(value: float, text: str) -> None:
    """A megohm is written out; what nobody would write out is not."""
    assert text == figure(value, "V")
