"""What a coach says of people: another name, that two records are one, and standing notes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from sqlalchemy import Connection, delete, select, update

from handbell.base.errors import UsageError
from handbell.base.words import quoted
from handbell.store.database import tables
from handbell.store.database.bulk import put_row
from handbell.store.database.database import Database

from .names import plain_text, too_long
from .people import People, new_id
from .wearers import names_twice

_P = tables.persons


@dataclass(frozen=True)
class Note:
    """What is noted of a person: a part that is sore, or ``BEGINNER``; ``until`` its last day.

    ``bib`` is the one that they usually wear. ``until`` None: until it is taken away.
    """

    called: str
    bib: int | None
    group: str
    what: str
    until: date | None


BEGINNER = "beginner"


def rename(store: Database, name: str, to: str) -> str:
    """Call a person otherwise, in all classes and on the roster; return how they are called.

    Raises UsageError for a name that is too long, or another's of that hall.
    """
    plain = plain_text(to)
    if not plain or too_long(plain):
        raise UsageError(f"The new name {too_long(plain) or 'is empty'}", "Give another one")

    def work(conn: Connection) -> str:
        people = People(conn)
        person = people.one(name)
        was, hall = people.name(person), people.hall(person)
        others = [one for one in people.named(plain) if people.in_hall(one, hall)]
        if [one for one in others if one != person]:
            raise UsageError(
                f"Somebody else is called {quoted(plain)}",
                f"If they are one person: handbell roster --same {quoted(name)} {quoted(plain)}",
            )
        if was != plain:
            people.write(person, name=plain)
            # It is known by the old name still where a bundle or a word in a reason has it.
            people.also(new_id(), was, hall, person)
        return people.label(person) or plain

    return store.doing(work)


def make_same(store: Database, name: str, other: str) -> str:
    """Say that two records are one person, who keeps the second's name; return how it is called.

    Raises UsageError where both wore a bib in one class; nothing is changed then.
    """

    def work(conn: Connection) -> str:
        people = People(conn)
        one, stays = people.one(name), people.one(other)
        if one == stays:
            return people.label(stays) or ""
        before = set(names_twice(conn))
        _both_noted(conn, one, stays)
        ids = [record.id for record in people.records(one)]
        conn.execute(update(_P).where(_P.c.id.in_(ids)).values(same=stays))
        twice = [words for words in names_twice(conn) if words not in before]
        if twice:
            raise UsageError(
                f"{quoted(name)} and {quoted(other)} were in one class, so they are two", twice[0]
            )
        return People(conn).label(stays) or ""

    return store.doing(work)


def make_two(store: Database, name: str) -> list[str]:
    """Say that the records which were made one person are two again; return their names.

    Raises UsageError where a person has one record, or was only called otherwise.
    """

    def work(conn: Connection) -> list[str]:
        people = People(conn)
        person = people.one(name)
        worn = _worn(conn)
        apart = [one for one in people.records(person) if one.id != person and one.id in worn]
        if not apart:
            raise UsageError(f"{quoted(name)} has one record only", "There is nothing to part")
        for one in apart:
            people.write(one.id, same=None)
        return [people.label(one) or "" for one in (person, *(one.id for one in apart))]

    return store.doing(work)


def _worn(conn: Connection) -> set[str]:
    """Return the records that a class, an amendment or the roster names."""
    w, a, t = tables.wearers.c, tables.athletes.c, tables.amendments.c
    found: set[str] = set()
    for column in (w.person, w.said, a.person, t.value, t.was):
        found.update(filter(None, conn.scalars(select(column).distinct())))
    return found


def _both_noted(conn: Connection, one: str, stays: str) -> None:
    """Give the person who stays what the other's rows say and theirs do not."""
    n, a = tables.person_notes, tables.athletes
    for row in conn.execute(select(n).where(n.c.person == one)).mappings().all():
        put_row(conn, n, {**row, "person": stays})
    conn.execute(delete(n).where(n.c.person == one))
    here = set(conn.scalars(select(a.c.person).where(a.c.person.in_([one, stays]))))
    if here == {one, stays}:
        conn.execute(delete(a).where(a.c.person == one))
    elif here == {one}:
        conn.execute(update(a).where(a.c.person == one).values(person=stays))


def put_notes(store: Database, name: str, what: list[str], until: date | None) -> list[Note]:
    """Note something of a person, in place of what was noted; nothing takes all away.

    Return all that is noted of anybody.
    """
    n = tables.person_notes

    def work(conn: Connection) -> list[Note]:
        person = People(conn).one(name)
        conn.execute(delete(n).where(n.c.person == person))
        for words in what:
            day = None if until is None else until.isoformat()
            put_row(conn, n, {"person": person, "what": words, "until": day})
        return _notes(conn)

    return store.doing(work)


def notes(store: Database) -> list[Note]:
    """Return all that is noted of anybody, what is over, too."""
    with store.reading() as conn:
        return _notes(conn)


def _notes(conn: Connection) -> list[Note]:
    n, a = tables.person_notes, tables.athletes
    people = People(conn)
    rows = conn.execute(
        select(n, a.c.bib, a.c.group_name).outerjoin(a, a.c.person == n.c.person).order_by(n.c.what)
    ).all()
    found = [
        Note(
            people.label(row.person) or "",
            row.bib,
            row.group_name or "",
            row.what,
            date.fromisoformat(row.until) if row.until else None,
        )
        for row in rows
    ]
    return sorted(found, key=lambda one: (one.called.casefold(), one.what))
