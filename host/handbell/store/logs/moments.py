"""When each box of a class began, went on from a gate or a wait, or joined again, by its own clock.

``class_ms`` stands still at a gate and at a wait, so boxes that left one at different moments play
the same class at different times from there on. The journals' changes of state tell both.
"""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import dataclass

from sqlalchemy import select

from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell_core import journal as j
from handbell_core.runner import AT_GATE, PLAY

from .journals import BOX_CLOCK_MS
from .outages import Record

START, GATE, WAIT, JOINED = "start", "gate", "wait", "joined"


@dataclass(frozen=True)
class Moment:
    """From ``class_ms`` on a box played; it was ``utc_ms`` by its clock (None: it had none).

    ``stood_ms`` is how long it had stood at a gate or a wait, None where that is not known.
    ``left`` False: it stood there to the end of its log.
    """

    kind: str
    class_ms: int
    utc_ms: int | None
    stood_ms: int | None = None
    left: bool = True

    @property
    def zero_utc_ms(self) -> int | None:
        """UTC of ``class_ms`` 0, if it had played on from there at once."""
        return None if self.utc_ms is None or not self.left else self.utc_ms - self.class_ms


def records_of_class(store: Database, class_id: int) -> dict[int, list[Record]]:
    """Return what the logs of a class tell, by run."""
    runs = tables.runs.c
    with store.reading() as conn:
        wanted = select(runs.id, runs.journal).where(runs.class_id == class_id)
        rows = conn.execute(wanted).all()
    return {row.id: j.parse(row.journal)[0] for row in rows}


def moments_of(records: Iterable[Record]) -> list[Moment]:
    """Return the moments that a journal's records tell of, in order."""
    found: list[Moment] = []
    stands: Moment | None = None  # at a gate or a wait, since ``utc_ms``
    since: tuple[bool, int] | None = None  # the same by the clock that the box had, if it had one
    for kind, _, _, class_ms, payload in records:
        if kind != j.STATE:
            continue
        state, cause, _, told_ms = struct.unpack("<BBHq", payload)
        utc_ms = told_ms if told_ms >= 0 else None
        now = (True, told_ms) if told_ms >= 0 else (False, BOX_CLOCK_MS - told_ms)
        by_any = now if told_ms != -1 else None
        if state == AT_GATE:
            if stands is None or stands.class_ms != class_ms:
                since_ms = None if cause == j.BY_CLOCK else utc_ms
                since = None if cause == j.BY_CLOCK else by_any
                at = WAIT if cause == j.BY_WAIT else GATE
                stands = Moment(at, class_ms, since_ms, left=False)
        elif state == PLAY and cause in (j.BY_HOST, j.BY_HAND):
            if stands is None:
                found.append(Moment(START, class_ms, utc_ms))
            else:
                stood_ms = None
                if since is not None and by_any is not None and since[0] == by_any[0]:
                    stood_ms = by_any[1] - since[1]
                found.append(Moment(stands.kind, class_ms, utc_ms, stood_ms))
            stands = None
        elif state == PLAY and cause == j.BY_CLOCK:
            found.append(Moment(JOINED, class_ms, utc_ms))
    return [*found, stands] if stands is not None else found
