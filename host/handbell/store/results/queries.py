"""Reading classes back: which there were, and all that is known of one."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import ColumnElement, Connection, Row, RowMapping, Select, func, select

from handbell.base.errors import StoreError
from handbell.store.classes.gathering import WEEK_US
from handbell.store.classes.order import placed
from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.halls.known import shown_halls
from handbell.store.logs import timelines
from handbell.store.logs.timelines import Timeline
from handbell.store.people.people import People

from .records import Amendment, ClassRecord, ClassRow, Moved, NoteRow, ResultRow, RunRow, Wearer


def list_classes(store: Database) -> list[ClassRow]:
    """Return every class, the newest first."""
    with store.reading() as conn:
        return class_rows(conn)


def class_rows(conn: Connection, within: ColumnElement[bool] | None = None) -> list[ClassRow]:
    """Return the classes that a condition leaves, the newest first."""
    wanted = _classes() if within is None else _classes().where(within)
    found = conn.execute(wanted).mappings().all()
    rows = _with_their_times(conn, found)
    return sorted(rows, key=lambda row: (row.at_utc_us, row.id), reverse=True)


def _with_their_times(conn: Connection, found: Sequence[RowMapping]) -> list[ClassRow]:
    lost = [row["collected_utc_us"] for row in found if row["start_utc_us"] is None]
    at = placed(conn, min(lost) - WEEK_US, max(lost) + WEEK_US) if lost else {}
    at |= {row["id"]: row["start_utc_us"] for row in found if row["start_utc_us"] is not None}
    called = shown_halls(conn)
    halls = [called.get(row["hall"], "") for row in found]
    return [
        ClassRow(**{**row, "at_utc_us": at[row["id"]], "hall": hall})
        for row, hall in zip(found, halls, strict=True)
    ]


def _classes() -> Select[Any]:
    c, p, r = tables.classes, tables.plans, tables.runs
    boxes = (
        select(func.count(r.c.box_id.distinct())).where(r.c.class_id == c.c.id).scalar_subquery()
    )
    hall = select(func.max(r.c.hall)).where(r.c.class_id == c.c.id).scalar_subquery()
    return select(
        c.c.id,
        c.c.plan,
        p.c.title,
        c.c.start_utc_us,
        c.c.started_by,
        c.c.collected_utc_us,
        func.coalesce(c.c.group_name, "").label("group"),
        boxes.label("boxes"),
        hall.label("hall"),
    ).join(p, p.c.digest == c.c.plan)


def titles_of(store: Database, digests: Collection[str]) -> dict[str, str]:
    """Return the title of the plan of each timeline that is there, by the timeline's digest."""
    t, p = tables.timelines.c, tables.plans.c
    wanted = select(t.digest, p.title).where(t.digest.in_(digests), p.digest == t.plan)
    with store.reading() as conn:
        return {row.digest: row.title for row in conn.execute(wanted)}


def load_class(store: Database, class_id: int) -> ClassRecord:
    """Return all of one class; raises StoreError if there is none."""
    with store.reading() as conn:
        row = _row(store, conn, class_id)
        r, t = tables.runs, tables.timelines
        runs = (
            select(*(c for c in r.c if c.name != "journal"), t.c.data)
            .join(t, t.c.digest == r.c.timeline)
            .where(r.c.class_id == row.id)
            .order_by(r.c.station, r.c.id)
        )
        of_class = select(r.c.id).where(r.c.class_id == row.id)
        told = (c for c in tables.results.c if c.name not in ("best_gap_ms", "worst_gap_ms"))
        results = select(*told).where(tables.results.c.run.in_(of_class))
        ratings = select(tables.ratings).join(r, r.c.id == tables.ratings.c.run)
        ratings = ratings.where(r.c.class_id == row.id).order_by(r.c.digest)
        notes = select(tables.notes).where(tables.notes.c.run.in_(of_class))
        people = People(conn)
        amendments = _amendments(conn, row.id, people)
        by_digest = {a.digest: a for a in amendments}
        stations = select(t.c.station, t.c.label).where(t.c.plan == row.plan)
        keys = tables.results.c, tables.notes.c
        found = conn.execute(runs).mappings().all()
        moved = _moved(found, amendments)
        rated = conn.execute(ratings).all()
        taken = {one.bib: one.rating for one in rated}  # of two the one of the greater digest
        return ClassRecord(
            row=row,
            stations={s.station: s.label for s in conn.execute(stations.order_by(t.c.station))},
            runs=[_run(one, moved[one["id"]]) for one in found],
            results=[
                _result(row, by_digest)
                for row in conn.execute(results.order_by(keys[0].run, keys[0].window, keys[0].slot))
            ],
            ratings=taken,
            rated_too={one.bib: one.rating for one in rated if one.rating != taken[one.bib]},
            notes=[
                NoteRow(n.run, n.class_ms, n.fault, n.value, n.words)
                for n in conn.execute(notes.order_by(keys[1].run, keys[1].seq))
            ],
            wearers=wearers_of(conn, row.id, people),
            amendments=amendments,
        )


