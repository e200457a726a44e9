"""Correcting afterwards: a count, a held time, a bib, a name, or that an effort tells nothing.

What was counted or said before is kept beside who changed it, when and why, and comes back when
the amendment is undone. Nothing of the journal is touched.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from sqlalchemy import Connection, Row, and_, delete, func, select, update

from handbell.base.digest import short_hex
from handbell.base.errors import UsageError
from handbell.store.database import tables
from handbell.store.database.bulk import insert_if_absent, put_row
from handbell.store.database.database import Database
from handbell.store.logs.acts import LEFT_OUT
from handbell.store.people.names import plain_text
from handbell.store.people.people import People, hall_of_class
from handbell.store.people.wearers import check_names, clean_name
from handbell_core import journal as j
from handbell_core import timeline as t

from .efforts import COUNTS
from .places import Place, places_of
from .queries import load_class
from .records import Amendment, ClassRecord, ResultRow
from .settle import BIB, HELD, NAME, REPS, TO_END, in_force, settle_alike

WORDS_MOST = 400
REPS_MOST, BIB_MOST = 9999, 0xFFFF


@dataclass(frozen=True)
class Change:
    """What to amend, ``value`` in the store's words, by whom and why."""

    what: str
    value: str
    who: str
    why: str
    at_utc_us: int


def amend_efforts(
    store: Database, record: ClassRecord, places: Iterable[Place], change: Change
) -> list[Amendment]:
    """Amend efforts and return what is in force for them; what is so already is left alone.

    Windows without a record go to another bib, too: then that one has none there. Where somebody
    else did all of a bib's on a box, the answer to how hard it was goes along (``settle``). Raises
    UsageError when the value can't be.
    """
    return _amend(store, record, [(place, change.value) for place in places], change)


def exchange(
    store: Database, record: ClassRecord, places: Mapping[int, Sequence[Place]], change: Change
) -> list[Amendment]:
    """Say that two bibs stood at each other's buttons, as one batch; return what is in force.

    ``places`` are those that the plan has of each of the two. ``change.value`` is not looked at.
    The same again changes nothing, since it is said of the plan, not of what was said before.
    """
    one, other = places
    said = [
        (place, str(there)) for bib, there in ((one, other), (other, one)) for place in places[bib]
    ]
    return _amend(store, record, said, replace(change, what=BIB))


def _amend(
    store: Database, record: ClassRecord, said: Iterable[tuple[Place, str]], change: Change
) -> list[Amendment]:
    results = {(r.run, r.window, r.slot): r for r in record.results}
    there = {run.id: run.timeline.windows for run in record.runs}
    rows = []
    for place, value in said:
        _check(place, replace(change, value=value))
        where = {"run": place.run, "window": place.window, "slot": place.slot}
        was = _was(change.what, place, results.get((place.run, place.window, place.slot)))
        if change.what == BIB:
            was = str(there[place.run][place.window].bibs[place.slot])
        rows.append({**asdict(change), **where, "bib": place.bib, "was": was, "value": value})

    def work(conn: Connection) -> None:
        _put(conn, record.row.id, rows)
        settle_alike(conn, {row["run"] for row in rows})

    store.doing(work)
    names = ("run", "window", "slot", "what", "value")
    wanted = {tuple(row[name] for name in names) for row in rows}
    return [
        a
        for a in load_class(store, record.row.id).amendments
        if a.undone_utc_us is None and tuple(getattr(a, name) for name in names) in wanted
    ]


def amend_name(store: Database, record: ClassRecord, bib: int, change: Change) -> list[Amendment]:
    """Say that somebody else wore a bib in a class, and return what is in force for its name.

    Raises UsageError for no name, one that is too long or another bib's, or a bib that was not
    there.
    """
    name = clean_name(bib, change.value)
    if not name:
        raise UsageError(f"No name is given for bib {bib}", "To forget one: handbell bibs")
    run = places_of(record, bib)[0].run
    row = {"run": run, "window": 0, "slot": 0, "bib": bib, **asdict(change)}
    w = tables.wearers.c
    worn = select(w.person).where(w.class_id == record.row.id, w.bib == bib)

    def work(conn: Connection) -> None:
        person = People(conn).meant(name, hall_of_class(conn, record.row.id))
        said = {"value": person, "was": conn.scalar(worn) or ""}
        _put(conn, record.row.id, [row | said], name)
        settle_name(conn, record.row.id, bib)
        check_names(conn, record.row.id, [bib])

    store.doing(work)
    now = load_class(store, record.row.id).amended_names.get(bib)
    return [now] if now else []


def undo(
    store: Database, record: ClassRecord, start_of_digest: str, who: str, at_utc_us: int
) -> list[Amendment]:
    """Take a batch back, all of it or none, and return what of it is of this class.

    It is named by how its ID begins, or one of its amendments' digests; what was undone before
    stays as it is. Raises UsageError when no batch is meant, or more than one, or a name would be
    two bibs'.
    """
    start = start_of_digest.lower()
    meant = {a.batch for a in record.amendments if a.digest.startswith(start)}
    meant |= {a.batch for a in record.amendments if a.batch.startswith(start)}
    if len(meant) != 1:
        raise UsageError(
            f"{'More than one' if meant else 'No'} amendment of class {record.row.id} "
            f"begins with {start_of_digest[:24]!r}",
            f"handbell amend {record.row.id} lists them",
        )
    (batch,) = meant
    values = {"undone_utc_us": at_utc_us, "undone_by": plain_text(who)[:WORDS_MOST]}

    def work(conn: Connection) -> None:
        a, r = tables.amendments, tables.runs
        of_batch = and_(a.c.batch == batch, a.c.undone_utc_us.is_(None))
        standing = select(a, r.c.class_id).join(r, r.c.id == a.c.run).where(of_batch)
        rows = conn.execute(standing).all()
        conn.execute(update(a).where(of_batch).values(values))
        for class_id, bib in sorted({(o.class_id, o.bib) for o in rows if o.what == NAME}):
            settle_name(conn, class_id, bib)
            check_names(conn, class_id, [bib])
        settle_alike(conn, {one.run for one in rows if one.what != NAME})

    store.doing(work)
    return [a for a in load_class(store, record.row.id).amendments if a.batch == batch]


