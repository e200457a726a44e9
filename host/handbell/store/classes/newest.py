"""Which class is meant by the newest one: the same for whoever asks."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, select

from handbell.base.errors import StoreError, UsageError
from handbell.base.words import listed
from handbell.store.database.database import Database
from handbell.store.database.tables import runs
from handbell.store.results.queries import list_classes
from handbell.store.results.records import ClassRow

from .gathering import parted_around
from .late import late


@dataclass(frozen=True)
class PassedOver:
    """A class that is one log without a clock; it may be of one of the classes ``of``."""

    class_id: int
    of: tuple[int, ...]
    log: str

    @property
    def words(self) -> str:
        """What it may be of: ``class 1 or class 2``."""
        return listed((f"class {number}" for number in self.of), "or")

    @property
    def to(self) -> str:
        """The class to put it to, where there is one; else a word for its number."""
        return str(self.of[0]) if len(self.of) == 1 else "CLASS"


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
        others = (f"class {over.class_id}, {what} {over.words}" for over in passed)
        raise UsageError(
            " or ".join((f"The newest class is class {number}", *others)),
            "Give the number that you mean; "
            f"{one} --join {passed[0].to} makes those two one, "
            f"{one} --apart {passed[0].log[:8]} says that they are two",
        )
    return number


def _in_doubt(conn: Connection, row: ClassRow) -> PassedOver | None:
    """Return a log without a clock, alone in its class, with the classes that it may be of.

    The one in which its box was cut off, where that is said, else all that it may be of, else the
    one it was collected late of; None where no doubt is.
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
            numbers = {rows[found.classes[p][0].run].class_id for p in of}
            return PassedOver(row.id, tuple(sorted(numbers)), digest)
    one = late(conn, row.id)
    return None if one is None else PassedOver(row.id, (one.of,), digest)
