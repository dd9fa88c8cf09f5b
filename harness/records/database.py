"""Connections to a record database: durability, time-outs, and what its complaints mean.

Durability chosen for SQLite: write-ahead log with `synchronous=FULL`. NORMAL would be faster
and survives a killed process, but a power cut may then take back the last transactions; a
point costs seconds of bench time and one flush of milliseconds, so a point that was reported
durable shall survive a power cut too (as far as the disk tells the truth). A write-ahead log
needs a local file system: results on a network share belong there by export.

Only this module knows SQLite's pragmas and error codes.
"""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy
from sqlalchemy import Engine, event
from sqlalchemy.engine.interfaces import DBAPIConnection
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.pool import ConnectionPoolEntry, QueuePool

from harness.errors import RecordError

# Another process holds the write lock for one transaction, milliseconds; a database that is
# busy for five seconds is held by something that does not let go.
BUSY_TIMEOUT_SECONDS = 5.0
_PAUSE_BEFORE_ASKING_AGAIN_SECONDS = 0.01


def open_for_writing(path: Path, busy_timeout_seconds: float) -> Engine:
    """An engine on the SQLite file `path`, which is created when missing.

    Every transaction takes the write lock at once, so it never fails half-way for a lock.
    """
    engine = _engine(path, "rwc", busy_timeout_seconds)

    def prepare(connection: DBAPIConnection, _entry: ConnectionPoolEntry) -> None:
        _prepare_writer(connection, busy_timeout_seconds)

    event.listen(engine, "connect", prepare)
    event.listen(engine, "begin", lambda c: c.exec_driver_sql("BEGIN IMMEDIATE"))
    return engine


def open_for_reading(path: Path, busy_timeout_seconds: float) -> Engine:
    """An engine on the existing SQLite file `path` that cannot write.

    A database in a folder that cannot be written is opened as immutable when no one has it
    open for writing (the log's index would stand beside it) and its log is empty: SQLite
    would otherwise want to create that index.
    """
    log, index = (path.with_name(path.name + suffix) for suffix in ("-wal", "-shm"))
    is_at_rest = not index.exists() and (not log.exists() or log.stat().st_size == 0)
    is_immutable = is_at_rest and not os.access(path.parent, os.W_OK)
    engine = _engine(path, "ro&immutable=1" if is_immutable else "ro", busy_timeout_seconds)
    # A transaction of reads sees one state, however many statements it takes.
    event.listen(engine, "begin", lambda c: c.exec_driver_sql("BEGIN"))
    return engine


def _engine(path: Path, mode: str, busy_timeout_seconds: float) -> Engine:
    uri = f"{path.absolute().as_uri()}?mode={mode}"

    def connect() -> sqlite3.Connection:
        # isolation_level None: SQLAlchemy's begin and commit are the only ones.
        return sqlite3.connect(
            uri,
            uri=True,
            timeout=busy_timeout_seconds,
            isolation_level=None,
            check_same_thread=False,
        )

    return sqlalchemy.create_engine("sqlite://", creator=connect, poolclass=QueuePool)


def _prepare_writer(connection: DBAPIConnection, busy_timeout_seconds: float) -> None:
    """Set foreign keys, durability and the log; see the module's docstring."""
    cursor = connection.cursor()
    try:
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.execute("PRAGMA synchronous=FULL")
        cursor.execute("PRAGMA journal_mode")
        if cursor.fetchone() != ("wal",):
            _use_write_ahead_log(cursor, busy_timeout_seconds)
    finally:
        cursor.close()


def _use_write_ahead_log(cursor: Any, busy_timeout_seconds: float) -> None:
    """Switch the log on; SQLite does not wait here by itself when two processes are first."""
    deadline = time.monotonic() + busy_timeout_seconds
    while True:
        try:
            cursor.execute("PRAGMA journal_mode=WAL")
            return
        except sqlite3.OperationalError as error:
            if _primary_code(error) != sqlite3.SQLITE_BUSY or time.monotonic() >= deadline:
                raise
        time.sleep(_PAUSE_BEFORE_ASKING_AGAIN_SECONDS)


# Complaint of the database: (what is the matter, what to do).
_MEANINGS = {
    sqlite3.SQLITE_FULL: (
        "the disk is full",
        "free some space; every point kept so far is still there",
    ),
    sqlite3.SQLITE_IOERR: (
        "the disk refused to read or write",
        "check the disk and its quota; every point kept so far is still there",
    ),
    sqlite3.SQLITE_READONLY: (
        "the file or its folder is read-only",
        "make both writable or choose another results folder",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "the file cannot be opened",
        "check that the folder exists and that you may write there",
    ),
    sqlite3.SQLITE_PERM: (
        "access is denied",
        "check the permissions of the file and its folder",
    ),
    sqlite3.SQLITE_BUSY: (
        "another process holds it locked",
        "end the other process or wait for it, then try again",
    ),
    sqlite3.SQLITE_LOCKED: (
        "another connection holds it locked",
        "end the other process or wait for it, then try again",
    ),
    sqlite3.SQLITE_NOTADB: (
        "the file is no SQLite database",
        "choose another file or move this one away",
    ),
    sqlite3.SQLITE_CORRUPT: (
        "the database is damaged",
        "keep a copy of it and of its -wal file, and restore a backup",
    ),
}


@contextmanager
def explained_errors(place: object, doing: str) -> Iterator[None]:
    """Turn a database's or the system's complaint into a `RecordError`.

    Parameters
    ----------
    place : the file or database, told first; doing : what was attempted, e.g. "keep point 3".

    Raises
    ------
    RecordError : `place: cannot <doing>: <what is the matter>; <what to do>`.
    """
    try:
        yield
    except (DBAPIError, sqlite3.Error) as error:
        raise RecordError(f"{place}: cannot {doing}: {_meaning(error)}") from error
    except OSError as error:
        reason = error.strerror or str(error)
        advice = "check the folder, its permissions and the room on the disk"
        raise RecordError(f"{place}: cannot {doing}: {reason}; {advice}") from error


def _meaning(error: DBAPIError | sqlite3.Error) -> str:
    """What is the matter and what to do, in one sentence."""
    if isinstance(error, IntegrityError):
        return f"it contradicts what is already kept ({error.orig}); records are never changed"
    cause = error.orig if isinstance(error, DBAPIError) else error
    matter, advice = _MEANINGS.get(
        _primary_code(cause), (f"the database says {str(cause)!r}", "check the database")
    )
    return f"{matter}; {advice}"


def _primary_code(error: BaseException | None) -> int:
    """SQLite's primary result code (the low byte of the extended one), -1 when unknown."""
    code = getattr(error, "sqlite_errorcode", None)
    return -1 if code is None else int(code) & 0xFF
