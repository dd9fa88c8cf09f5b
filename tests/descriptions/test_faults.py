"""Faults print as place, key, expectation, what came; many are raised as one."""

from __future__ import annotations

import pytest

from harness.descriptions.faults import (
    DescriptionFaults,
    Fault,
    KeyPath,
    nearest_hint,
    path_text,
)
from harness.errors import DescriptionError


def fault(file: str = "a.toml", line: int | None = 3, path: str = "x.y", hint: str = "") -> Fault:
    return Fault(file, line, path, "a table", "3", hint)


@pytest.mark.parametrize(
    ("given", "text"),
    [
        (fault(), "a.toml:3: x.y: expected a table, got 3"),
        (fault(hint="write it so"), "a.toml:3: x.y: expected a table, got 3; write it so"),
        (fault(line=None, path=""), "a.toml: expected a table, got 3"),
        (fault(path=""), "a.toml:3: expected a table, got 3"),
    ],
    ids=["plain", "with hint", "whole file", "line without key"],
)
def test_fault_prints_place_key_expected_got(given: Fault, text: str) -> None:
    """The grammar of the message, with parts that are not known left out."""
    assert text == str(given)


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ((), ""),
        (("limits", "noise_volts"), "limits.noise_volts"),
        (("check", 2, "points_volts"), "check[2].points_volts"),
        (("paths", "meter_at_cell", 1, 0), "paths.meter_at_cell[1][0]"),
        (("accuracy", "24h"), "accuracy.24h"),
        (("instruments", "left meter", "role"), 'instruments."left meter".role'),
        (("instruments", ""), 'instruments.""'),
    ],
    ids=str,
)
def test_path_is_written_as_toml_would(path: KeyPath, text: str) -> None:
    """Arrays of tables show the index, keys that need quotes have them."""
    assert text == path_text(path)


def test_faults_are_sorted_by_file_and_line() -> None:
    """Whatever the order of finding, the reader goes down one file after the other."""
    given = [fault("b.toml", 1), fault("a.toml", 10), fault("a.toml", 9), fault("a.toml", None)]
    assert [("a.toml", None), ("a.toml", 9), ("a.toml", 10), ("b.toml", 1)] == [
        (one.file, one.line) for one in DescriptionFaults(given).faults
    ]


def test_entries_of_a_list_are_sorted_as_numbers() -> None:
    """Entry 10 comes after entry 9."""
    given = [fault(path=f"x[{index}]") for index in (10, 9, 2)]
    assert ["x[2]", "x[9]", "x[10]"] == [one.path for one in DescriptionFaults(given).faults]


def test_equal_faults_are_told_once() -> None:
    """Two readers of one file may find the same fault."""
    assert 1 == len(DescriptionFaults([fault(), fault()]).faults)


def test_faults_are_a_description_error_with_all_texts() -> None:
    """Faces catch the base kind and show its text."""
    error = DescriptionFaults([fault(), fault("b.toml")])
    assert isinstance(error, DescriptionError)
    assert f"{fault()}\n{fault('b.toml')}" == str(error)


def test_nearest_known_word_is_offered() -> None:
    """One slip of the pen is told from another word."""
    assert 'did you mean "refresh_seconds"?' == nearest_hint(
        "refresh_second", ["cells", "refresh_seconds"]
    )


def test_nothing_is_offered_for_a_word_like_no_other() -> None:
    """A far-fetched offer would mislead."""
    assert "" == nearest_hint("colour", ["cells", "refresh_seconds"])
