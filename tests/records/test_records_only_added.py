"""Records are added, never edited: no module of the package can change or remove a row."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "harness" / "records"
CHANGING = {"update", "delete", "merge", "drop_table", "drop_all"}
MODULES = sorted(p for p in PACKAGE.rglob("*.py") if "migrations" not in p.parts)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.stem)
def test_nothing_is_updated_or_deleted(path: Path) -> None:
    """Neither by SQLAlchemy's constructs nor by SQL text."""
    tree = ast.parse(path.read_text("utf-8"))
    calls = {
        getattr(node.func, "attr", getattr(node.func, "id", ""))
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
    }
    texts = [n.value for n in ast.walk(tree) if isinstance(n, ast.Constant)]
    statements = [
        t for t in texts if isinstance(t, str) and re.match(r"\s*(UPDATE|DELETE|DROP|REPLACE)\b", t)
    ]
    assert (set(), []) == (calls & CHANGING, statements)
