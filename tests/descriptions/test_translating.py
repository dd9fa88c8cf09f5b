"""Every wrong value at every place gives a remark in plain words, at that place."""

from __future__ import annotations

import copy
import datetime
import math
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from harness.descriptions.faults import KeyPath, Remark
from harness.descriptions.reading import BENCH, BOARD, CURVE, INSTRUMENT, PLAN, Kind
from harness.descriptions.translating import remarks_of

GOOD = Path(__file__).parent / "good"
FILES: dict[str, Kind[Any]] = {
    "bench.toml": BENCH,
    "board.toml": BOARD,
    "board-binary.toml": BOARD,
    "plan.toml": PLAN,
    "meter.toml": INSTRUMENT,
    "supply.toml": INSTRUMENT,
    "relays.toml": INSTRUMENT,
    "curve.toml": CURVE,
    "curve-table.toml": CURVE,
    "curve-steinhart.toml": CURVE,
}
WRONG: tuple[object, ...] = (
    True,
    -1,
    0,
    10**30,
    1.5,
    math.nan,
    -math.inf,
    "",
    "x",
    "3.3",
    [],
    [[]],
    [1, 2, 3],
    ["x"],
    {},
    {"x": 1},
    [{}],
    datetime.date(2026, 3, 2),
    datetime.datetime(2026, 3, 2, 10, 0),
    datetime.time(10, 0),
)
# Words of pydantic or Python that must not reach the person who wrote the file.
LEAKS = re.compile(r"None|Input should|dataclass|dict|tuple|\[key\]|union|float|\bint\b|\bstr\b")


def places(value: Any, path: KeyPath = ()) -> Iterator[KeyPath]:
    """Every place in `value`, the whole excepted."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for step, item in items:
        yield (*path, step)
        if isinstance(item, dict | list):
            yield from places(item, (*path, step))


def replaced(data: dict[str, Any], path: KeyPath, value: object) -> dict[str, Any]:
    changed: Any = copy.deepcopy(data)
    parent = changed
    for step in path[:-1]:
        parent = parent[step]
    parent[path[-1]] = value
    return changed


def remarks_for(kind: Kind[Any], data: dict[str, Any]) -> list[Remark]:
    try:
        kind.adapter.validate_python(data)
    except ValidationError as error:
        return remarks_of(error, kind.adapter)
    return []


def stands_at(data: Any, path: KeyPath) -> bool:
    """Whether every step but the last is really there: no tag of pydantic's is in the path."""
    for step in path[:-1]:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            return False
    return True


@pytest.mark.parametrize("file", FILES)
def test_wrong_values_everywhere_are_told_in_plain_words(file: str) -> None:
    """Each remark stands in the file at or below the wrong value and leaks no jargon."""
    data = tomllib.loads((GOOD / file).read_text("utf-8"))
    told = 0
    for path in places(data):
        for value in WRONG:
            changed = replaced(data, path, value)
            for remark in remarks_for(FILES[file], changed):
                told += 1
                assert stands_at(changed, remark.path), (path, value, remark)
                shared = min(len(path), len(remark.path))
                # A changed role or kind makes the other keys of its own table unknown.
                assert path[:-1] == remark.path[: len(path) - 1] or shared == len(remark.path)
                assert remark.expected, (path, value, remark)
                assert remark.got, (path, value, remark)
                assert not LEAKS.search(remark.expected + remark.hint), remark
    assert told > 5 * len(list(places(data)))


@pytest.mark.parametrize("file", FILES)
def test_every_missing_key_is_told_as_nothing(file: str) -> None:
    """A required key left out gives one remark at its own path."""
    data = tomllib.loads((GOOD / file).read_text("utf-8"))
    told = 0
    for path in places(data):
        changed = copy.deepcopy(data)
        parent: Any = changed
        for step in path[:-1]:
            parent = parent[step]
        del parent[path[-1]]
        for remark in remarks_for(FILES[file], changed):
            told += 1
            if isinstance(path[-1], str):
                assert path == remark.path
                assert remark.got == "nothing"
    assert told > 0


def test_a_list_is_not_called_short_for_its_faulty_entries() -> None:
    """The entries' own faults are enough."""
    data = tomllib.loads((GOOD / "plan.toml").read_text("utf-8"))
    data["check"] = [{"kind": "nois"}]
    assert [("check", 0, "kind")] == [one.path for one in remarks_for(PLAN, data)]
