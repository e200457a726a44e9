"""The store: opened once, filled by what boxes bring, read by queries."""

from __future__ import annotations

import random
import re
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from typing import TYPE_CHECKING, Any, TypeVar

from sqlalchemy import Connection, Engine, and_, inspect, select, update
from sqlalchemy.exc import DBAPIError
from sqlalchemy.sql import column, table

from handbell.base.digest import short_hex
from handbell.base.errors import StoreError

from .database import tables
from .database.bulk import insert_if_absent, insert_rows
from .database.connect import (
    TRIES,
    WAIT_MOST_S,
    address_of,
    engine_at,
    file_of,
    make_file,
    may_go_better_again,
    name_of,
    plainly,
)
from .database.look import ELSEWHERE, TABLES, NoStoreError, is_store, may_write
from .logs import timelines

if TYPE_CHECKING:
    from .logs.ingest import Ingested

T = TypeVar("T")


class Store:
    """An open store; use it as a context manager. Every ``put`` done twice changes nothing.

    ``engine`` is SQLAlchemy's.
    """

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self._writer = engine.execution_options(handbell_writes=True)
        # SQLite has one writer, and who waits for it looks again only every so often: too seldom
        # where several threads take in logs.
        one_writer = engine.dialect.name == "sqlite"
        self._turn: AbstractContextManager[Any] = threading.RLock() if one_writer else nullcontext()
        # By which logs were read lately; a name in one may have been taken out since.
        self.recent: dict[str, timelines.Timeline] = {}
        self._there: set[str] = set()  # timelines seen to be in the store; none ever leaves it

    @property
    def url(self) -> str:
        """The store's address, without a password."""
        return self.engine.url.set(query={}).render_as_string(hide_password=True)

    @property
    def name(self) -> str:
        """What to call the store in a sentence: a file's path or the address."""
        return name_of(self.engine.url)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection to read with; database errors become StoreError."""
        with plainly(self.engine.url), self.engine.connect() as conn:
            yield conn

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection whose work is committed at the end, or undone if anything fails."""
        with plainly(self.engine.url), self._turn, self._writer.begin() as conn:
            yield conn

    def doing(self, work: Callable[[Connection], T]) -> T:
        """Do work in one transaction and return what it returns, again if others were in its way.

        Only for work that may be done twice; what fails in the end becomes StoreError.
        """
        with plainly(self.engine.url):
            for left in reversed(range(TRIES)):
                try:
                    with self._turn, self._writer.begin() as conn:
                        return work(conn)
                except DBAPIError as error:
                    if not left or not may_go_better_again(error):
                        raise
                time.sleep(random.uniform(0, WAIT_MOST_S))  # so that two don't meet again
        raise AssertionError("unreachable")

    def put_plan(self, source: bytes, title: str) -> None:
        """Keep a plan's text, under the digest that its timelines carry."""
        clean = source.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        digest = short_hex(clean)
        row = {"digest": digest, "title": title, "source": clean.decode("utf-8", "replace")}
        self.doing(lambda conn: put_plan(conn, row))

    def put_timeline(self, data: bytes) -> None:
        """Keep a timeline's bytes; raises StoreError when they are broken."""
        found = timelines.decode(data)
        if not self.has_timeline(found.digest):  # a commit that changes nothing takes as long
            self.doing(lambda conn: put_timeline(conn, found, data))

    def has_timeline(self, digest: bytes | str) -> bool:
        """Return whether the store holds the timeline of a digest, in bytes or hex."""
        hexed = digest.hex() if isinstance(digest, bytes) else digest.lower()
        known = tables.timelines.c.digest
        if hexed not in self._there:
            with self.reading() as conn:
                if conn.execute(select(known).where(known == hexed)).first() is None:
                    return False
            self._there.add(hexed)
        return True

    def seen_box(self, box_id: str, label: str, station: int, utc_us: int) -> None:
        """Keep what a box said of itself when last seen; older news changes nothing."""
        row = {"box_id": box_id, "label": label, "station": station, "seen_utc_us": utc_us}
        t = tables.boxes

        def work(conn: Connection) -> None:
            if not insert_if_absent(conn, t, row):
                newer = and_(t.c.box_id == box_id, t.c.seen_utc_us <= utc_us)
                conn.execute(update(t).where(newer).values(row))

        self.doing(work)

    def add_contact(self, row: tuple[str, int, int, int, int, int, str]) -> None:
        """Keep a contact with a box's clock, its fields in the order of the table's columns."""
        values = dict(zip(tables.contacts.c.keys(), row, strict=True))
        self.doing(lambda conn: insert_if_absent(conn, tables.contacts, values))

    def contacts_of(
        self, box_id: str, since_utc_us: int
    ) -> list[tuple[str, int, int, int, int, int, str]]:
        """Return a box's contacts since then in order of UTC, fields as ``add_contact`` has."""
        t = tables.contacts
        wanted = select(t).where(t.c.box_id == box_id, t.c.utc_us >= since_utc_us)
        with self.reading() as conn:
            return [
                (r.box_id, r.boot, r.box_us, r.utc_us, r.bound_us, r.ahead_us, r.what)
                for r in conn.execute(wanted.order_by(t.c.utc_us, t.c.box_us))
            ]

    def ingest(
        self, journal: bytes, box_id: str, collected_utc_us: int, lacking: bool = False
    ) -> Ingested:
        """Take in a box's journal; see ``ingest_run``."""
        from .logs.ingest import ingest_run

        return ingest_run(self, journal, box_id, collected_utc_us, lacking)

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def put_plan(conn: Connection, row: dict[str, Any]) -> bool:
    """Keep a plan's row, or its text if only a timeline told of it; return whether it was new."""
    t = tables.plans
    if insert_if_absent(conn, t, row):
        return True
    if row["source"] is not None:
        bare = and_(t.c.digest == row["digest"], t.c.source.is_(None), ~t.c.altered)
        conn.execute(update(t).where(bare).values(row))
    return False


