"""Whose a run is, and what a coach said of the class it is of; of which logs a name was said."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Add these to runs and wearers; all that are there are taken for our own, filed by rule."""
    for name in ("origin", "filed"):
        op.add_column("runs", sa.Column(name, sa.String(24)))
    op.add_column("wearers", sa.Column("logs", sa.Text))
