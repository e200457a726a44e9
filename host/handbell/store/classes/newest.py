"""Which class is meant by the newest one: the same for whoever asks."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, select

from handbell.base.errors import StoreError, UsageError
from handbell.store.database.database import Database
from handbell.store.database.tables import runs
from handbell.store.results.queries import list_classes
from handbell.store.results.records import ClassRow

from .gathering import parted_around
from .late import late


@dataclass(frozen=True)
class PassedOver:
    """A class that is one log without a clock; it may be of the class ``of``."""

    class_id: int
    of: int
    log: str


def newest(store: Database) -> tuple[int, tuple[PassedOver, ...]]:
    """Return the newest class, and the newer ones that were passed over for it.

    A log without a clock, alone, that may be of another class hides no other one. Raises StoreError
    when there is no class.
    """
    rows = list_classes(store)
    if not rows:
        raise StoreError(
            f"The store {store.name} holds no class yet", "Bring one in with handbell collect"
        )
    passed: list[PassedOver] = []
    with store.reading() as conn:
        for row in rows:
            one = _in_doubt(conn, row)
            if one is None:
                return row.id, tuple(passed)
            passed.append(one)
    return rows[0].id, ()


def meant(store: Database, class_id: int | None) -> int:
    """Return the class to be changed, or looked at for that; without an id the newest.

    Raises UsageError where that may be another one, StoreError when there is no class.
    """
    if class_id is not None:
        return class_id
    number, passed = newest(store)
    if passed:
        one = f"handbell class {passed[0].class_id}"
        what = "which is one log without a clock that may be of"
        others = (f"class {over.class_id}, {what} class {over.of}" for over in passed)
        raise UsageError(
            " or ".join((f"The newest class is class {number}", *others)),
            "Give the number that you mean; "
            f"{one} --join {passed[0].of} makes those two one, "
            f"{one} --apart {passed[0].log[:8]} says that they are two",
        )
    return number


def _in_doubt(conn: Connection, row: ClassRow) -> PassedOver | None:
    """Return a log without a clock, alone in its class, with the class that it may be of.

    The one in which its box was cut off, where that is said, else the last, one with a clock before
    others, else the one it was collected late of; None where no doubt is.
    """
    if row.start_utc_us is not None or row.boxes != 1:
        return None
    some = conn.execute(select(runs.c.id, runs.c.digest).where(runs.c.class_id == row.id)).all()
    if len(some) != 1:
        return None
    ((run, digest),) = some
    _, rows, found = parted_around(conn, run)
    for place, among in found.unsure.items():
        if found.classes[place][0].run == run and among:
            of = [found.again[place]] if place in found.again else among
            timed = [p for p in of if any(g.start_utc_us is not None for g in found.classes[p])]
            number = rows[found.classes[(timed or of)[-1]][0].run].class_id
            return PassedOver(row.id, number, digest)
    one = late(conn, row.id)
    return None if one is None else PassedOver(row.id, one.of, digest)