def put_timeline(
    conn: Connection, found: timelines.Timeline, data: bytes, altered: bool = False
) -> bool:
    """Keep a timeline, its plan's digest and title, and what it asks of each bib.

    Return whether it was new. ``altered``: a name was taken out, ``found.digest`` is the old one.
    """
    plan = {"digest": found.plan, "title": found.title, "source": None}
    insert_if_absent(conn, tables.plans, plan)
    row = {
        "digest": found.digest,
        "plan": found.plan,
        "station": found.station,
        "label": found.label,
        "data": data,
        "altered": altered,
    }
    if not insert_if_absent(conn, tables.timelines, row):
        return False
    insert_rows(conn, tables.tasks, timelines.task_rows(found, found.digest))
    return True


def open_store(url: str | None = None, *, make: bool = True) -> Store:
    """Open a store by address or file path, and bring its tables up to date.

    Without ``url``, the address in HANDBELL_STORE or a file in the user's data folder. Where
    nothing is there yet it is made, or refused without ``make``. What may not be written can be
    read. Raises StoreError when it can't be opened, is something else, or a newer program's.
    """
    address = address_of(url)
    path = file_of(address)
    reading = None
    if path is not None:
        if is_store(path):
            reading = None if may_write(path) else path
        elif make:
            make_file(path)
        else:
            raise NoStoreError(
                f"There is no store {path} yet",
                "handbell collect or handbell roster FILE makes one; or name another with --store",
            )
    store = Store(engine_at(address, reading))
    try:
        with plainly(store.engine.url):
            _bring_up_to_date(store, reading is not None)
    except BaseException:
        store.close()
        raise
    return store


def stored_version(conn: Connection) -> str | None:
    """Return the version that a store says it has, None when it is empty; raises StoreError."""
    if not inspect(conn).has_table("alembic_version"):
        return None
    versions: Any = table("alembic_version", column("version_num"))
    found: Any = conn.execute(select(versions.c.version_num)).scalar()
    if not isinstance(found, str) or not re.fullmatch("[0-9]{4}", found):
        raise StoreError(
            "The store does not say which version it is of, so it is damaged",
            "Put back a backup of it: handbell store restore FILE",
        )
    return found


def _bring_up_to_date(store: Store, reading: bool) -> None:
    with store.engine.connect() as conn:
        # Names first: another program that builds the tables meanwhile is not taken for a stranger.
        names = set(inspect(conn).get_table_names())
        if names and not names >= TABLES:
            raise StoreError(f"{store.name} is a database of something else", ELSEWHERE)
        version = stored_version(conn)
    if version == tables.VERSION:
        return
    if version is not None and version > tables.VERSION:
        raise StoreError(
            f"The store {store.name} was written by a newer handbell (its version {version}, "
            f"here {tables.VERSION})",
            "Update this program, or give another store with --store",
        )
    if reading:
        raise StoreError(
            f"The store {store.name} is of an older handbell and may not be written, so it can't "
            "be brought up to date",
            "Copy it to where you may write, and give the copy with --store",
        )
    from .database.migrate import migrate  # alembic is loaded only here

    migrate(store)