def settle_name(conn: Connection, class_id: int, bib: int) -> None:
    """Put the name in force that the amendments say, or the one that was said before them."""
    w, last = tables.wearers, last_name(conn, class_id, bib)
    there = and_(w.c.class_id == class_id, w.c.bib == bib)
    row = conn.execute(select(w).where(there)).first()
    said = None if row is None else row.said if row.amended else row.person or ""
    now = {"person": said or None, "said": None, "amended": None}
    if last is not None:
        now = {"person": last.value or None, "said": said, "amended": last.digest}
    absent = row is not None and row.absent
    if last is None and said is None and not absent:
        conn.execute(delete(w).where(there))
    else:
        put_row(conn, w, {"class_id": class_id, "bib": bib, "absent": absent, **now})


def last_name(conn: Connection, class_id: int, bib: int) -> Row[Any] | None:
    """Return the amendment in force of a bib's name in a class."""
    a, r = tables.amendments, tables.runs
    mine = and_(r.c.class_id == class_id, a.c.what == NAME, a.c.bib == bib)
    standing = select(a).join(r, r.c.id == a.c.run).where(mine, a.c.undone_utc_us.is_(None))
    last = a.c.at_utc_us.desc(), a.c.batch.desc(), a.c.digest.desc()
    return conn.execute(standing.order_by(*last)).first()


def _check(place: Place, change: Change) -> None:
    where = f"Bib {place.bib}, window {place.window} ({place.exercise})"
    if change.what == HELD:
        if place.ask != t.ASK_HOLD:
            raise UsageError(f"{where} is no position to hold", "Amend its --reps")
        if change.value != TO_END and not 0 <= int(change.value) * 100 <= place.length_ms:
            raise UsageError(f"{where} lasts {place.length_ms / 1000:g} s", "Say less, or end")
    elif change.what == REPS:
        if place.ask == t.ASK_HOLD:
            raise UsageError(f"{where} is a position to hold", "Amend how long it was --held")
        if place.tap == t.TAP_NONE:
            raise UsageError(f"{where} was not to be counted", "Choose another window")
        if not 0 <= int(change.value) <= REPS_MOST:
            raise UsageError(f"{change.value} is no count of reps", f"Say 0 to {REPS_MOST}")
    elif change.what == BIB and not 1 <= int(change.value) <= BIB_MOST:
        raise UsageError(f"{change.value} is no bib", f"Say 1 to {BIB_MOST}")


def _was(what: str, place: Place, result: ResultRow | None) -> str:
    """Return what stood there, in the words of ``value``; "" for nothing."""
    if result is None or result.flags & LEFT_OUT:
        return ""
    if place.ask == t.ASK_HOLD:
        return TO_END if result.held_ds == j.HELD_TO_END else str(result.held_ds)
    return str(result.reps)


def last_of(conn: Connection, row: Mapping[str, Any]) -> Row[Any] | None:
    """Return the last amendment in force of a row's kind.

    At a button that is the last one there, whichever bib it was said of. A count, a held time and
    that an effort tells nothing are of one kind: of them the last word holds.
    """
    kind = COUNTS if row["what"] in COUNTS else (row["what"],)
    of = ("window", "slot", *(("bib",) if row["what"] == NAME else ()))
    same = [row[name] for name in of]
    there = (a for a in in_force(conn, row["run"]) if a.what in kind)
    last = [a for a in there if [getattr(a, name) for name in of] == same]
    return last[-1] if last else None


def _put(conn: Connection, class_id: int, rows: Iterable[dict[str, Any]], name: str = "") -> None:
    """Keep amendments as one batch, but those of whose kind the last one in force says the same.

    They stand behind all that was said of the class before, whatever the clock says. Of a person
    the digest is made with the ``name``, since ids differ by store.
    """
    new = []
    for row in rows:
        last = last_of(conn, row)
        if last is None or (last.what, last.value) != (row["what"], row["value"]):
            new.append(row)
    a, r = tables.amendments.c, tables.runs.c
    said = select(func.max(a.at_utc_us)).join(tables.runs, r.id == a.run)
    last_utc_us = conn.scalar(said.where(r.class_id == class_id))
    for row in new:
        row |= {words: plain_text(row[words])[:WORDS_MOST] for words in ("who", "why")}
        if last_utc_us is not None:
            row["at_utc_us"] = max(row["at_utc_us"], last_utc_us + 1)
        row["digest"] = _digest(conn, row | ({"value": name} if name else {}))
    batch = min((row["digest"] for row in new), default="")
    for row in new:
        insert_if_absent(conn, tables.amendments, row | {"batch": batch})


def _digest(conn: Connection, row: Mapping[str, Any]) -> str:
    log = conn.scalar(select(tables.runs.c.digest).where(tables.runs.c.id == row["run"]))
    names = ("window", "slot", "bib", "what", "value", "who", "why", "at_utc_us")
    return short_hex("\0".join([str(log), *(str(row[name]) for name in names)]).encode())
