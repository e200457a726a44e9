"""By which arming a remote led a log: those of one are one class, and all are filed anew."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Add the key; it is read from the logs that are there as they are made again."""
    op.add_column("runs", sa.Column("led_key", sa.String(16)))
    op.create_index("ix_runs_led_key", "runs", ["led_key"])
