"""What a plan calls its blocks: a timeline has only their numbers, the plan's text the names."""

from __future__ import annotations

from sqlalchemy import select

from handbell.base import toml
from handbell.store.database.database import Database
from handbell.store.database.tables import plans


def block_names(store: Database, plan: str) -> dict[int, str]:
    """Return the names by number of the blocks that have one; {} where the text is not known."""
    with store.reading() as conn:
        source = conn.execute(select(plans.c.source).where(plans.c.digest == plan)).scalar()
    try:
        blocks = toml.loads(source or "").get("block")
    except toml.TOMLDecodeError:  # a plan may be of any version, its names taken out
        return {}
    if not isinstance(blocks, list):
        return {}
    named = {n: one.get("name") for n, one in enumerate(blocks, 1) if isinstance(one, dict)}
    return {n: name for n, name in named.items() if isinstance(name, str) and name}
