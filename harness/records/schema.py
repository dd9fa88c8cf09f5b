"""The tables of a record, for SQLite and PostgreSQL alike; the one place that names columns.

Seconds and values are double precision (SQLite REAL, PostgreSQL DOUBLE PRECISION), JSON is
kept as text so that hashes and round trips are exact, enumerations are kept as lower-case
words so that a record explains itself to any reader. NULL in `observation.value` is "no
value" (NaN inside the harness); `raw` says why. A change here needs a migration: a test
holds both equal.
"""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Date,
    Double,
    ForeignKey,
    ForeignKeyConstraint,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
)

# The newest migration; what this version of the software writes and reads.
HEAD_REVISION = "0001"

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)

# `number` is local to one database and short, because every observation carries it; `id` is
# the run's name everywhere.
run = Table(
    "run",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=True),
    Column("id", String(36), nullable=False, unique=True),
    Column("kind", String(16), nullable=False),
    Column("started_wall", Double, nullable=False),
    Column("started_monotonic", Double, nullable=False),
    Column("utc_offset_seconds", Integer, nullable=False),
    Column("serial_number", Text, nullable=False),
    Column("operator", Text, nullable=False),
    Column("station", Text, nullable=False),
    Column("board_name", Text, nullable=False),
    Column("board_revision", Text, nullable=False),
    Column("plan_name", Text, nullable=False),
    Column("bench_name", Text, nullable=False),
    Column("software_version", Text, nullable=False),
    Column("python_version", Text, nullable=False),
    Column("platform", Text, nullable=False),
    Column("setup", Text, nullable=False),
    Column("setup_sha256", String(64), nullable=False),
    Column("seed", BigInteger, nullable=True),
    Column("notes", Text, nullable=False),
)

instrument = Table(
    "instrument",
    metadata,
    Column("run", Integer, ForeignKey("run.number"), nullable=False),
    Column("ordinal", Integer, nullable=False),
    Column("name", Text, nullable=False),
    Column("role", String(16), nullable=False),
    Column("resource", Text, nullable=False),
    Column("identity", Text, nullable=False),
    Column("serial", Text, nullable=False),
    Column("calibrated", Date, nullable=True),
    Column("due", Date, nullable=True),
    Column("spec_column", String(16), nullable=False),
    Column("certificate", Text, nullable=False),
    PrimaryKeyConstraint("run", "ordinal"),
    UniqueConstraint("run", "name"),
    sqlite_with_rowid=False,
)

# `ordinal` is the order in which points were written, `step` their place in the check.
point = Table(
    "point",
    metadata,
    Column("run", Integer, ForeignKey("run.number"), nullable=False),
    Column("check_index", Integer, nullable=False),
    Column("step", Integer, nullable=False),
    Column("ordinal", Integer, nullable=False),
    Column("check_kind", String(64), nullable=False),
    Column("label", Text, nullable=False),
    Column("began_monotonic", Double, nullable=False),
    Column("ended_monotonic", Double, nullable=False),
    Column("began_wall", Double, nullable=False),
    Column("ended_wall", Double, nullable=False),
    Column("did_settle", Boolean, nullable=False),
    PrimaryKeyConstraint("run", "check_index", "step"),
    UniqueConstraint("run", "ordinal"),
    sqlite_with_rowid=False,
)

# Clustered by its key (rows of a run lie together), so reading a run is one sequential scan.
observation = Table(
    "observation",
    metadata,
    Column("run", Integer, nullable=False),
    Column("check_index", Integer, nullable=False),
    Column("step", Integer, nullable=False),
    Column("ordinal", Integer, nullable=False),
    Column("sequence", Integer, nullable=False),
    Column("wall", Double, nullable=False),
    Column("monotonic", Double, nullable=False),
    Column("source", String(32), nullable=False),
    Column("quantity", String(32), nullable=False),
    Column("channel", Integer, nullable=False),
    Column("value", Double, nullable=True),
    Column("unit", String(16), nullable=False),
    Column("raw", Text, nullable=False),
    PrimaryKeyConstraint("run", "check_index", "step", "ordinal"),
    ForeignKeyConstraint(
        ["run", "check_index", "step"], ["point.run", "point.check_index", "point.step"]
    ),
    sqlite_with_rowid=False,
)

event = Table(
    "event",
    metadata,
    Column("run", Integer, ForeignKey("run.number"), nullable=False),
    Column("ordinal", Integer, nullable=False),
    Column("wall", Double, nullable=False),
    Column("monotonic", Double, nullable=False),
    Column("kind", String(64), nullable=False),
    Column("text", Text, nullable=False),
    Column("data", Text, nullable=False),
    PrimaryKeyConstraint("run", "ordinal"),
    sqlite_with_rowid=False,
)

judgement = Table(
    "judgement",
    metadata,
    Column("run", Integer, ForeignKey("run.number"), nullable=False),
    Column("ordinal", Integer, nullable=False),
    Column("made_wall", Double, nullable=False),
    Column("plan_name", Text, nullable=False),
    Column("plan_sha256", String(64), nullable=False),
    Column("verdict", String(32), nullable=False),
    Column("counts", Text, nullable=False),
    Column("software_version", Text, nullable=False),
    PrimaryKeyConstraint("run", "ordinal"),
    sqlite_with_rowid=False,
)
