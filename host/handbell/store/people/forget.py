"""Forgetting a person: the name goes from every table and from free text.

What was counted stays, by bib number; nothing links it to the person any more.
"""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field

from sqlalchemy import Connection, Table, delete, select, text, update
from sqlalchemy.exc import DBAPIError

from handbell.base.errors import UsageError
from handbell.base.words import listed, quoted
from handbell.store.database import tables
from handbell.store.database.bulk import insert_if_absent, insert_rows
from handbell.store.database.database import Database
from handbell.store.logs import timelines
from handbell.store.results.amend import settle_name
from handbell.store.results.settle import NAME

from .names import key_of, plain_text
from .people import People
from .redact import without_name, without_name_in_timeline
from .redact_sayings import NOBODY, without_in_saying

SHORTEST = 2
# Columns in which a coach may have written a name among other words.
FREE_WORDS: tuple[tuple[Table, tuple[str, ...]], ...] = (
    (tables.boxes, ("label",)),
    (tables.notes, ("words",)),
    (tables.amendments, ("who", "why", "undone_by")),
    (tables.athletes, ("group_name",)),
)
SWEPT = "persons person_notes athletes wearers amendments plans timelines tasks notes boxes sayings"


_OF_PERSON = (
    (tables.athletes, tables.athletes.c.person),
    (tables.person_notes, tables.person_notes.c.person),
    (tables.persons, tables.persons.c.id),
)
_OWNS = "SELECT pg_has_role(relowner, 'MEMBER') FROM pg_class WHERE oid = to_regclass(:name)"


@dataclass
class Forgotten:
    """Where a name stood, or stands: rows by table, backups, files; and what could not be done.

    ``ids`` are those of the person's records, ``names`` what they are called in them. Where nobody
    is called so, ``alike`` are those who nearly are.
    """

    name: str
    ids: frozenset[str] = frozenset()
    names: tuple[str, ...] = ()
    alike: list[str] = field(default_factory=list)
    rows: dict[str, int] = field(default_factory=dict)
    backups: list[str] = field(default_factory=list)
    files: list[str] = field(default_factory=list)  # see ``forget_in_files``
    warnings: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.names = self.names or (self.name,)

    def count(self, table: Table, rows: int = 1) -> None:
        """Count rows of a table in which it stood."""
        if rows:
            self.rows[table.name] = self.rows.get(table.name, 0) + rows


class _OnlyLooked(Exception):
    """Undoes the work of a dry run."""


def forget(
    store: Database, name: str, dry_run: bool = False, keep_plans: bool = False
) -> Forgotten:
    """Forget a person; doing it twice does no harm. With ``dry_run`` only say where it stands.

    ``keep_plans`` leaves the words of plans and timelines alone: a name may be an exercise's too.
    Raises UsageError for no name at all or a single letter, or one that several people have.
    """
    plain = plain_text(name)
    if len(plain) < SHORTEST:
        raise UsageError(f"{name[:20]!r} is no name to look for", "Give the whole name")
    found = Forgotten(plain)

    def work(conn: Connection) -> None:
        found.rows.clear()
        _meant(conn, found, plain)
        _take_out(conn, found, keep_plans)
        if dry_run:
            raise _OnlyLooked

    try:
        store.doing(work)
    except _OnlyLooked:
        pass
    else:
        _sweep(store, found)
    return found


def _meant(conn: Connection, found: Forgotten, plain: str) -> None:
    """Find the person's records, and the name without the mark that tells it from another's."""
    people = People(conn)
    former = [] if people.called(plain) else people.formerly(plain)
    if former:
        raise UsageError(
            f"{quoted(plain)} is called {listed(map(quoted, former), 'or')} by now",
            f"handbell forget {quoted(former[0])} takes out both names",
        )
    if not people.called(plain):
        found.alike = people.alike(plain)
        return
    person = people.one(plain)
    records = people.records(person)
    found.ids = frozenset(one.id for one in records)
    found.names = tuple({key_of(one.name): one.name for one in records}.values())


def _take_out(conn: Connection, found: Forgotten, keep_plans: bool) -> None:
    for whose, record in _OF_PERSON:
        gone = conn.execute(delete(whose).where(record.in_(found.ids)))
        found.count(whose, gone.rowcount)
    _from_wearers(conn, found)
    for name in found.names:
        _from_sayings(conn, found, name)
        for table, columns in FREE_WORDS:
            for column in columns:
                _from_words(conn, found, name, table, column)
        if not keep_plans:
            for column in ("title", "source"):
                _from_words(conn, found, name, tables.plans, column, altered=True)
            _from_timelines(conn, found, name)


