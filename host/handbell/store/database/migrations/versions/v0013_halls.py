"""Of which hall each run is, how halls are called, and what was said of classes."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from handbell.store.logs.timelines import hall_of
from handbell_core.timeline import HEADER_SIZE

revision = "0013"
down_revision = "0012"


def upgrade() -> None:
    """Add all; a timeline that came in a bundle may tell a hall already."""
    op.create_table(
        "halls",
        sa.Column("number", sa.String(16), nullable=False),
        sa.Column("name", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_halls"),
    )
    op.create_table(
        "sayings",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("what", sa.String(8), nullable=False),
        sa.Column("class_id", sa.Integer, nullable=False),
        sa.Column("at_utc_us", sa.BigInteger, nullable=False),
        sa.Column("undone", sa.Boolean, nullable=False),
        sa.Column("kept", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sayings"),
    )
    op.add_column("runs", sa.Column("hall", sa.String(16)))
    conn = op.get_bind()
    heads = conn.execute(
        sa.text(f"SELECT digest, substr(data, 1, {HEADER_SIZE}) AS head FROM timelines")
    )
    told = sa.text("UPDATE runs SET hall = :hall WHERE timeline = :timeline")
    for digest, head in heads.all():
        hall = hall_of(bytes(head))
        if hall is not None:
            conn.execute(told, {"hall": hall, "timeline": digest})
