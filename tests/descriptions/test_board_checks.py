"""Cells that no field carries are told as short spans."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from harness.descriptions.board_checks import board_remarks, channels_of
from harness.descriptions.reading import read_board

GOOD = Path(__file__).parent / "good"


@pytest.mark.parametrize(
    ("carried", "cells", "missing"),
    [
        ((1, 3), 4, "cell 4"),
        ((1, 3), 5, "cells 4, 5"),
        ((1, 3), 9, "cells 4 to 9"),
        ((2, 2), 3, "cells 1 and 3"),
        ((2, 5), 8, "cells 1 and 6 to 8"),
    ],
    ids=str,
)
def test_missing_cells_are_told_as_spans(
    carried: tuple[int, int], cells: int, missing: str
) -> None:
    """A long list of numbers would hide which end of the board is missing."""
    board = read_board(GOOD / "board.toml")
    fields = tuple(
        replace(field, channels=carried) if field.quantity == "cell_voltage" else field
        for field in board.frame.fields
    )
    changed = replace(board, cells=cells, frame=replace(board.frame, fields=fields))
    assert [f"none for {missing}"] == [remark.got for remark in board_remarks(changed)]


def test_channels_of_a_field_count_from_its_first_to_its_last() -> None:
    """Both ends belong to it; a field of the whole board has none."""
    fields = read_board(GOOD / "board.toml").frame.fields
    assert [(), (1, 2, 3), ()] == [channels_of(field) for field in fields[:3]]
