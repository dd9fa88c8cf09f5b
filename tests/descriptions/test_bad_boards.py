"""Boards that contradict themselves: ranges and frame layouts."""

from __future__ import annotations

from pathlib import Path

import pytest
from description_cases import Case, faults_of

CASES = (
    Case(
        "range reversed",
        (("board.toml", "lowest_volts = 1.8", "lowest_volts = 4.8"),),
        (
            (
                "board.toml:13: cell_inputs.lowest_volts: expected less than highest_volts, "
                "4.2 V, got 4.8"
            ),
        ),
    ),
    Case(
        "core range reversed",
        (("board.toml", "[0.0, 60.0]", "[60.0, 0.0]"),),
        (
            (
                "board.toml:10: limits.thermistor_core_celsius: expected the lower temperature "
                "first, got [60.0, 0.0]"
            ),
        ),
    ),
    Case(
        "frame lacks a cell",
        (("board.toml", "channels = [1, 3]", "channels = [1, 2]"),),
        (
            (
                "board.toml:33: frame.fields: expected the cell_voltage of every cell, got "
                "none for cell 3"
            ),
        ),
    ),
    Case(
        "frame lacks several cells",
        (("board.toml", "channels = [1, 3]", "channels = [2, 2]"),),
        (
            (
                "board.toml:33: frame.fields: expected the cell_voltage of every cell, got "
                "none for cells 1 and 3"
            ),
        ),
    ),
    Case(
        "frame has a cell too many",
        (("board.toml", "channels = [1, 3]", "channels = [1, 4]"),),
        (
            (
                "board.toml:38: frame.fields[1].channels: expected cells of a board with 3 "
                "cells, got [1, 4]"
            ),
        ),
    ),
    Case(
        "frame lacks a thermistor",
        (
            (
                "board.toml",
                'quantity = "temperature"\nchannels = [1, 2]',
                'quantity = "temperature"\nchannels = [2, 2]',
            ),
        ),
        (
            (
                "board.toml:33: frame.fields: expected the temperature of every thermistor, "
                "got none for thermistor 1"
            ),
        ),
    ),
    Case(
        "channels reversed",
        (("board.toml", "channels = [1, 3]", "channels = [3, 1]"),),
        (
            (
                "board.toml:38: frame.fields[1].channels: expected the first and last cell, "
                "lower first, got [3, 1]"
            ),
        ),
    ),
    Case(
        "cells without channels",
        (("board.toml", "channels = [1, 3]\n", ""),),
        (
            (
                "board.toml:36: frame.fields[1].channels: expected the first and last cell, "
                "[1, 3], got nothing"
            ),
        ),
    ),
    Case(
        "channels of a field that has none",
        (("board.toml", 'quantity = "sequence"', 'quantity = "sequence"\nchannels = [1, 2]'),),
        (
            (
                "board.toml:35: frame.fields[0].channels: expected no channels for sequence, "
                "got [1, 2]"
            ),
        ),
    ),
    Case(
        "field twice",
        (("board.toml", 'quantity = "sequence"', 'quantity = "stack_voltage"'),),
        (
            (
                "board.toml:41: frame.fields[2]: expected stack_voltage once, in fields[0], "
                "got it again"
            ),
        ),
    ),
    Case(
        "cell twice",
        (("board.toml", 'quantity = "sequence"', 'quantity = "cell_voltage"\nchannels = [2, 2]'),),
        (
            (
                "board.toml:37: frame.fields[1]: expected cell_voltage 2 once, in fields[0], "
                "got it again"
            ),
        ),
    ),
    Case(
        "scale of zero",
        (("board.toml", "scale = 0.001", "scale = 0.0"),),
        ("board.toml:39: frame.fields[1].scale: expected a number other than 0, got 0.0",),
    ),
    Case(
        "bit of a voltage",
        (("board.toml", "scale = 0.001", "bit = 3"),),
        ("board.toml:39: frame.fields[1].bit: expected no bit for cell_voltage, got 3",),
    ),
    Case(
        "bits past the value",
        (("board-binary.toml", "bit = 0", "bit = 7"),),
        (
            (
                "board-binary.toml:51: frame.fields[3].bit: expected bits 0 to 7 of the value, "
                "got bits 7 to 8"
            ),
        ),
        board="board-binary.toml",
    ),
    Case(
        "bit in a floating value",
        (("board-binary.toml", 'type = "u8"\nbit = 0', 'type = "f32le"\nbit = 0'),),
        (
            (
                "board-binary.toml:51: frame.fields[3].bit: expected no bit in a value of type "
                "f32le, got 0"
            ),
        ),
        board="board-binary.toml",
    ),
    Case(
        "key in a csv frame",
        (("board.toml", 'quantity = "sequence"', 'quantity = "sequence"\nkey = "seq"'),),
        ('board.toml:35: frame.fields[0].key: expected no key in a csv frame, got "seq"',),
    ),
    Case(
        "type in a csv frame",
        (("board.toml", 'quantity = "sequence"', 'quantity = "sequence"\ntype = "u8"'),),
        ('board.toml:35: frame.fields[0].type: expected no type in a csv frame, got "u8"',),
    ),
    Case(
        "no key in a json frame",
        (("board-json.toml", 'key = "cells"\n', ""),),
        (
            (
                "board-json.toml:32: frame.fields[0].key: expected a key in a json-lines "
                "frame, got nothing"
            ),
        ),
        board="board-json.toml",
    ),
    Case(
        "no key in a key-value frame",
        (("board-keys.toml", 'key = "stack"\n', ""),),
        (
            (
                "board-keys.toml:37: frame.fields[1].key: expected a key in a key-value frame, "
                "got nothing"
            ),
        ),
        board="board-keys.toml",
    ),
    Case(
        "one key for many values",
        (("board-keys.toml", 'key = "c{channel}"', 'key = "cells"'),),
        (
            (
                "board-keys.toml:35: frame.fields[0].key: expected a key with {channel} for 3 "
                'channels, got "cells"'
            ),
        ),
        board="board-keys.toml",
    ),
    Case(
        "key with an unknown hole",
        (("board-keys.toml", 'key = "c{channel}"', 'key = "c{cell}"'),),
        (
            (
                "board-keys.toml:35: frame.fields[0].key: expected a key with no holes but "
                '{channel}, got "c{cell}"'
            ),
        ),
        board="board-keys.toml",
    ),
    Case(
        "key used twice",
        (("board-keys.toml", 'key = "stack"', 'key = "c2"'),),
        (
            (
                "board-keys.toml:39: frame.fields[1].key: expected a key that fields[0] does "
                'not use, got "c2"'
            ),
        ),
        board="board-keys.toml",
    ),
    Case(
        "no type in a binary frame",
        (("board-binary.toml", 'type = "i16le"\n', ""),),
        (
            (
                'board-binary.toml:42: frame.fields[2].type: expected a type such as "u16le" '
                "in a binary frame, got nothing"
            ),
        ),
        board="board-binary.toml",
    ),
    Case(
        "separator is the decimal sign",
        (("board.toml", 'form = "csv"', 'form = "csv"\ndecimal = ","'),),
        (
            (
                "board.toml:29: frame.separator: expected another character than the decimal "
                'sign, got ","'
            ),
        ),
    ),
    Case(
        "separator is the check mark",
        (("board.toml", 'form = "csv"', 'form = "csv"\ncheck_mark = ","'),),
        (
            (
                "board.toml:31: frame.check_mark: expected another character than the "
                'separator, got ","'
            ),
        ),
    ),
    Case(
        "separator is a line end",
        (("board.toml", 'form = "csv"', 'form = "csv"\nseparator = "\\n"'),),
        ('board.toml:31: frame.separator: expected characters inside a line, got "\\n"',),
    ),
)


@pytest.mark.parametrize("case", CASES, ids=str)
def test_bad_boards_are_told(case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The edited files give exactly these faults."""
    assert case.gives == faults_of(case, tmp_path, monkeypatch)
