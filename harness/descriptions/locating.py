"""The line of a key in TOML text.

Neither tomllib nor tomlkit tells where a value stands. But tomlkit writes a document back as
it was: replace the value by a marker, write, and count the lines before the marker. That is
slow (half a millisecond a look-up), so it is only done for faults.
"""

from __future__ import annotations

from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT

from harness.descriptions.faults import KeyPath

MARKER = "marker-of-tapproof-4f1c"
FIRST_LINE = 1


def line_of(text: str, path: KeyPath) -> int | None:
    """The line, from 1, of the value at `path`; of the nearest enclosing table if it is absent.

    A table's line is its header's; an inline or dotted table's is its first key's. None when
    the text is no TOML.
    """
    for length in range(len(path), 0, -1):
        try:
            line = _exact_line(text, path[:length])
        except TOMLKitError:
            return None
        if line is not None:
            return line
    return FIRST_LINE


def _exact_line(text: str, path: KeyPath) -> int | None:
    document: Any = tomlkit.parse(text)
    parent = _descend(document, path[:-1])
    item = _descend(parent, path[-1:])
    if item is None:
        return None
    if isinstance(item, AoT):
        return _table_line(text, document, item[0], path)
    if hasattr(item, "keys"):
        return _table_line(text, document, item, path)
    parent[path[-1]] = MARKER
    return _marker_line(document)


def _table_line(text: str, document: Any, table: Any, path: KeyPath) -> int | None:
    """The header above the table's first key, or the line of that key."""
    _mark_first(table)
    first = _marker_line(document)
    if first is None:
        return None
    name = next(step for step in reversed(path) if isinstance(step, str))
    return _header_above(text.split("\n"), first, name) or first


def _mark_first(table: Any) -> None:
    for key, item in table.items():
        if hasattr(item, "keys") and len(item):
            return _mark_first(item)
        if isinstance(item, AoT) and len(item) and len(item[0]):
            return _mark_first(item[0])
        table[key] = MARKER
        return None
    table[MARKER] = MARKER
    return None


def _header_above(lines: list[str], line: int, name: str) -> int | None:
    """The nearest header of `name` above `line` with only blanks and comments between."""
    for number in range(line, 0, -1):
        stripped = lines[number - 1].split("#")[0].strip()
        if stripped.startswith("[") and name in stripped:
            return number
        if stripped and number < line:
            return None
    return None


def _descend(node: Any, path: KeyPath) -> Any:
    for step in path:
        try:
            node = node[step]
        except (KeyError, IndexError, TypeError):
            return None
    return node


def _marker_line(document: Any) -> int | None:
    before, found, _ = tomlkit.dumps(document).partition(MARKER)
    return before.count("\n") + 1 if found else None
