"""All that a store holds of one bib, added up, to hold against presses that are known."""

from __future__ import annotations

from sqlalchemy import func, select

from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell_core.journal import RES_LEGS


def totals_of(store: Database, bib: int) -> tuple[int, int]:
    """Return (taps that meant a rep or a leg, reps) of a bib; presses between windows are none."""
    taps, results = tables.taps, tables.results
    tapped = select(func.count()).where(taps.c.bib == bib, taps.c.kind == "tap")
    are_reps = results.c.flags.op("&")(RES_LEGS) == 0
    reps = select(func.coalesce(func.sum(results.c.reps), 0)).where(results.c.bib == bib, are_reps)
    with store.reading() as conn:
        return int(conn.execute(tapped).scalar_one()), int(conn.execute(reps).scalar_one())
