"""Which class is meant by the newest one: the same for whoever asks."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import Connection, select

from handbell.base.errors import StoreError, UsageError
from handbell.base.words import listed
from handbell.store.database.database import Database
from handbell.store.database.tables import classes, runs
from handbell.store.results.queries import list_classes
from handbell.store.results.records import ClassRow

from .gathering import parted_around


@dataclass(frozen=True)
class PassedOver:
    """A class without a clock; it may be of one of the classes ``of``.

    It is one log, whose digest is ``log``, or some boxes of a class that has more, then "".
    """

    class_id: int
    of: tuple[int, ...]
    log: str

    @property
    def words(self) -> str:
        """What it may be of: ``class 1 or class 2``."""
        return listed((f"class {number}" for number in self.of), "or")

    @property
    def what(self) -> str:
        """What it is: ``one log without a clock``."""
        return "one log without a clock" if self.log else "some boxes without a clock"

    def to(self, others: Collection[PassedOver]) -> str:
        """The class to put it to, where there is one; else a word for its number.

        Not where another log may be of the same one: that may be a later log of its box.
        """
        rival = any(one.of == self.of and one.class_id != self.class_id for one in others)
        return str(self.of[0]) if len(self.of) == 1 and not rival else "CLASS"


def latest_start(store: Database) -> tuple[int, int] | None:
    """Return the class that began last by its date, and when in us since 1970; None for none."""
    c = classes.c
    wanted = select(c.id, c.start_utc_us).where(c.start_utc_us.is_not(None))
    with store.reading() as conn:
        row = conn.execute(wanted.order_by(c.start_utc_us.desc(), c.id).limit(1)).first()
    return None if row is None else (row.id, row.start_utc_us)


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
            ring = {over.class_id for over in passed}
            among = [over.class_id for over in passed if ring.issuperset(over.of)]
            if among:  # each may be of the others alone
                return among[0], tuple(over for over in passed if over.class_id > among[0])
    return passed[0].class_id, ()


def meant(store: Database, class_id: int | None) -> int:
    """Return the class to be changed, or looked at for that; without an id the newest.

    Raises UsageError where that may be another one, StoreError when there is no class.
    """
    if class_id is not None:
        return class_id
    number, passed = newest(store)
    if passed:
        one = f"handbell class {passed[0].class_id}"
        others = (
            f"class {over.class_id}, which is {over.what} that may be of {over.words}"
            for over in passed
        )
        apart = f", {one} --apart {passed[0].log[:8]} says that they are two"
        raise UsageError(
            " or ".join((f"The newest class is class {number}", *others)),
            "Give the number that you mean; "
            f"{one} --join {passed[0].to(passed)} makes those two one"
            + (apart if passed[0].log else ""),
        )
    return number


def _in_doubt(conn: Connection, row: ClassRow) -> PassedOver | None:
    """Return a class without a clock, with the classes that it may be of; None where no doubt is.

    Of a log that is alone the one in which its box was cut off, where that is said, else all that
    it may be of, the likeliest first; of several boxes those classes that have more.
    """
    if row.start_utc_us is not None:
        return None
    mine = conn.execute(select(runs.c.id, runs.c.digest).where(runs.c.class_id == row.id)).all()
    try:
        _, rows, found = parted_around(conn, mine[0].id)
    except StoreError:  # its timeline is damaged: nothing can be said of it
        return None
    number = [rows[group[0].run].class_id for group in found.classes]
    for place, among in found.unsure.items():
        if number[place] == row.id and len(mine) == 1 and among:
            of = [found.again[place]] if place in found.again else among
            return PassedOver(row.id, tuple(number[p] for p in of), mine[0].digest)
    for place, among in found.maybe:
        of = [p for p in among if len(found.classes[p]) > len(mine)]
        if number[place] == row.id and of:
            return PassedOver(row.id, tuple(number[p] for p in of), "")
    return None
