"""The roster, what a coach corrected, and what each bib was asked for."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

DIGEST = sa.String(24)


def upgrade() -> None:
    """Add the tables and columns; what is derived from journals is then filled by ``settle``."""
    _tables()
    _taps()
    for table in ("plans", "timelines"):
        altered = sa.Column("altered", sa.Boolean, nullable=False, server_default=sa.false())
        op.add_column(table, altered)
    op.create_index("ix_runs_box_id", "runs", ["box_id", "station"])
    for name in ("median_gap_ms", "best_gap_ms", "worst_gap_ms"):
        op.add_column("results", sa.Column(name, sa.Float))
    op.add_column("results", sa.Column("amended", DIGEST))
    op.add_column("wearers", sa.Column("said", sa.Text))
    op.add_column("wearers", sa.Column("amended", DIGEST))


def _taps() -> None:
    """Build the taps anew: half the room on SQLite, no check of each row on a server."""
    op.drop_table("taps")
    numbers = ("slot", "bib", "window", "class_ms", "held_ms", "flags")
    op.create_table(
        "taps",
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        *(sa.Column(name, sa.Integer, nullable=False) for name in numbers),
        sa.Column("stands", sa.Boolean, nullable=False),
        sa.PrimaryKeyConstraint("run", "seq", name="pk_taps"),
        sqlite_with_rowid=False,
    )


def _tables() -> None:
    op.create_table(
        "athletes",
        sa.Column("key", sa.Text, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("bib", sa.Integer),
        sa.Column("group_name", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_athletes"),
    )
    op.create_table(
        "amendments",
        sa.Column("digest", DIGEST, nullable=False),
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("window", sa.Integer, nullable=False),
        sa.Column("slot", sa.Integer, nullable=False),
        sa.Column("bib", sa.Integer, nullable=False),
        sa.Column("what", sa.String(8), nullable=False),
        sa.Column("value", sa.Text, nullable=False),
        sa.Column("was", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("at_utc_us", sa.BigInteger, nullable=False),
        sa.Column("undone_utc_us", sa.BigInteger),
        sa.Column("undone_by", sa.Text),
        sa.PrimaryKeyConstraint("digest", name="pk_amendments"),
        sa.ForeignKeyConstraint(["run"], ["runs.id"], name="fk_amendments_run"),
    )
    op.create_index("ix_amendments_run", "amendments", ["run"])
    numbers = ("bib", "start_ms", "end_ms", "block", "round", "item", "ask", "tap", "every", "goal")
    op.create_table(
        "tasks",
        sa.Column("timeline", DIGEST, nullable=False),
        sa.Column("window", sa.Integer, nullable=False),
        sa.Column("slot", sa.Integer, nullable=False),
        *(sa.Column(name, sa.Integer, nullable=False) for name in numbers),
        sa.Column("both_sides", sa.Boolean, nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("timeline", "window", "slot", name="pk_tasks"),
        sa.ForeignKeyConstraint(["timeline"], ["timelines.digest"], name="fk_tasks_timeline"),
    )
