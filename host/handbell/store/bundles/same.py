"""Whether what a bundle has under a digest is what the store has under it.

A digest does not vouch for what a name was taken out of. Such a plan or timeline may differ from
the one here in names alone; else one of the two is forged, and which, no store can tell.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, select

from handbell.base.errors import StoreError
from handbell.store.database import tables
from handbell.store.people.redact import may_be_one_text, may_be_one_timeline

Told = Mapping[str, Any]


def require_same(conn: Connection, told: Told, parts: Mapping[str, bytes]) -> None:
    """Raise StoreError where the bundle has another plan or timeline under a digest known here."""
    p, t = tables.plans.c, tables.timelines.c
    for one in told["timelines"]:
        if not one["altered"]:
            continue  # its digest vouches for it
        here = conn.scalar(select(t.data).where(t.digest == one["digest"]))
        if here is None:
            continue
        if not may_be_one_timeline(bytes(here), parts[f"timelines/{one['digest']}"]):
            raise _other("timeline", one["digest"])
    for one in told["plans"]:
        source = conn.scalar(select(p.source).where(p.digest == one["digest"]))
        name = f"plans/{one['digest']}.toml"
        if source is None or not one["altered"] or not one["text"]:
            continue
        if not may_be_one_text(source, parts[name].decode("utf-8", "replace")):
            raise _other("plan", one["digest"])


def _other(what: str, digest: str) -> StoreError:
    return StoreError(
        f"The {what} {digest[:8]} of the bundle has another content than the one here",
        "Nothing of it was taken in; ask for one with names, and whether that was ever changed",
    )
