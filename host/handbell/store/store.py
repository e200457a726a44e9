"""The store as others use it: filled by what boxes bring; its rooms hold the queries."""

from __future__ import annotations

from sqlalchemy import Connection, Engine, and_, func, select, update

from handbell.base.digest import short_hex

from .database import tables
from .database.bulk import insert_if_absent
from .database.database import Database
from .logs import timelines
from .logs.ingest import Ingested, ingest_run
from .logs.kept import put_plan, put_timeline


class Store(Database):
    """An open store. Every ``put`` done twice changes nothing."""

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._there: set[str] = set()  # timelines seen to be in the store; none ever leaves it

    def put_plan(self, source: bytes, title: str) -> None:
        """Keep a plan's text, under the digest that its timelines carry."""
        clean = source.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        digest = short_hex(clean)
        row = {"digest": digest, "title": title, "source": clean.decode("utf-8", "replace")}
        self.doing(lambda conn: put_plan(conn, row))

    def put_timeline(self, data: bytes) -> None:
        """Keep a timeline's bytes; raises StoreError when they are broken."""
        found = timelines.decode(data)
        if not self.timeline(found.digest):  # a commit that changes nothing takes as long
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

    def timeline(self, digest: str) -> bytes:
        """Return a timeline as it was sent, b"" when it is not here, or had a name taken out."""
        t = tables.timelines
        with self.reading() as conn:
            wanted = select(t.c.data).where(t.c.digest == digest, ~t.c.altered)
            return bytes(conn.execute(wanted).scalar() or b"")

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
        values = dict(zip(tables.contacts.c.keys(), row, strict=False))

        def work(conn: Connection) -> None:
            last = conn.scalar(select(func.max(tables.contacts.c.seq))) or 0
            insert_if_absent(conn, tables.contacts, {**values, "seq": last + 1})

        self.doing(work)

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
        return ingest_run(self, journal, box_id, collected_utc_us, lacking)
