"""What the store knows of halls: how each is called, and whether it has more than one."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import Connection, func, select, update

from handbell.store.database.bulk import insert_if_absent
from handbell.store.database.database import Database
from handbell.store.database.tables import halls, runs
from handbell.store.halls.own import Hall, called


def put_hall(store: Database, hall: Hall) -> None:
    """Keep what a hall is called, as its coach says it; without a name one that is known stays."""

    def work(conn: Connection) -> None:
        this = halls.c.number == hall.number
        new = insert_if_absent(conn, halls, {"number": hall.number, "name": hall.name})
        if not new and hall.name:
            conn.execute(update(halls).where(this).values(name=hall.name))

    with store.reading() as conn:
        if conn.scalar(select(halls.c.name).where(halls.c.number == hall.number)) == hall.name:
            return  # a commit that changes nothing takes as long
    store.doing(work)


def named_in(conn: Connection, number: str, name: str) -> None:
    """Keep how a bundle calls a hall; a name that is known here stays."""
    this = halls.c.number == number, halls.c.name == ""
    if not insert_if_absent(conn, halls, {"number": number, "name": name}):
        conn.execute(update(halls).where(*this).values(name=name))


def of_classes(conn: Connection, some: Collection[int]) -> dict[int, str]:
    """Return how the hall of each class is called, where that need be said and is known."""
    called_ = shown_halls(conn)
    of = select(runs.c.class_id, runs.c.hall).where(runs.c.class_id.in_(some))
    return {row.class_id: called_[row.hall] for row in conn.execute(of) if row.hall in called_}


def hall_words(conn: Connection, number: str) -> str:
    """Return how a hall is called."""
    return called(number, conn.scalar(select(halls.c.name).where(halls.c.number == number)))


def names_of(conn: Connection, numbers: Collection[str]) -> dict[str, str]:
    """Return the names of those halls that have one, by number."""
    named = select(halls.c.number, halls.c.name).where(halls.c.number.in_(numbers))
    return {row.number: row.name for row in conn.execute(named) if row.name}


def shown_halls(conn: Connection) -> dict[str, str]:
    """Return how each hall is to be called beside its classes, by number.

    Nothing where all classes are of one hall, or tell none: then it need not be said.
    """
    there = conn.scalars(select(func.distinct(runs.c.hall)).where(runs.c.class_id.is_not(None)))
    numbers = sorted(number for number in there if number is not None)
    if len(numbers) < 2:
        return {}
    names = names_of(conn, numbers)
    return {number: called(number, names.get(number)) for number in numbers}
