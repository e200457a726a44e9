"""Which version a store says it is of."""

from __future__ import annotations

import re
from typing import Any

from sqlalchemy import Connection, inspect, select
from sqlalchemy.sql import column, table

from handbell.base.errors import StoreError


def stored_version(conn: Connection) -> str | None:
    """Return the version that a store says it has, None when it is empty; raises StoreError."""
    if not inspect(conn).has_table("alembic_version"):
        return None
    versions: Any = table("alembic_version", column("version_num"))
    found: Any = conn.execute(select(versions.c.version_num)).scalar()
    if not isinstance(found, str) or not re.fullmatch("[0-9]{4}", found):
        raise StoreError(
            "The store does not say which version it is of, so it is damaged",
            "Put back a backup of it: handbell store restore FILE",
        )
    return found
