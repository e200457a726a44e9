"""The rows of an export's tables: all, some classes', one person's, with names or without."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, select

from handbell.base.errors import UsageError
from handbell.store.database import tables
from handbell.store.people.known_names import KnownNames
from handbell.store.people.names import key_of
from handbell.store.results.settle import NAME

from .schema import AT_ONCE, TABLES, TableSpec, Wanted

CODED = {"person", "who", "undone_by", "why"}  # where a name may stand
WORDS = {"title", "exercise", "why"}  # free text in which somebody's may stand
PERSONAL = ("classes", "roster")  # tables without bibs of which a person's export has a part


class Rows:
    """What is wanted of a store, table by table; raises UsageError when it has none of it."""

    def __init__(self, conn: Connection, wanted: Wanted) -> None:
        self._conn = conn
        self._wanted = wanted
        self._pairs = _pairs_of(conn, wanted.person) if wanted.person else None
        # Of others, names are known that may stand in words: of all of them, or all but one.
        self.known = None if wanted.names and not wanted.person else KnownNames(conn, wanted.person)
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
        if self._wanted.person and not self._pairs and not any(self.of(TABLES[-1])):
            raise UsageError(
                f"Nobody called {self._wanted.person[:80]} is on the roster or wore a bib",
                "handbell roster shows the names there are",
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
            row = spec.row(found)
            if self._is_wanted(spec, row):
                yield tuple(row) if self.known is None else self._nameless(spec, row, self.known)

    def _is_wanted(self, spec: TableSpec, row: Any) -> bool:
        if self._pairs is None:
            return True
        told = dict(zip((c.name for c in spec.columns), row, strict=True))
        if spec.of_bib:
            return (told["class_id"], told["bib"]) in self._pairs
        return "person" not in told or key_of(told["person"]) == key_of(self._wanted.person)

    def _nameless(self, spec: TableSpec, row: Any, known: KnownNames) -> tuple[Any, ...]:
        """Return a row without names, or for one person without the names of others."""
        names = [c.name for c in spec.columns]
        person = key_of(self._wanted.person)
        given = spec.name == "amendments" and row[names.index("what")] == NAME
        coded = set() if person else set(CODED)
        coded |= {"value", "was"} if given else set()

        def plain(name: str, value: Any) -> Any:
            if name in coded:
                return value if person and value and key_of(value) == person else None
            if name in WORDS and value:
                return known.without(value, name == "exercise")
            return value

        return tuple(plain(name, value) for name, value in zip(names, row, strict=True))


def _pairs_of(conn: Connection, person: str) -> set[tuple[int, int]]:
    """Return the classes and bibs that a person wore."""
    w = tables.wearers
    found = conn.execute(select(w.c.class_id, w.c.bib, w.c.name)).all()
    return {(r.class_id, r.bib) for r in found if r.name and key_of(r.name) == key_of(person)}
