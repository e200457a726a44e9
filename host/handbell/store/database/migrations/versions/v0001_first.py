"""The first tables."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

DIGEST = sa.String(24)


def upgrade() -> None:
    """Build every table of the first store."""
    _plans_and_boxes()
    _classes_and_runs()
    _what_a_run_holds()


def _plans_and_boxes() -> None:
    op.create_table(
        "plans",
        sa.Column("digest", DIGEST, nullable=False),
        sa.Column("title", sa.Text, nullable=False),
        sa.Column("source", sa.Text),
        sa.PrimaryKeyConstraint("digest", name="pk_plans"),
    )
    op.create_table(
        "timelines",
        sa.Column("digest", DIGEST, nullable=False),
        sa.Column("plan", DIGEST, nullable=False),
        sa.Column("station", sa.Integer, nullable=False),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("digest", name="pk_timelines"),
        sa.ForeignKeyConstraint(["plan"], ["plans.digest"], name="fk_timelines_plan"),
    )
    op.create_table(
        "boxes",
        sa.Column("box_id", sa.String(32), nullable=False),
        sa.Column("label", sa.Text, nullable=False),
        sa.Column("station", sa.Integer, nullable=False),
        sa.Column("seen_utc_us", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("box_id", name="pk_boxes"),
    )
    op.create_table(
        "unread",
        sa.Column("digest", DIGEST, nullable=False),
        sa.Column("box_id", sa.String(32), nullable=False),
        sa.Column("collected_utc_us", sa.BigInteger, nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("journal", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("digest", name="pk_unread"),
    )


def _classes_and_runs() -> None:
    op.create_table(
        "classes",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("plan", DIGEST, nullable=False),
        sa.Column("start_utc_us", sa.BigInteger),
        sa.Column("started_by", sa.String(8), nullable=False),
        sa.Column("collected_utc_us", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_classes"),
        sa.ForeignKeyConstraint(["plan"], ["plans.digest"], name="fk_classes_plan"),
    )
    op.create_index("ix_classes_plan", "classes", ["plan"])
    op.create_table(
        "runs",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("digest", DIGEST, nullable=False),
        sa.Column("timeline", DIGEST, nullable=False),
        sa.Column("box_id", sa.String(32), nullable=False),
        sa.Column("station", sa.Integer, nullable=False),
        sa.Column("class_id", sa.Integer),
        sa.Column("state", sa.String(8), nullable=False),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("clock", sa.String(8), nullable=False),
        sa.Column("start_utc_us", sa.BigInteger),
        sa.Column("started_by", sa.String(8), nullable=False),
        sa.Column("stopped", sa.Boolean, nullable=False),
        sa.Column("end_class_ms", sa.Integer, nullable=False),
        sa.Column("late_cues", sa.Integer, nullable=False),
        sa.Column("worst_late_us", sa.BigInteger, nullable=False),
        sa.Column("broken", sa.Integer, nullable=False),
        sa.Column("battery_mv", sa.Integer),
        sa.Column("bound_us", sa.BigInteger),
        sa.Column("collected_utc_us", sa.BigInteger, nullable=False),
        sa.Column("journal", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_runs"),
        sa.UniqueConstraint("digest", name="uq_runs_digest"),
        sa.ForeignKeyConstraint(["timeline"], ["timelines.digest"], name="fk_runs_timeline"),
        sa.ForeignKeyConstraint(["class_id"], ["classes.id"], name="fk_runs_class_id"),
    )
    op.create_index("ix_runs_class_id", "runs", ["class_id"])
    op.create_table(
        "wearers",
        sa.Column("class_id", sa.Integer, nullable=False),
        sa.Column("bib", sa.Integer, nullable=False),
        sa.Column("name", sa.Text),
        sa.Column("absent", sa.Boolean, nullable=False),
        sa.PrimaryKeyConstraint("class_id", "bib", name="pk_wearers"),
        sa.ForeignKeyConstraint(["class_id"], ["classes.id"], name="fk_wearers_class_id"),
    )


def _what_a_run_holds() -> None:
    op.create_table(
        "taps",
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("slot", sa.Integer, nullable=False),
        sa.Column("bib", sa.Integer, nullable=False),
        sa.Column("window", sa.Integer, nullable=False),
        sa.Column("class_ms", sa.Integer, nullable=False),
        sa.Column("held_ms", sa.Integer, nullable=False),
        sa.Column("flags", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("run", "seq", name="pk_taps"),
        sa.ForeignKeyConstraint(["run"], ["runs.id"], name="fk_taps_run"),
    )
    op.create_table(
        "results",
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("window", sa.Integer, nullable=False),
        sa.Column("slot", sa.Integer, nullable=False),
        sa.Column("bib", sa.Integer, nullable=False),
        sa.Column("reps", sa.Integer, nullable=False),
        sa.Column("made_ms", sa.Integer, nullable=False),
        sa.Column("held_ds", sa.Integer, nullable=False),
        sa.Column("flags", sa.Integer, nullable=False),
        sa.Column("box_reps", sa.Integer),
        sa.Column("standing", sa.String(8), nullable=False),
        sa.PrimaryKeyConstraint("run", "window", "slot", name="pk_results"),
        sa.ForeignKeyConstraint(["run"], ["runs.id"], name="fk_results_run"),
    )
    op.create_table(
        "ratings",
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("bib", sa.Integer, nullable=False),
        sa.Column("rating", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("run", "bib", name="pk_ratings"),
        sa.ForeignKeyConstraint(["run"], ["runs.id"], name="fk_ratings_run"),
    )
    op.create_table(
        "notes",
        sa.Column("run", sa.Integer, nullable=False),
        sa.Column("seq", sa.Integer, nullable=False),
        sa.Column("class_ms", sa.Integer, nullable=False),
        sa.Column("fault", sa.Integer, nullable=False),
        sa.Column("value", sa.Integer, nullable=False),
        sa.Column("words", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("run", "seq", name="pk_notes"),
        sa.ForeignKeyConstraint(["run"], ["runs.id"], name="fk_notes_run"),
    )