def _from_wearers(conn: Connection, found: Forgotten) -> None:
    """Unname the bibs and the amendments that gave the name: what they say is nobody's now.

    An amendment in force stays, so that a name said before it does not come back to results of
    which it was said that they are another's; and an unnamed bib stays one that somebody spoke of.
    """
    a, r, w = tables.amendments, tables.runs, tables.wearers
    touched: set[tuple[int, int]] = set()
    unnamed: set[tuple[int, int]] = set()
    given = select(a, r.c.class_id).join(r, r.c.id == a.c.run).where(a.c.what == NAME)
    for row in conn.execute(given).all():
        mine = {what: "" for what in ("value", "was") if getattr(row, what) in found.ids}
        if not mine:
            continue
        this = a.c.digest == row.digest
        if "value" in mine and row.undone_utc_us is not None:
            conn.execute(delete(a).where(this))
        else:
            conn.execute(update(a).where(this).values(mine))
        found.count(a)
        touched.add((row.class_id, row.bib))
    for row in conn.execute(select(w)).all():
        worn = {"person": row.person, "said": row.said}
        gone = {what: NOBODY[what] for what, record in worn.items() if record in found.ids}
        if gone:
            there = w.c.class_id == row.class_id, w.c.bib == row.bib
            conn.execute(update(w).where(*there).values(gone))
            found.count(w)
            unnamed.add((row.class_id, row.bib))
    for class_id, bib in sorted(touched):
        settle_name(conn, class_id, bib)
    for class_id, bib in sorted(unnamed):
        insert_if_absent(conn, w, {"class_id": class_id, "bib": bib, "absent": False})


def _from_sayings(conn: Connection, found: Forgotten, name: str) -> None:
    s = tables.sayings
    for number, kept in conn.execute(select(s.c.id, s.c.kept)).all():
        plain = without_in_saying(kept, name, found.ids)
        if plain is not None:
            conn.execute(update(s).where(s.c.id == number).values(kept=plain))
            found.count(s)


def _from_words(
    conn: Connection,
    found: Forgotten,
    name: str,
    table: Table,
    column: str,
    altered: bool = False,
) -> None:
    keys = list(table.primary_key)
    for row in conn.execute(select(*keys, table.c[column].label("words"))).all():
        plain = without_name(row.words or "", name)
        if plain is not None:
            values = {column: plain} | ({"altered": True} if altered else {})
            this = [key == value for key, value in zip(keys, row, strict=False)]
            conn.execute(update(table).where(*this).values(values))
            found.count(table)


def _from_timelines(conn: Connection, found: Forgotten, name: str) -> None:
    """Put dashes for the name; the digest stays what it was, so that logs still find it."""
    t, k = tables.timelines, tables.tasks
    for digest, data in conn.execute(select(t.c.digest, t.c.data)).all():
        changed = without_name_in_timeline(data, name)
        if changed is None:
            continue
        told = timelines.decode(changed)
        values = {"data": changed, "label": told.label, "altered": True}
        conn.execute(update(t).where(t.c.digest == digest).values(values))
        conn.execute(delete(k).where(k.c.timeline == digest))
        insert_rows(conn, k, timelines.task_rows(told, digest))
        found.count(t)


def _sweep(store: Database, found: Forgotten) -> None:
    """Write anew what deleted rows stood in, so that none of their bytes stay in the files."""
    server = store.engine.dialect.name == "postgresql"
    todo = [f"VACUUM FULL {name}" for name in SWEPT.split()] if server else ["VACUUM"]
    alone = store.engine.execution_options(isolation_level="AUTOCOMMIT") if server else store.engine
    try:
        with alone.connect() as conn:
            if server and not conn.scalar(text(_OWNS), {"name": SWEPT.split()[0]}):
                found.warnings.append(
                    "The name is gone from the store, its last bytes not from the server's files. "
                    "Ask whoever keeps it to run VACUUM FULL."
                )
                return
            for words in todo:
                if server:
                    conn.execute(text(words))
                else:
                    conn.connection.cursor().execute(words)
            if not server:
                busy = conn.connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
                if busy.fetchone()[0]:
                    raise TimeoutError("another program is reading it")
    except (DBAPIError, sqlite3.Error, OSError) as error:
        why = str(getattr(error, "orig", error)).splitlines()[0]
        found.warnings.append(
            f"The name is gone from the store, its last bytes perhaps not from the files: {why}. "
            "Run forget again when nothing else uses the store."
        )
