"""What the reference pages must say of each described dataclass, told from the dataclass itself.

The words in the "may be" column are those of the error messages (`descriptions.expectations`),
so a page, a message and a type can only say the same.
"""

from __future__ import annotations

import dataclasses
from typing import Any, get_args, get_type_hints

from pydantic import TypeAdapter
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from harness.descriptions.expectations import SchemaTree
from harness.descriptions.toml_text import as_toml


@dataclasses.dataclass(frozen=True)
class Row:
    """One row of a table of keys, without its meaning."""

    name: str
    words: str
    default: str


def rows_of(described: type) -> list[Row]:
    """The rows that the table of `described` must have, in the order of its fields."""
    tree = SchemaTree(TypeAdapter(described).json_schema())
    root = tree.resolve(tree.root)
    return [
        Row(
            field.name,
            tree.words(tree.child(root, field.name), field.name),
            _default_words(field),
        )
        for field in dataclasses.fields(described)
    ]


def _default_words(field: dataclasses.Field[Any]) -> str:
    value, factory = field.default, field.default_factory
    if isinstance(value, FieldInfo):
        value, factory = value.default, value.default_factory
    if value is None:
        return "none"
    if value is not dataclasses.MISSING and value is not PydanticUndefined:
        plain = getattr(value, "value", value)
        return f"`{as_toml(plain)}`"
    if factory not in (dataclasses.MISSING, None):
        return "its defaults" if dataclasses.is_dataclass(factory) else "empty"
    return "required"


def described_below(root: Any) -> set[type]:
    """Every dataclass that a value of type `root` can contain, itself included."""
    found: set[type] = set()
    waiting: list[Any] = [root]
    while waiting:
        kind = waiting.pop()
        if isinstance(kind, type) and dataclasses.is_dataclass(kind):
            if kind not in found:
                found.add(kind)
                waiting += get_type_hints(kind).values()
        else:
            waiting += [part for part in get_args(kind) if part is not Ellipsis]
    return found
