"""Brings a database to the newest schema; refuses what is newer or not ours.

alembic is imported only when there is something to migrate: it takes longer to import than
everything else here.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect, text

from harness.errors import RecordError
from harness.records.schema import HEAD_REVISION

if TYPE_CHECKING:
    from alembic.config import Config

_VERSION_TABLE = "alembic_version"
_MIGRATIONS = Path(__file__).parent / "migrations"


def schema_revision(connection: Connection, place: object) -> str | None:
    """The revision of the schema in the database, None when the database is empty.

    Raises
    ------
    RecordError : the database holds tables of something else.
    """
    tables = inspect(connection).get_table_names()
    if _VERSION_TABLE in tables and "run" in tables:
        revision = connection.execute(text(f"SELECT version_num FROM {_VERSION_TABLE}")).scalar()
        return None if revision is None else str(revision)
    if tables:
        raise RecordError(
            f"{place}: expected records of tapproof or an empty database, got the table"
            f" {tables[0]!r}; choose another file"
        )
    return None


def is_up_to_date(connection: Connection, place: object) -> bool:
    """Whether the schema is the one this version reads and writes.

    Raises
    ------
    RecordError : the schema is newer than this version, or the database is not ours.
    """
    revision = schema_revision(connection, place)
    if revision is not None and revision > HEAD_REVISION:
        raise RecordError(
            f"{place}: expected records of schema {HEAD_REVISION} or older, got schema"
            f" {revision}; update tapproof"
        )
    return revision == HEAD_REVISION


def upgrade(engine: Engine, place: object) -> None:
    """Run the missing migrations, all in one transaction that holds the write lock.

    Raises
    ------
    RecordError : as `is_up_to_date`.
    """
    with engine.begin() as connection:
        # Asked again inside the transaction: another process may have been faster.
        if not is_up_to_date(connection, place):
            upgrade_connection(connection)


def upgrade_connection(connection: Connection, revision: str = "head") -> None:
    """Run the migrations up to `revision` in the transaction of `connection`."""
    from alembic import command

    config = migration_config()
    config.attributes["connection"] = connection
    command.upgrade(config, revision)


def migration_config() -> Config:
    """alembic's configuration, made here: no ini file, and no output."""
    from alembic.config import Config

    config = Config()
    # ConfigParser interpolates per cent signs, which a path may hold.
    config.set_main_option("script_location", str(_MIGRATIONS).replace("%", "%%"))
    return config
