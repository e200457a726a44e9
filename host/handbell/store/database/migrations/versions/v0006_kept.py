"""What an import filed so that a class stays as it is, told apart from a coach's word."""

from __future__ import annotations

import hashlib

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Add this to runs; what was filed so before is known by what it is filed as."""
    kept = sa.Column("kept", sa.Boolean, nullable=False, server_default=sa.false())
    op.add_column("runs", kept)
    runs = sa.table("runs", *map(sa.column, ("digest", "filed", "kept")))
    conn = op.get_bind()
    logs: dict[str, list[str]] = {}
    filed = sa.select(runs.c.filed, runs.c.digest).where(runs.c.filed.is_not(None))
    for mark, digest in conn.execute(filed.order_by(runs.c.digest)):
        logs.setdefault(mark, []).append(digest)
    there = set(conn.scalars(sa.select(runs.c.digest)))
    for mark, some in logs.items():
        of_import = hashlib.sha256("\0".join(["kept", *some]).encode()).digest()[:12].hex()
        if mark in there or mark == of_import:
            conn.execute(sa.update(runs).where(runs.c.filed == mark).values(kept=sa.true()))
