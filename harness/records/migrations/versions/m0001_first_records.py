"""0001: first records - runs, instruments, points, observations, events, judgements."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Create all tables of the first released schema."""
    _create_run()
    _create_instrument()
    _create_point()
    _create_observation()
    _create_event()
    _create_judgement()


def _create_run() -> None:
    op.create_table(
        "run",
        sa.Column("number", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("started_wall", sa.Double(), nullable=False),
        sa.Column("started_monotonic", sa.Double(), nullable=False),
        sa.Column("utc_offset_seconds", sa.Integer(), nullable=False),
        sa.Column("serial_number", sa.Text(), nullable=False),
        sa.Column("operator", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("board_name", sa.Text(), nullable=False),
        sa.Column("board_revision", sa.Text(), nullable=False),
        sa.Column("plan_name", sa.Text(), nullable=False),
        sa.Column("bench_name", sa.Text(), nullable=False),
        sa.Column("software_version", sa.Text(), nullable=False),
        sa.Column("python_version", sa.Text(), nullable=False),
        sa.Column("platform", sa.Text(), nullable=False),
        sa.Column("setup", sa.Text(), nullable=False),
        sa.Column("setup_sha256", sa.String(64), nullable=False),
        sa.Column("seed", sa.BigInteger(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_run"),
        sa.UniqueConstraint("id", name="uq_run_id"),
    )


def _create_instrument() -> None:
    op.create_table(
        "instrument",
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.String(16), nullable=False),
        sa.Column("resource", sa.Text(), nullable=False),
        sa.Column("identity", sa.Text(), nullable=False),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.Column("calibrated", sa.Date(), nullable=True),
        sa.Column("due", sa.Date(), nullable=True),
        sa.Column("spec_column", sa.String(16), nullable=False),
        sa.Column("certificate", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("run", "ordinal", name="pk_instrument"),
        sa.UniqueConstraint("run", "name", name="uq_instrument_run_name"),
        sa.ForeignKeyConstraint(["run"], ["run.number"], name="fk_instrument_run_run"),
        sqlite_with_rowid=False,
    )


def _create_point() -> None:
    op.create_table(
        "point",
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("check_index", sa.Integer(), nullable=False),
        sa.Column("step", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("check_kind", sa.String(64), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("began_monotonic", sa.Double(), nullable=False),
        sa.Column("ended_monotonic", sa.Double(), nullable=False),
        sa.Column("began_wall", sa.Double(), nullable=False),
        sa.Column("ended_wall", sa.Double(), nullable=False),
        sa.Column("did_settle", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("run", "check_index", "step", name="pk_point"),
        sa.UniqueConstraint("run", "ordinal", name="uq_point_run_ordinal"),
        sa.ForeignKeyConstraint(["run"], ["run.number"], name="fk_point_run_run"),
        sqlite_with_rowid=False,
    )


def _create_observation() -> None:
    op.create_table(
        "observation",
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("check_index", sa.Integer(), nullable=False),
        sa.Column("step", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("wall", sa.Double(), nullable=False),
        sa.Column("monotonic", sa.Double(), nullable=False),
        sa.Column("source", sa.String(32), nullable=False),
        sa.Column("quantity", sa.String(32), nullable=False),
        sa.Column("channel", sa.Integer(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("unit", sa.String(16), nullable=False),
        sa.Column("raw", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("run", "check_index", "step", "ordinal", name="pk_observation"),
        sa.ForeignKeyConstraint(
            ["run", "check_index", "step"],
            ["point.run", "point.check_index", "point.step"],
            name="fk_observation_run_check_index_step_point",
        ),
        sqlite_with_rowid=False,
    )


def _create_event() -> None:
    op.create_table(
        "event",
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("wall", sa.Double(), nullable=False),
        sa.Column("monotonic", sa.Double(), nullable=False),
        sa.Column("kind", sa.String(64), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("data", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("run", "ordinal", name="pk_event"),
        sa.ForeignKeyConstraint(["run"], ["run.number"], name="fk_event_run_run"),
        sqlite_with_rowid=False,
    )


def _create_judgement() -> None:
    op.create_table(
        "judgement",
        sa.Column("run", sa.Integer(), nullable=False),
        sa.Column("ordinal", sa.Integer(), nullable=False),
        sa.Column("made_wall", sa.Double(), nullable=False),
        sa.Column("plan_name", sa.Text(), nullable=False),
        sa.Column("plan_sha256", sa.String(64), nullable=False),
        sa.Column("verdict", sa.String(32), nullable=False),
        sa.Column("counts", sa.Text(), nullable=False),
        sa.Column("software_version", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("run", "ordinal", name="pk_judgement"),
        sa.ForeignKeyConstraint(["run"], ["run.number"], name="fk_judgement_run_run"),
        sqlite_with_rowid=False,
    )
