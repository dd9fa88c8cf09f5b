"""What a place in a description may hold, in words, from the JSON schema of the declared types.

The types are declared once (`bench`, `board`, ...); their bounds, choices and list lengths are
read from there, and the unit from the key's own suffix, so that no message can disagree with
what is checked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from harness.descriptions.toml_text import alternatives, as_toml

Node = Mapping[str, Any]

# Longest suffix first: `ramp_volts_per_second` is no plain number of seconds.
_UNITS: tuple[tuple[str, str], ...] = (
    ("volts_per_second", "volts per second"),
    ("ppm_of_reading_per_kelvin", "parts per million of reading per kelvin"),
    ("ppm_of_range_per_kelvin", "parts per million of range per kelvin"),
    ("ppm_of_reading", "parts per million of reading"),
    ("ppm_of_range", "parts per million of range"),
    ("power_line_cycles", "power-line cycles"),
    ("ppm", "parts per million"),
    ("volts", "volts"),
    ("amperes", "amperes"),
    ("ohms", "ohms"),
    ("farads", "farads"),
    ("seconds", "seconds"),
    ("hertz", "hertz"),
    ("celsius", "degrees Celsius"),
    ("kelvin", "kelvin"),
    ("percent", "percent"),
    ("bytes", "bytes"),
)


def unit_words(key: str) -> str:
    """The unit that a key's suffix names, in words; empty when it names none."""
    for suffix, words in _UNITS:
        if key == suffix or key.endswith(f"_{suffix}"):
            return words
    return ""


@dataclass(frozen=True)
class SchemaTree:
    """A JSON schema that can be walked: references are followed, "or nothing" is dropped."""

    root: Node

    def resolve(self, node: Node) -> Node:
        """`node` itself, without reference and without the alternative of absence."""
        while True:
            if "$ref" in node:
                node = self.root["$defs"][node["$ref"].rsplit("/", 1)[-1]]
            elif "anyOf" in node:
                node = next(one for one in node["anyOf"] if one.get("type") != "null")
            else:
                return node

    def child(self, node: Node, step: str | int) -> Node:
        """What stands at `step` of a table or list described by `node`."""
        if isinstance(step, int):
            fixed = node.get("prefixItems")
            return self.resolve(fixed[step] if fixed else node["items"])
        if step in node.get("properties", {}):
            return self.resolve(node["properties"][step])
        return self.resolve(node["additionalProperties"])

    def variant(self, node: Node, tag: str) -> Node:
        """The table that a tag such as `kind = "noise"` selects."""
        return self.resolve({"$ref": node["discriminator"]["mapping"][tag]})

    def words(self, node: Node, key: str, is_plural: bool = False) -> str:
        """What may stand at `node` under `key`, to follow the word "expected"."""
        node = self.resolve(node)
        choices = choices_of(node)
        if choices and is_plural:
            return f"values out of {alternatives(choices, 'and')}"
        if choices:
            return alternatives(choices)
        if node.get("type") == "array":
            return self._list_words(node, key, is_plural)
        return _scalar_words(node, unit_words(key), is_plural)

    def _list_words(self, node: Node, key: str, is_plural: bool) -> str:
        element = node["prefixItems"][0] if "prefixItems" in node else node["items"]
        return f"{_list_head(node, is_plural)} {self.words(element, key, is_plural=True)}"


def choices_of(node: Node) -> list[str]:
    """The values that a closed choice allows, as TOML writes them."""
    if "discriminator" in node:
        return []
    values = [node["const"]] if "const" in node else node.get("enum", [])
    return [as_toml(value) for value in values]


def _scalar_words(node: Node, unit: str, is_plural: bool) -> str:
    kind = node.get("type", "object")
    if kind in ("number", "integer"):
        noun = "number" if kind == "number" else "whole number"
        of_unit = f" of {unit}" if unit else ""
        return (f"{noun}s" if is_plural else f"a {noun}") + of_unit + _bound_words(node)
    if kind == "boolean":
        return "true or false"
    if kind == "string":
        return _text_words(node, is_plural)
    if is_plural:
        return "tables"
    return "a table with at least 1 entry" if node.get("minProperties") else "a table"


def _text_words(node: Node, is_plural: bool) -> str:
    if node.get("format") == "date":
        return "a date such as 2026-03-31"
    empty = "non-empty " if node.get("minLength") else ""
    return f"{empty}texts" if is_plural else f"a {empty}text"


def _list_head(node: Node, is_plural: bool) -> str:
    least, most = node.get("minItems", 0), node.get("maxItems")
    if is_plural:
        return "non-empty lists of" if least else "lists of"
    if least == 1 and most is None:
        return "a non-empty list of"
    if most is not None:
        return f"a list of {least}" if least == most else f"a list of {least} to {most}"
    return f"a list of at least {least}" if least else "a list of"


def _bound_words(node: Node) -> str:
    low, is_low_open = _tightest(node, "minimum", "exclusiveMinimum", max)
    high, is_high_open = _tightest(node, "maximum", "exclusiveMaximum", min)
    if low is None and high is None:
        return ""
    if not (low is None or high is None or is_low_open or is_high_open):
        return f" from {low:g} to {high:g}"
    lower = "" if low is None else f" above {low:g}" if is_low_open else f", at least {low:g}"
    upper = "" if high is None else f" below {high:g}" if is_high_open else f" at most {high:g}"
    return f"{lower}{' and' if lower and upper else ''}{upper}"


def _tightest(node: Node, closed: str, opened: str, pick: Any) -> tuple[float | None, bool]:
    """The bound that binds among an inclusive and an exclusive one, and whether it is open."""
    bounds = [float(node[name]) for name in (closed, opened) if name in node]
    if not bounds:
        return None, False
    bound = pick(bounds)
    return bound, node.get(opened) == bound
