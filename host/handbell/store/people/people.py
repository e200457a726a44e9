"""People apart from their names: who there is, how each is called, and whom a name means.

A person is a row with an id drawn at random; classes, amendments and the roster name the id alone.
Of two records that were one person one points to the other (``same``), so that a bundle that knows
the other finds the person, and the two can be parted again. A name belongs to a hall: it means
nobody of another one.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from sqlalchemy import Connection, func, insert, select, update

from handbell.base.errors import UsageError
from handbell.base.words import quoted
from handbell.store.database import tables
from handbell.store.halls.own import called

from .names import key_of

ID_BYTES = 12


@dataclass(frozen=True)
class Somebody:
    """A record of a person; ``same`` is the person that it is, where two records were one.

    ``hall`` None: of no hall that is known. ``number`` is the order in which they came.
    """

    id: str
    name: str
    hall: str | None
    same: str | None
    number: int


def new_id() -> str:
    """Return an id for a person; it tells nothing of them."""
    return secrets.token_hex(ID_BYTES)


class People:
    """Everybody a store knows, as of now in a transaction."""

    def __init__(self, conn: Connection) -> None:
        self._conn = conn
        self._records = {row.id: Somebody(*row) for row in conn.execute(select(tables.persons))}

    def who(self, record: str | None) -> str | None:
        """Return the person of a record, None for nobody or one that was forgotten."""
        found = self._records.get(record or "")
        return None if found is None else found.same or found.id

    def label(self, record: str | None) -> str | None:
        """Return how the person of a record is called, "" and None as they are.

        That is the name, with a mark where several have it. None: they were forgotten.
        """
        return self._labels.get(self.who(record) or "") if record else record

    def records(self, person: str) -> list[Somebody]:
        """Return all records of one person."""
        return [one for one in self._records.values() if (one.same or one.id) == person]

    def named(self, name: str) -> list[str]:
        """Return the persons who have a name, without regard to case, in the order they came."""
        key = key_of(name)
        return [one.id for one in self.everybody if key_of(one.name) == key]

    def called(self, name: str) -> list[str]:
        """Return the persons whom a name, or a name with its mark, may mean in any hall."""
        key = key_of(name)
        marked = [person for person, label in self._labels.items() if key_of(label) == key]
        named = self.named(name)
        return named if len(named) > 1 else marked or named

    def one(self, name: str) -> str:
        """Return the person whom a name means; raises UsageError for nobody, or several."""
        found = self.called(name)
        if not found:
            raise UsageError(
                f"Nobody called {quoted(name[:80])} is on the roster or wore a bib",
                "handbell roster shows the names there are",
            )
        return self._only(name, found)

    def formerly(self, name: str) -> list[str]:
        """Return how those are called who had a name before, or in a record that is theirs."""
        key = key_of(name)
        found = {one.same for one in self._records.values() if one.same and key_of(one.name) == key}
        return sorted(self._labels[person] for person in found if person in self._labels)

    def alike(self, name: str) -> list[str]:
        """Return how those are called whose names have the same words in another order, or more."""
        words = _words(name)
        found = (label for one, label in self._labels.items() if words <= _words(self.name(one)))
        return sorted(found) if words else []

    def find(self, name: str, hall: str | None) -> str | None:
        """Return the person whom a name means in a hall, None for nobody.

        A name with its mark means the person in any hall. Raises UsageError where it may be
        several.
        """
        named = [one for one in self.named(name) if self.in_hall(one, hall)]
        if not named:
            key = key_of(name)
            named = [p for p in self.called(name) if key_of(self._records[p].name) != key]
        return self._only(name, named) if named else None

    def meant(self, name: str, hall: str | None) -> str:
        """Return the person whom a name means in a hall, made now if there is none yet."""
        found = self.find(name, hall)
        if found is None:
            return self.add(name, hall)
        self._at_home(found, hall)
        return found

    def add(self, name: str, hall: str | None, record: str | None = None) -> str:
        """Make a person and return the id, drawn unless given."""
        p = tables.persons
        last = self._conn.scalar(select(func.max(p.c.number))) or 0
        one = Somebody(record or new_id(), name, hall, None, last + 1)
        self._put(one)
        return one.id

    def also(self, record: str, name: str, hall: str | None, person: str) -> None:
        """Keep a record of somebody who is known already, so that it is known again."""
        last = self._conn.scalar(select(func.max(tables.persons.c.number))) or 0
        self._put(Somebody(record, name, hall, person, last + 1))

    def write(self, person: str, **values: Any) -> None:
        """Change a record."""
        p = tables.persons
        conn = self._conn
        conn.execute(update(p).where(p.c.id == person).values(values))
        row = conn.execute(select(p).where(p.c.id == person)).one()
        self._records[person] = Somebody(*row)
        self._changed()

    def in_hall(self, person: str, hall: str | None) -> bool:
        """Whether a person may be meant in a hall."""
        mine = self._records[person].hall
        return hall is None or mine is None or mine == hall

    def name(self, record: str) -> str:
        """Return the name of a person, without a mark."""
        return self._records[self.who(record) or ""].name

    def hall(self, record: str) -> str | None:
        """Return a person's hall."""
        return self._records[self.who(record) or ""].hall

    @property
    def names(self) -> set[str]:
        """Every name of every record."""
        return {one.name for one in self._records.values()}

    @property
    def everybody(self) -> list[Somebody]:
        """One record of each person, in the order in which they came."""
        return sorted(self._heads, key=lambda one: one.number)

    def _at_home(self, person: str, hall: str | None) -> None:
        """Somebody of no known hall is of the one where they were first seen."""
        if hall is not None and self._records[person].hall is None:
            self.write(person, hall=hall)

    def _put(self, one: Somebody) -> None:
        self._conn.execute(insert(tables.persons).values(vars(one)))
        self._records[one.id] = one
        self._changed()

    def _changed(self) -> None:
        self.__dict__.pop("_labels", None)

    def _only(self, name: str, found: list[str]) -> str:
        if len(found) > 1:
            which = " or ".join(quoted(self._labels[one]) for one in found)
            raise UsageError(f"Several are called {quoted(name)}", f"Say {which}")
        return found[0]

    @property
    def _heads(self) -> list[Somebody]:
        return [one for one in self._records.values() if one.same is None]

    @cached_property
    def _labels(self) -> dict[str, str]:
        by_key: dict[str, list[Somebody]] = {}
        for one in sorted(self._heads, key=lambda one: one.number):
            by_key.setdefault(key_of(one.name), []).append(one)
        labels = {some[0].id: some[0].name for some in by_key.values() if len(some) == 1}
        if len(labels) == len(self._heads):
            return labels
        taken = {key_of(label) for label in labels.values()}
        for some in by_key.values():
            if len(some) > 1:
                labels |= self._marked(some, taken)
        return labels

    def _marked(self, some: list[Somebody], taken: set[str]) -> dict[str, str]:
        """Return the names of people of one name, told apart by what is no other's of them."""
        a, h = tables.athletes.c, tables.halls.c
        ids = [one.id for one in some]
        worn = self._conn.execute(select(a.person, a.group_name).where(a.person.in_(ids)))
        groups: dict[str, str] = {row.person: row.group_name for row in worn}
        names = {row.number: row.name for row in self._conn.execute(select(h.number, h.name))}
        halls = {one.id: called(one.hall, names.get(one.hall)) for one in some if one.hall}
        found: dict[str, str] = {}
        for one in some:
            for marks in (groups, halls):
                mark = marks.get(one.id)
                words = f"{one.name} ({mark})"
                alone = sum(key_of(other) == key_of(mark or "") for other in marks.values()) == 1
                if mark and alone and key_of(words) not in taken:
                    break
            else:
                words = f"{one.name} (no. {one.number})"
            taken.add(key_of(words))
            found[one.id] = words
        return found


def _words(name: str) -> set[str]:
    return {word.strip(",;.") for word in key_of(name).split()} - {""}


def hall_of_class(conn: Connection, class_id: int) -> str | None:
    """Return the hall of a class, None where its logs tell none."""
    r = tables.runs.c
    return conn.scalar(select(r.hall).where(r.class_id == class_id, r.hall.is_not(None)).limit(1))
