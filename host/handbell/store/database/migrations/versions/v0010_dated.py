"""When a run began that tells no date, or a wrong one: by its box's clock, or by a coach's word."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Add the date and whose it is; of none that are there is one known."""
    op.add_column("runs", sa.Column("dated_utc_us", sa.BigInteger))
    op.add_column("runs", sa.Column("dated_by", sa.String(8)))
