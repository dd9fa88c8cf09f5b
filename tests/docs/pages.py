"""Reading the reference pages: sections by heading, tables, fenced blocks, links."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"

_HEADING = re.compile(r"^(#+) (.*)$", re.MULTILINE)
_FENCE = re.compile(
    r"^<!-- (?P<mark>.+?) -->\n```toml\n(?P<text>.*?)^```$", re.DOTALL | re.MULTILINE
)
_ANY_FENCE = re.compile(r"^```.*?^```$", re.DOTALL | re.MULTILINE)
_LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")


@dataclass(frozen=True)
class Snippet:
    """A TOML block and the comment above it that says what it is, such as "whole bench"."""

    mark: str
    text: str


def page(name: str) -> str:
    """The text of a page in docs/."""
    return (DOCS / name).read_text(encoding="utf-8")


def without_fences(text: str) -> str:
    """`text` with fenced blocks blanked: their comment lines look like headings."""
    return _ANY_FENCE.sub(lambda found: "\n" * found[0].count("\n"), text)


def headings(text: str) -> list[str]:
    """All headings of a page, in order."""
    return [found[2] for found in _HEADING.finditer(without_fences(text))]


def section(text: str, heading: str) -> str:
    """From `heading` to the next heading, whatever its level; KeyError when there is none."""
    plain = without_fences(text)
    places = list(_HEADING.finditer(plain))
    for i, found in enumerate(places):
        if found[2] == heading:
            end = places[i + 1].start() if i + 1 < len(places) else len(plain)
            return plain[found.end() : end]
    raise KeyError(heading)


def table_rows(text: str) -> list[list[str]]:
    """Cells of every table row in `text`, headings and rules left out."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    is_rule = [all(set(cell) <= {"-", ":"} for cell in row) for row in rows]
    return [
        row
        for i, row in enumerate(rows)
        if not is_rule[i] and not (i + 1 < len(rows) and is_rule[i + 1])
    ]


def first_column(text: str) -> set[str]:
    """First cells of the table rows in `text`, without backticks."""
    return {row[0].strip("`") for row in table_rows(text)}


def snippets(text: str) -> list[Snippet]:
    """The TOML blocks that a comment marks."""
    return [Snippet(found["mark"], found["text"]) for found in _FENCE.finditer(text)]


def links(text: str) -> list[str]:
    """Targets of all links outside fenced blocks."""
    return _LINK.findall(without_fences(text))


def anchor(heading: str) -> str:
    """The anchor that a heading gets: lower case, spaces to hyphens, punctuation dropped."""
    kept = re.sub(r"[^\w\- ]", "", heading.lower())
    return kept.replace(" ", "-")
