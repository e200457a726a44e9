"""By which arming a remote led a log, and when it began by its box's clock.

Those of one arming are one class, so all are filed anew. Contacts keep the order in which they
came in; of those that are there it is not known.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Add all; the key is read from the logs that are there as they are made again."""
    op.add_column("runs", sa.Column("by_box_utc_us", sa.BigInteger))
    op.execute("UPDATE runs SET by_box_utc_us = dated_utc_us WHERE dated_by = 'box'")
    op.add_column("contacts", sa.Column("seq", sa.Integer))
    op.add_column("runs", sa.Column("met_seq", sa.Integer))
    op.add_column("runs", sa.Column("led_key", sa.String(16)))
    op.create_index("ix_runs_led_key", "runs", ["led_key"])
