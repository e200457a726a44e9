"""Contacts with boxes' clocks, and the clock that a run went by."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the contacts, and to each run its box's boot, clock and end."""
    op.create_table(
        "contacts",
        sa.Column("box_id", sa.String(32), nullable=False),
        sa.Column("boot", sa.Integer, nullable=False),
        sa.Column("box_us", sa.BigInteger, nullable=False),
        sa.Column("utc_us", sa.BigInteger, nullable=False),
        sa.Column("bound_us", sa.BigInteger, nullable=False),
        sa.Column("ahead_us", sa.BigInteger, nullable=False),
        sa.Column("what", sa.String(12), nullable=False),
        sa.PrimaryKeyConstraint("box_id", "boot", "box_us", "utc_us", name="pk_contacts"),
    )
    op.create_index("ix_contacts_box_id", "contacts", ["box_id", "utc_us"])
    op.add_column("runs", sa.Column("boot", sa.Integer))
    for name in ("origin_utc_us", "origin_box_us", "start_box_us", "end_box_us", "end_utc_us"):
        op.add_column("runs", sa.Column(name, sa.BigInteger))
