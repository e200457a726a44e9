"""The store as operations find it that can do without one."""

from __future__ import annotations

from handbell.store import Store, open_store
from handbell.store.database.look import NoStoreError


def store_if_there(store_at: str | None) -> Store | None:
    """Open the store, None where the usual one is not there yet; one that was named must be."""
    try:
        return open_store(store_at, make=False)
    except NoStoreError:
        if store_at:
            raise
        return None
