"""What is expected is told from the declared types and the key's suffix."""

from __future__ import annotations

import datetime
from typing import Annotated, Any, Literal

import pytest
from pydantic import Field, TypeAdapter

from harness.descriptions.expectations import SchemaTree, unit_words
from harness.descriptions.instrument import AgeColumn
from harness.descriptions.values import Count, Flag, NotNegative, Number, Positive, Text, Whole


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("cell_volts", "volts"),
        ("ramp_volts_per_second", "volts per second"),
        ("lowest_celsius", "degrees Celsius"),
        ("temperature_ppm_of_reading_per_kelvin", "parts per million of reading per kelvin"),
        ("power_line_cycles", "power-line cycles"),
        ("set_accuracy_ppm", "parts per million"),
        ("cells", ""),
        ("kilovolts", ""),
    ],
)
def test_unit_is_the_keys_suffix(key: str, words: str) -> None:
    """The longest suffix counts, and only a whole word."""
    assert words == unit_words(key)


@pytest.mark.parametrize(
    ("declared", "words"),
    [
        (Number, "a number of volts"),
        (Positive, "a number of volts above 0"),
        (NotNegative, "a number of volts, at least 0"),
        (Positive | None, "a number of volts above 0"),
        (Annotated[Positive, Field(ge=45, le=65)], "a number of volts from 45 to 65"),
        (Annotated[Number, Field(gt=0.5, lt=1)], "a number of volts above 0.5 and below 1"),
        (Annotated[Number, Field(le=5)], "a number of volts at most 5"),
        (Annotated[Positive, Field(ge=1)], "a number of volts, at least 1"),
        (tuple[Positive, ...], "a list of numbers of volts above 0"),
        (tuple[Number, Number], "a list of 2 numbers of volts"),
    ],
    ids=str,
)
def test_numbers_have_unit_and_bounds(declared: Any, words: str) -> None:
    """The tighter of two bounds on one side is the one told."""
    tree = SchemaTree(TypeAdapter(declared).json_schema())
    assert words == tree.words(tree.root, "cell_volts")


@pytest.mark.parametrize(
    ("declared", "words"),
    [
        (Count, "a whole number, at least 1"),
        (Annotated[Whole, Field(ge=0, le=255)], "a whole number from 0 to 255"),
        (Flag, "true or false"),
        (Text, "a non-empty text"),
        (Literal["a"], '"a"'),
        (Literal["a", "b", "c"], '"a", "b" or "c"'),
        (Literal[1, 2], "1 or 2"),
        (AgeColumn, '"24h", "90d" or "1y"'),
        (datetime.date, "a date such as 2026-03-31"),
        (dict[str, Text], "a table"),
        (Annotated[dict[str, Text], Field(min_length=1)], "a table with at least 1 entry"),
        (tuple[Text, ...], "a list of non-empty texts"),
        (tuple[Flag, ...], "a list of true or false"),
        (tuple[dict[str, Text], ...], "a list of tables"),
        (Annotated[tuple[Text, ...], Field(min_length=1)], "a non-empty list of non-empty texts"),
        (tuple[tuple[Count, ...], ...], "a list of lists of whole numbers, at least 1"),
        (
            Annotated[tuple[Literal["a", "b"], ...], Field(min_length=1, max_length=2)],
            'a list of 1 to 2 values out of "a" and "b"',
        ),
    ],
    ids=str,
)
def test_other_types_are_put_in_words(declared: Any, words: str) -> None:
    """Whatever a description may declare reads after the word "expected"."""
    tree = SchemaTree(TypeAdapter(declared).json_schema())
    assert words == tree.words(tree.root, "things")
