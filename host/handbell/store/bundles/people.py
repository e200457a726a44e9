"""People in a bundle: how they are called there, and who of them is known here.

Rows name people as they are called there; a list beside them has each one's ids, name and hall. So
an earlier version, which has no such list, reads names, and one of its bundles is read here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, select

from handbell.base.words import quoted
from handbell.store.database import tables
from handbell.store.people.names import key_of, plain_text
from handbell.store.people.people import People, hall_of_class
from handbell.store.people.prune import prune
from handbell.store.results.settle import NAME

Told = dict[str, Any]
Runs = Mapping[str, tuple[int, int | None]]  # by a log's digest: its run, and the class that is in
# Where a row of a list names somebody.
_NAMING = {"wearers": ("name", "before"), "amendments": ("value", "was")}


def tell_people(conn: Connection, told: dict[str, list[Told]]) -> dict[str, list[Told]]:
    """Return what a bundle tells with people as they are called, and with who they are."""
    people, found = People(conn), dict[str, Told]()

    def called(record: str | None) -> str | None:
        person = people.who(record)
        if person is None:
            return "" if record else record
        label = people.label(person) or ""
        row = {"id": person, "name": people.name(person), "called": label}
        also = sorted(one.id for one in people.records(person) if one.id != person)
        found[label] = row | {"hall": people.hall(person), "also": " ".join(also)}
        return label

    named = _with_people(told, called)
    return {**told, **named, "people": [found[label] for label in sorted(found)]}


def _with_people(
    told: Mapping[str, list[Told]], who: Callable[[str | None], str | None]
) -> dict[str, list[Told]]:
    return {
        name: [
            row | {f: who(row[f]) for f in fields} if _names_somebody(name, row) else row
            for row in told[name]
        ]
        for name, fields in _NAMING.items()
    }


def _names_somebody(name: str, row: Told) -> bool:
    return name == "wearers" or row["what"] == NAME


class Met:
    """The people of a bundle as those of a store; ``made`` are who came with it."""

    def __init__(self, conn: Connection, told: Mapping[str, list[Told]], runs: Runs) -> None:
        self._conn = conn
        self._people = People(conn)
        self._known = {key_of(one["called"]): one for one in told["people"]}
        self._halls = self._halls_of(told, runs)
        self._by_bib = self._worn_here(told, runs)
        self._found: dict[str, str] = {}
        self.made: list[str] = []
        self.told = {**told, **_with_people(told, self._who)}

    def tell(self) -> list[str]:
        """Return a sentence for each person who is another than one of that name here.

        Those who came with nothing that was taken in are gone again.
        """
        prune(self._conn, self.made)
        people, said = People(self._conn), []
        for person in self.made:
            if people.who(person) is None:
                continue
            mine = people.label(person) or ""
            others = [one for one in people.named(people.name(person)) if one not in self.made]
            for other in others:
                yours = people.label(other) or ""
                said.append(
                    f"{quoted(people.name(person))} of the bundle is another person than "
                    f"yours, and called {quoted(mine)}; yours is {quoted(yours)}. If they are one: "
                    f"handbell roster --same {quoted(mine)} {quoted(yours)}"
                )
        return said

    def _who(self, called: str | None) -> str | None:
        plain = plain_text(called or "")
        if not plain:
            return called
        key = key_of(plain)
        if key not in self._found:
            self._found[key] = self._meet(plain, key)
        return self._found[key]

    def _meet(self, called: str, key: str) -> str:
        """Return who somebody is here.

        That is who has one of the ids, else who is called so and wore the same bib of the same
        class, else who is called so in the same hall; else somebody new.
        """
        people, one = self._people, self._known.get(key, {})
        name = plain_text(one.get("name", "")) or called
        records = [one["id"], *one["also"].split()] if one else []
        hall = one["hall"] if one else self._halls.get(key)
        known = (people.who(record) for record in records)
        same = next(filter(None, known), None) or self._by_bib.get(key)
        if same is None and hall is not None and self._has_one(name):
            there = [p for p in people.named(name) if people.hall(p) == hall]
            same = there[0] if len(there) == 1 else None
        if same is None:
            same = people.add(name, hall, records[0] if records else None)
            self.made.append(same)
        for record in records:
            if people.who(record) is None:
                people.also(record, name, hall, same)
        return same

    def _has_one(self, name: str) -> bool:
        """Whether no two people of the bundle have a name: which of them is known, it can't say."""
        return sum(key_of(one["name"]) == key_of(name) for one in self._known.values()) < 2

    def _halls_of(self, told: Mapping[str, list[Told]], runs: Runs) -> dict[str, str]:
        """Return the hall of a class in which the bundle gives a name, by the name's key."""
        found: dict[str, str] = {}
        for row, called in _named(told):
            class_id = runs.get(row["log"], (0, None))[1]
            hall = None if class_id is None else hall_of_class(self._conn, class_id)
            if hall is not None and not self._known:  # of an earlier version
                found.setdefault(key_of(called), hall)
        return found

    def _worn_here(self, told: Mapping[str, list[Told]], runs: Runs) -> dict[str, str]:
        """Return who wore a bib here of which the bundle gives that name, by the name's key."""
        w, found = tables.wearers.c, dict[str, str]()
        classes = {class_id for _, class_id in runs.values() if class_id is not None}
        wanted = select(w.class_id, w.bib, w.person, w.said).where(w.class_id.in_(classes))
        here = {(r.class_id, r.bib): (r.person, r.said) for r in self._conn.execute(wanted)}
        for row, called in _named(told):
            class_id = runs.get(row["log"], (0, None))[1]
            one = self._known.get(key_of(called), {})
            for record in here.get((class_id or 0, row["bib"]), ()):
                person = self._people.who(record)
                name = one.get("name", called)
                if person is not None and key_of(self._people.name(person)) == key_of(name):
                    found.setdefault(key_of(called), person)
        return found


def _named(told: Mapping[str, list[Told]]) -> Iterable[tuple[Told, str]]:
    """Give each row that names somebody, and how they are called."""
    for name, fields in _NAMING.items():
        for row in told[name]:
            if _names_somebody(name, row):
                yield from ((row, row[field]) for field in fields if row[field])
