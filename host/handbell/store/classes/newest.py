"""Which class is meant by the newest one: the same for whoever asks."""

from __future__ import annotations

from sqlalchemy import select

from handbell.base.errors import UsageError
from handbell.store.database.database import Database
from handbell.store.database.tables import runs
from handbell.store.results.queries import last_row

from .gathering import parted_around


def newest(store: Database) -> tuple[int, int | None]:
    """Return the newest class, and a lone log's that was passed over for it, if any.

    A log without a clock, alone, does not hide the class that it may be of. Raises StoreError when
    there is no class.
    """
    last = last_row(store).id
    of = _may_be_of(store, last)
    return (last, None) if of is None else (of, last)


def meant(store: Database, class_id: int | None) -> int:
    """Return the class to be changed, or looked at for that; without an id the newest.

    Raises UsageError where that may be either of two, StoreError when there is no class.
    """
    if class_id is not None:
        return class_id
    number, passed_over = newest(store)
    if passed_over is not None:
        raise UsageError(
            f"The newest class may be class {passed_over}, which is one log without a clock, or "
            f"class {number}, of which that log may be",
            f"Give the number that you mean; handbell class {passed_over} --join {number} makes "
            "them one",
        )
    return number


def _may_be_of(store: Database, class_id: int) -> int | None:
    """Return the class with a clock that a log without one, alone in its class, may be of.

    The one in which its box was cut off, where that is said, else the last; None where no doubt is.
    """
    with store.reading() as conn:
        some = conn.scalars(select(runs.c.id).where(runs.c.class_id == class_id)).all()
        if len(some) != 1:
            return None
        _, rows, found = parted_around(conn, some[0])
    for place, among in found.unsure.items():
        if found.classes[place][0].run == some[0]:
            of = [found.again[place]] if place in found.again else among
            timed = [p for p in of if any(g.start_utc_us is not None for g in found.classes[p])]
            return rows[found.classes[timed[-1]][0].run].class_id if timed else None
    return None