def load_row(store: Database, class_id: int) -> ClassRow:
    """Return one class; raises StoreError if there is none."""
    with store.reading() as conn:
        return _row(store, conn, class_id)


def _row(store: Database, conn: Connection, class_id: int) -> ClassRow:
    wanted = _classes().where(tables.classes.c.id == class_id)
    found = conn.execute(wanted).mappings().first()
    if found is None:
        raise StoreError(
            f"The store {store.name} holds no class {class_id}",
            "handbell report --list shows the classes there are",
        )
    return _with_their_times(conn, [found])[0]


def _result(row: Sequence[Any], by_digest: Mapping[str, Amendment]) -> ResultRow:
    fields = [*row[:-1], by_digest.get(row[-1])]
    return ResultRow(*fields)


def _moved(found: Iterable[RowMapping], amendments: Iterable[Amendment]) -> dict[int, Moved]:
    """Return for each run the amendments that say another bib was there, by window and slot.

    What was said of one log holds for the others of that station which know nothing of it, as in
    ``settle``.
    """
    played = {row["id"]: (row["station"], row["timeline"]) for row in found}
    own: dict[int, Moved] = {run: {} for run in played}
    of_all: dict[tuple[int, str], Moved] = {}
    for a in amendments:
        if a.what == "bib" and a.undone_utc_us is None:
            own[a.run][a.window, a.slot] = a
            of_all.setdefault(played[a.run], {})[a.window, a.slot] = a
    return {run: of_all.get(played[run], {}) | own[run] for run in played}


def wearers_of(conn: Connection, class_id: int, people: People) -> dict[int, Wearer]:
    """Return who wore which bib in a class, by how they are called."""
    w = tables.wearers
    rows = conn.execute(select(w).where(w.c.class_id == class_id).order_by(w.c.bib))
    return {row.bib: Wearer(row.bib, people.label(row.person), row.absent) for row in rows}


def _amendments(conn: Connection, class_id: int, people: People) -> list[Amendment]:
    """Return a class's amendments in the order of saying, those of one batch in that of windows."""
    a, r = tables.amendments, tables.runs
    wanted = select(a).join(r, r.c.id == a.c.run).where(r.c.class_id == class_id)
    order = a.c.at_utc_us, a.c.batch, a.c.window, r.c.station, a.c.slot, a.c.digest
    found = conn.execute(wanted.order_by(*order)).mappings()
    return [Amendment(**_called(dict(row), people)) for row in found]


def _called(row: dict[str, Any], people: People) -> dict[str, Any]:
    """Return an amendment; one of a name as they are called."""
    if row["what"] == "name":
        row |= {what: people.label(row[what]) or "" for what in ("value", "was")}
    return row


def _run(row: RowMapping, moved: Moved) -> RunRow:
    made = ("timeline", "planned")
    fields = {name: row[name] for name in RunRow.__dataclass_fields__ if name not in made}
    told = replace(timelines.decode(row["data"]), digest=row["timeline"])
    return RunRow(timeline=with_bibs(told, moved.values()), planned=told, **fields)


def with_bibs(timeline: Timeline, moved: Iterable[Amendment | Row[Any]]) -> Timeline:
    """Return a timeline whose windows name the bibs that were there as the coach said."""
    windows = dict(timeline.windows)
    for a in moved:
        bibs = list(windows[a.window].bibs)
        bibs[a.slot] = int(a.value)
        windows[a.window] = replace(windows[a.window], bibs=tuple(bibs))
    return replace(timeline, windows=windows)
