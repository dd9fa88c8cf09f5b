"""From pydantic's errors to remarks in the words of the person who wrote the file.

Only where an error happened is taken from pydantic; what was expected there is told by
`expectations`, so every kind of error reads alike.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from harness.descriptions.expectations import Node, SchemaTree, choices_of
from harness.descriptions.faults import KeyPath, Remark, nearest_hint
from harness.descriptions.toml_text import alternatives, as_toml

NOTHING = "nothing"

# Pydantic marks an error about a table's key, not its value, by this last step.
_KEY_STEP = "[key]"


def remarks_of(error: ValidationError, adapter: TypeAdapter[Any]) -> list[Remark]:
    """One remark for each of the errors, in pydantic's order."""
    tree = _tree(adapter)
    all_details = error.errors(include_url=False)
    return [_remark(tree, details) for details in all_details if not _is_echo(details)]


@cache
def _tree(adapter: TypeAdapter[Any]) -> SchemaTree:
    """The schema takes milliseconds to write, and there are few types."""
    return SchemaTree(adapter.json_schema())


def _is_echo(details: Mapping[str, Any]) -> bool:
    """Whether a list is only called short because its faulty entries were not counted."""
    if details["type"] != "too_short":
        return False
    least: int = details["ctx"]["min_length"]
    return len(details["input"]) >= least


@dataclass(frozen=True)
class _Place:
    """Where an error happened: path without tags, what is declared there and just above."""

    path: KeyPath
    node: Node
    parent: Node

    @property
    def key(self) -> str:
        """The innermost key that is a name."""
        return next((step for step in reversed(self.path) if isinstance(step, str)), "")


def _remark(tree: SchemaTree, details: Mapping[str, Any]) -> Remark:
    kind, loc = details["type"], tuple(details["loc"])
    if kind == "unexpected_keyword_argument":
        return _unknown_key(_walk(tree, loc[:-1]), str(loc[-1]))
    if loc and loc[-1] == _KEY_STEP:
        return _bad_key(tree, _walk(tree, loc[:-1]))
    if kind == "missing" and isinstance(loc[-1], str):
        place = _walk(tree, loc)
        return Remark(place.path, _expected(tree, place), NOTHING)
    # A list of fixed length that is too short: the list is at fault, not its absent entry.
    place = _walk(tree, loc[:-1] if kind == "missing" else loc)
    if "discriminator" in place.node and isinstance(details["input"], Mapping):
        return _bad_tag(place, details["input"])
    return _bad_value(tree, place, kind, details["input"])


def _walk(tree: SchemaTree, loc: Sequence[str | int]) -> _Place:
    """Follow pydantic's location, leaving out the tags it puts in after each choice of table."""
    path: list[str | int] = []
    parent: Node = {}
    node = tree.resolve(tree.root)
    for step in loc:
        if "discriminator" in node:
            node = tree.variant(node, str(step))
            continue
        parent, node = node, tree.child(node, step)
        path.append(step)
    return _Place(tuple(path), node, parent)


def _unknown_key(place: _Place, key: str) -> Remark:
    known = list(place.node.get("properties", {}))
    hint = nearest_hint(key, known) or f"known keys are {', '.join(known)}"
    return Remark((*place.path, key), "a known key", as_toml(key), hint)


def _bad_key(tree: SchemaTree, place: _Place) -> Remark:
    """A key that is none of a closed set, such as the age of an accuracy column."""
    names = choices_of(tree.resolve(place.parent["propertyNames"]))
    key = str(place.path[-1])
    hint = nearest_hint(key, [name.strip('"') for name in names])
    return Remark(place.path, f"a key out of {alternatives(names)}", as_toml(key), hint)


def _bad_tag(place: _Place, table: Mapping[str, Any]) -> Remark:
    """The key that says which kind of table this is has no known value."""
    key = place.node["discriminator"]["propertyName"]
    names = list(place.node["discriminator"]["mapping"])
    value = table.get(key)
    return Remark(
        (*place.path, key),
        alternatives([as_toml(name) for name in names]),
        NOTHING if value is None else as_toml(value),
        nearest_hint(value, names) if isinstance(value, str) else "",
    )


def _bad_value(tree: SchemaTree, place: _Place, kind: str, value: object) -> Remark:
    expected = _expected(tree, place)
    if kind == "finite_number":
        expected = expected.replace("a number", "a finite number", 1)
    return Remark(place.path, expected, as_toml(value), _value_hint(tree, place, value))


def _expected(tree: SchemaTree, place: _Place) -> str:
    return tree.words(place.node, place.key)


def _value_hint(tree: SchemaTree, place: _Place, value: object) -> str:
    """The nearest choice, or what quotes too many or too few have to do with it."""
    kind = place.node.get("type")
    choices = [choice.strip('"') for choice in choices_of(place.node)]
    if choices and isinstance(value, str):
        return nearest_hint(value, choices)
    if kind in ("number", "integer") and isinstance(value, str) and _is_number(value):
        return "write numbers without quotes"
    if place.node.get("format") == "date" and isinstance(value, str):
        return "write dates without quotes"
    if kind == "boolean" and value in ("true", "false"):
        return "write it without quotes"
    is_scalar = isinstance(value, int | float) and not isinstance(value, bool)
    is_text = kind == "string" and "format" not in place.node and not choices
    return "write texts in quotes" if is_text and is_scalar else ""


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
