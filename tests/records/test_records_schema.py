"""The schema is the same on SQLite and PostgreSQL, and the words in it fit their columns."""

from __future__ import annotations

import pytest
from sqlalchemy import String
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.schema import CreateTable

from harness.observation import UNITS, Quantity, Source
from harness.records.run_header import RunKind
from harness.records.schema import metadata, observation, run


@pytest.mark.parametrize("table", metadata.sorted_tables, ids=lambda table: table.name)
def test_every_table_can_be_made_on_postgresql(table) -> None:  # type: ignore[no-untyped-def]
    """No type or constraint is SQLite's own."""
    text = str(CreateTable(table).compile(dialect=postgresql.dialect()))
    assert "WITHOUT ROWID" not in text
    assert f"CREATE TABLE {table.name}" in text


def test_numbers_are_double_precision_on_both() -> None:
    """SQLite's REAL affinity and PostgreSQL's DOUBLE PRECISION, never single precision."""
    value = observation.c.value.type
    assert value.compile(dialect=sqlite.dialect()) == "DOUBLE"
    assert value.compile(dialect=postgresql.dialect()) == "DOUBLE PRECISION"


@pytest.mark.parametrize(
    ("column", "words"),
    [
        (observation.c.source, [s.name for s in Source]),
        (observation.c.quantity, [q.name for q in Quantity]),
        (observation.c.unit, list(UNITS.values())),
        (run.c.kind, [k.value for k in RunKind]),
    ],
    ids=lambda value: getattr(value, "name", ""),
)
def test_words_fit_their_columns(column, words) -> None:  # type: ignore[no-untyped-def]
    """PostgreSQL would refuse what SQLite silently takes."""
    assert isinstance(column.type, String)
    assert column.type.length is not None
    assert max(len(word) for word in words) <= column.type.length


def test_every_constraint_has_a_name() -> None:
    """A later migration can only change what has a name."""
    for table in metadata.sorted_tables:
        assert table.primary_key.name is not None
        assert all(constraint.name for constraint in table.constraints)
