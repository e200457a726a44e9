"""The rows of an export's tables: all, some classes', one person's, with names or without."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, select

from handbell.base.errors import UsageError
from handbell.store.database import tables
from handbell.store.people.known_names import KnownNames
from handbell.store.people.people import People
from handbell.store.results.settle import NAME

from .schema import AT_ONCE, TABLES, TableSpec, Wanted

CODED = {"person", "who", "undone_by", "why"}  # where a name may stand
WORDS = {"title", "exercise", "why", "group"}  # free text in which somebody's may stand
PERSONAL = ("classes", "roster")  # tables without bibs of which a person's export has a part


class Rows:
    """What is wanted of a store, table by table; raises UsageError when it has none of it."""

    def __init__(self, conn: Connection, wanted: Wanted) -> None:
        self._conn = conn
        self._wanted = wanted
        self._people = People(conn)
        self._person = self._people.one(wanted.person) if wanted.person else None
        self._pairs = None if self._person is None else self._pairs_of(self._person)
        # Of others, names are known that may stand in words: of all of them, or all but one.
        mine = "" if self._person is None else self._people.name(self._person)
        self.known = None if wanted.names and not wanted.person else KnownNames(conn, mine)
        self._check()

    def _check(self) -> None:
        some = self._wanted.classes
        if some is not None:
            known = set(self._conn.scalars(select(tables.classes.c.id)))
            if some - known:
                raise UsageError(
                    f"The store holds no class {min(some - known)}",
                    "handbell report --list shows the classes there are",
                )

    @property
    def tables(self) -> list[TableSpec]:
        """The tables that this export has."""
        if self._pairs is not None:
            return [spec for spec in TABLES if spec.of_bib or spec.name in PERSONAL]
        return [spec for spec in TABLES if self._wanted.names or spec.name != "roster"]

    def of(self, spec: TableSpec) -> Iterator[tuple[Any, ...]]:
        """Give a table's rows, in the order of its columns."""
        query = spec.query()
        column = query.selected_columns.get("class_id")
        if column is not None:
            query = query.where(column.is_not(None))
            if self._wanted.classes is not None:
                query = query.where(column.in_(self._wanted.classes))
            if self._pairs is not None:
                query = query.where(column.in_({class_id for class_id, _ in self._pairs}))
        streamed = self._conn.execution_options(yield_per=AT_ONCE)
        for found in streamed.execute(query):
            row = self._called(spec, spec.row(found))
            if self._is_wanted(spec, row):
                yield tuple(row) if self.known is None else self._nameless(spec, row, self.known)

    def _called(self, spec: TableSpec, row: Sequence[Any]) -> Sequence[Any]:
        """Return a row with how people are called in place of their ids."""
        names = [c.name for c in spec.columns]
        where = [n for n, name in enumerate(names) if name == "person"]
        if spec.name == "amendments" and row[names.index("what")] == NAME:
            where = [names.index("value"), names.index("was")]
        told = list(row)
        for n in where:
            told[n] = self._people.label(told[n])
        return told

    def _is_wanted(self, spec: TableSpec, row: Sequence[Any]) -> bool:
        if self._person is None or self._pairs is None:
            return True
        told = dict(zip((c.name for c in spec.columns), row, strict=True))
        if spec.of_bib:
            return (told["class_id"], told["bib"]) in self._pairs
        return "person" not in told or told["person"] == self._people.label(self._person)

    def _nameless(self, spec: TableSpec, row: Sequence[Any], known: KnownNames) -> tuple[Any, ...]:
        """Return a row without names, or for one person without the names of others.

        Who corrected something is somebody else, too.
        """
        names = [c.name for c in spec.columns]
        mine = self._people.label(self._person)
        given = spec.name == "amendments" and row[names.index("what")] == NAME
        coded = set(CODED) - ({"person", "why"} if mine else set())
        coded |= {"value", "was"} if given else set()

        def plain(name: str, value: Any) -> Any:
            if name in coded:
                return value if mine and value == mine else None
            if name in WORDS and value:
                return known.without(value, name == "exercise")
            return value

        return tuple(plain(name, value) for name, value in zip(names, row, strict=True))

    def _pairs_of(self, person: str) -> set[tuple[int, int]]:
        """Return the classes and bibs that a person wore."""
        w = tables.wearers.c
        found = self._conn.execute(select(w.class_id, w.bib, w.person)).all()
        return {(r.class_id, r.bib) for r in found if self._people.who(r.person) == person}
