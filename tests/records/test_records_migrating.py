"""Migrations give exactly the declared schema; what is newer or not ours is refused."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import inspect

from harness.errors import RecordError
from harness.records.database import open_for_writing
from harness.records.migrating import migration_config, upgrade, upgrade_connection
from harness.records.schema import HEAD_REVISION, metadata
from harness.records.store import Store


def test_migrating_from_nothing_gives_the_declared_schema(tmp_path: Path) -> None:
    """alembic's autogenerate finds nothing to do after the last migration."""
    engine = open_for_writing(tmp_path / "r.sqlite", 1.0)
    upgrade(engine, "here")
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_server_default": True})
        drift = compare_metadata(context, metadata)
    engine.dispose()
    assert drift == []


def test_migrations_and_metadata_write_the_same_sql(tmp_path: Path) -> None:
    """What autogenerate does not compare (names, row ids) is the same too."""
    migrated = open_for_writing(tmp_path / "migrated.sqlite", 1.0)
    upgrade(migrated, "here")
    declared = open_for_writing(tmp_path / "declared.sqlite", 1.0)
    metadata.create_all(declared)
    described = {}
    for name, engine in (("migrated", migrated), ("declared", declared)):
        seen = inspect(engine)
        described[name] = {
            table: (
                [(c["name"], str(c["type"]), c["nullable"]) for c in seen.get_columns(table)],
                seen.get_pk_constraint(table),
                sorted(str(u) for u in seen.get_unique_constraints(table)),
                sorted(str(f) for f in seen.get_foreign_keys(table)),
                seen.get_table_options(table),
            )
            for table in metadata.tables
        }
        engine.dispose()
    assert described["declared"] == described["migrated"]


def test_head_is_the_last_migration() -> None:
    """The revision the software asks for is the newest one it ships, and there is one head."""
    script = ScriptDirectory.from_config(migration_config())
    assert list(script.get_heads()) == [HEAD_REVISION]


def test_migrations_are_numbered_in_order() -> None:
    """Each is named by its place, so that "newer" can be told from "older"."""
    script = ScriptDirectory.from_config(migration_config())
    revisions = [each.revision for each in reversed(list(script.walk_revisions()))]
    assert [f"{i:04}" for i in range(1, len(revisions) + 1)] == revisions


def test_a_migration_that_fails_leaves_nothing(tmp_path: Path) -> None:
    """Tables and the note of the migration stand or fall together."""
    path = tmp_path / "r.sqlite"
    engine = open_for_writing(path, 1.0)

    def migrate_and_fail() -> None:
        with engine.begin() as connection:
            upgrade_connection(connection)
            assert "observation" in inspect(connection).get_table_names()
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        migrate_and_fail()
    tables = inspect(engine).get_table_names()
    engine.dispose()
    assert tables == []


def set_revision(path: Path, revision: str) -> None:
    connection = sqlite3.connect(path)
    connection.execute("UPDATE alembic_version SET version_num = ?", (revision,))
    connection.commit()
    connection.close()


@pytest.mark.parametrize("opening", [Store.open, Store.open_to_read])
def test_newer_records_are_refused(tmp_path: Path, opening) -> None:  # type: ignore[no-untyped-def]
    """An older tapproof neither reads nor changes what it may misunderstand."""
    path = tmp_path / "r.sqlite"
    Store.open(path).close()
    set_revision(path, "9999")
    with pytest.raises(RecordError) as caught:
        opening(path)
    assert (
        f"{path}: expected records of schema {HEAD_REVISION} or older, got schema 9999;"
        " update tapproof"
    ) == str(caught.value)


@pytest.mark.parametrize("opening", [Store.open, Store.open_to_read])
def test_another_program_s_database_is_refused(tmp_path: Path, opening) -> None:  # type: ignore[no-untyped-def]
    """Its tables stay alone: nothing is added beside them."""
    path = tmp_path / "log.sqlite"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE ship_log (day TEXT)")
    connection.close()
    with pytest.raises(RecordError) as caught:
        opening(path)
    assert (
        f"{path}: expected records of tapproof or an empty database, got the table 'ship_log';"
        " choose another file"
    ) == str(caught.value)
    connection = sqlite3.connect(path)
    tables = connection.execute("SELECT name FROM sqlite_master").fetchall()
    connection.close()
    assert tables == [("ship_log",)]
