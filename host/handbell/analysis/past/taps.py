"""Taps as the log has them, and those of them that count."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select

from handbell.store import Store
from handbell.store.database import tables
from handbell.store.logs.acts import TAP_PAUSED
from handbell_core import journal as j

TAP = "tap"


@dataclass(frozen=True)
class TapRow:
    """One press that meant something; ``kind`` and ``flags`` as in the store.

    ``stands``: it counted, was not taken back, and no act of a remote took it back either.
    """

    run: int
    seq: int
    kind: str
    slot: int
    bib: int
    window: int
    class_ms: int
    flags: int
    stands: bool

    @property
    def outside(self) -> bool:
        """Whether nothing was to be counted."""
        return bool(self.flags & j.TAP_OUTSIDE)

    @property
    def paused(self) -> bool:
        """Whether a remote let the class stand then."""
        return bool(self.flags & TAP_PAUSED)


Key = tuple[int, int, int]  # run, window, slot


def taps_of(store: Store, class_id: int) -> list[TapRow]:
    """Return a class's taps in the order of each log."""
    t, r = tables.taps, tables.runs
    wanted = (
        select(*(t.c[name] for name in TapRow.__dataclass_fields__))
        .join(r, r.c.id == t.c.run)
        .where(r.c.class_id == class_id)
        .order_by(t.c.run, t.c.seq)
    )
    with store.reading() as conn:
        return [TapRow(*row) for row in conn.execute(wanted)]


def counted(taps: Iterable[TapRow]) -> dict[Key, list[int]]:
    """Return the ``class_ms`` of every tap that stands, by run, window and slot.

    Not by bib: of two slots that were one bib's, as a coach said, only one effort is taken. Those
    entered in a tally are left out: their times say nothing about the reps.
    """
    found: dict[Key, list[int]] = {}
    for tap in taps:
        if tap.kind == TAP and tap.stands and not tap.flags & j.TAP_TALLIED:
            found.setdefault((tap.run, tap.window, tap.slot), []).append(tap.class_ms)
    return found
