"""The text of a plan, and what it calls its blocks: a timeline has their numbers alone."""

from __future__ import annotations

from sqlalchemy import select

from handbell.base import toml
from handbell.store.database.database import Database
from handbell.store.database.tables import plans


def plan_source(store: Database, plan: str) -> str | None:
    """Return a plan's text, None where only its timelines are known."""
    with store.reading() as conn:
        source: str | None = conn.execute(
            select(plans.c.source).where(plans.c.digest == plan)
        ).scalar()
    return source


def block_names(store: Database, plan: str) -> dict[int, str]:
    """Return the names by number of the blocks that have one; {} where the text is not known."""
    try:
        blocks = toml.loads(plan_source(store, plan) or "").get("block")
    except toml.TOMLDecodeError:  # a plan may be of any version, its names taken out
        return {}
    if not isinstance(blocks, list):
        return {}
    named = {n: one.get("name") for n, one in enumerate(blocks, 1) if isinstance(one, dict)}
    return {n: name for n, name in named.items() if isinstance(name, str) and name}
