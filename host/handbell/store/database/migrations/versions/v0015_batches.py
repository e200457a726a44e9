"""Which amendments are of one saying, and to which group a class was given."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from handbell.store.results.batches import as_before

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    """Add both; what was said at one microsecond of one bib is one saying."""
    op.add_column("classes", sa.Column("group_name", sa.Text))
    op.add_column(
        "amendments", sa.Column("batch", sa.String(24), nullable=False, server_default="")
    )
    conn = op.get_bind()
    told = conn.execute(sa.text("SELECT digest, at_utc_us, what, bib, value FROM amendments"))
    put = sa.text("UPDATE amendments SET batch = :batch WHERE digest = :digest")
    for digest, batch in as_before(map(dict, told.mappings())).items():
        conn.execute(put, {"batch": batch, "digest": digest})
    op.create_index("ix_amendments_batch", "amendments", ["batch"])
