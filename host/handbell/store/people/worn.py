"""Who wore which bib, when logs go from one class to another: names go where their bibs go."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, RowMapping, bindparam, delete, select

from handbell.store.database.bulk import put_row
from handbell.store.database.tables import amendments, runs, tasks, wearers
from handbell.store.results.amend import settle_name
from handbell.store.results.settle import BIB, NAME

from .people import People
from .wearers import names_twice

# Built once, since it is asked for each log anew.
_OF_ALL = select(wearers.c.bib).where(
    wearers.c.class_id.in_(bindparam("some", expanding=True)), wearers.c.logs.is_(None)
)


@dataclass(frozen=True)
class _Logs:
    """The logs of some classes, by digest: in which one each is and was, and its bibs.

    Its bibs are those of its plan, and those that it was given by amendments.
    """

    now: dict[str, int]
    before: dict[str, int | None]
    bibs: dict[str, set[int]]

    def of(self, class_id: int) -> set[str]:
        """Return the logs that a class has now."""
        return {log for log, there in self.now.items() if there == class_id}

    def were_of(self, class_id: int) -> set[str]:
        """Return the logs that a class had before."""
        return {log for log, there in self.before.items() if there == class_id}

    def with_bib(self, class_id: int, bib: int) -> set[str]:
        """Return the logs of a class that have a bib."""
        return {log for log in self.of(class_id) if bib in self.bibs[log]}


def names_differ(conn: Connection, one: int, other: int) -> list[tuple[int, str, str]]:
    """Return the bibs of which two classes say different things, and what each says."""
    w = wearers.c
    told: dict[int, dict[int, RowMapping]] = {one: {}, other: {}}
    for row in conn.execute(select(wearers).where(w.class_id.in_([one, other]))).mappings():
        told[row["class_id"]][row["bib"]] = row
    mine, yours, people = told[one], told[other], People(conn)
    both = (
        (bib, worn_words(people, mine[bib]), worn_words(people, yours[bib]))
        for bib in set(mine) & set(yours)
    )
    return sorted(words for words in both if words[1] != words[2])


def worn_words(people: People, row: Mapping[Any, Any]) -> str:
    """Return who wore a bib, and whether they were absent."""
    return (people.label(row["person"]) or "nobody") + (" (absent)" if row["absent"] else "")


def bibs_lost(conn: Connection, run: int) -> list[int]:
    """Return the bibs of which something is said in a class, and which only this run there has."""
    r, w = runs.c, wearers.c
    class_id = conn.scalar(select(r.class_id).where(r.id == run))
    others = conn.scalars(select(r.id).where(r.class_id == class_id, r.id != run)).all()
    have = set().union(*bibs_of(conn, others).values())
    said = conn.scalars(select(w.bib).where(w.class_id == class_id).order_by(w.bib))
    return [bib for bib in said if bib not in have]


def bibs_of(conn: Connection, some: Collection[int]) -> dict[int, set[int]]:
    """Return the bibs of each run: those of its plan, and those that it was given since."""
    r, t, a = runs.c, tasks.c, amendments.c
    found: dict[int, set[int]] = {run: set() for run in some}
    planned = select(r.id, t.bib).join(tasks, t.timeline == r.timeline).where(r.id.in_(found))
    for run, bib in conn.execute(planned.distinct()):
        found[run].add(bib)
    given = select(a.run, a.value).where(a.run.in_(found), a.what == BIB, a.undone_utc_us.is_(None))
    for run, bib in conn.execute(given):
        found[run].add(int(bib))
    return found


def said_of_all(conn: Connection, some: Iterable[int]) -> bool:
    """Whether a name was said of all logs of a class, so that it must be kept of which it was.

    Before the class grows: a name is not said of a log that comes later.
    """
    return conn.execute(_OF_ALL, {"some": list(some)}).first() is not None


def move_names(
    conn: Connection, moved: Mapping[int, int | None], differ: list[str] | None = None
) -> set[int]:
    """Let names go along with runs that went to other classes; return the classes left empty.

    ``moved`` has the class that each run was in before. A name goes to each class that now has one
    of the logs it was said of, if its bib is there: where a class is parted both halves have it,
    where two joined ones are parted again each has its own. To ``differ`` a sentence is added for
    each name that gave way to another of the same bib, and for each that two bibs have by it.
    """
    left = {class_id for class_id in moved.values() if class_id is not None}
    r = runs.c
    went = set(conn.scalars(select(r.class_id).where(r.id.in_(moved)).distinct())) - {None}
    logs = _logs(conn, left | went, moved)
    w = wearers.c
    of_these = w.class_id.in_(left | went)
    twice = names_twice(conn, left | went)
    rows = conn.execute(select(wearers).where(of_these).order_by(w.class_id, w.bib)).mappings()
    here: dict[tuple[int, int], list[tuple[Mapping[Any, Any], set[str]]]] = {}
    for row in rows.all():
        said_of = set(row["logs"].split()) if row["logs"] else logs.were_of(row["class_id"])
        for class_id in _where_to(row, said_of, logs, left | went):
            here.setdefault((class_id, row["bib"]), []).append((row, said_of))
    conn.execute(delete(wearers).where(of_these))
    a = amendments.c
    named = select(a.digest, a.bib, r.class_id).join(runs, r.id == a.run)
    said = conn.execute(named.where(a.what == NAME, r.class_id.in_(left | went))).all()
    amended = {(one.class_id, one.digest) for one in said}
    people = People(conn)
    for (class_id, bib), some in here.items():
        stands, said_of = _first(people, class_id, some, amended)
        words = worn_words(people, stands)
        others = sorted({worn_words(people, other) for other, _ in some} - {words})
        if others and differ is not None:
            differ.append(
                f"Bib {bib} of class {class_id} is {words} and stays so; of a log that is "
                f"in that class now {' and '.join(others)} was said. If that is right: "
                f"handbell bibs {class_id} {bib}=NAME"
            )
        told = _in_class(stands, class_id, amended)
        put_row(conn, wearers, told | _said_of(said_of, class_id, logs))
    for class_id, bib in sorted({(one.class_id, one.bib) for one in said}):
        settle_name(conn, class_id, bib)
    if differ is not None:
        differ += [said for said in names_twice(conn, went) if said not in twice]
    return {class_id for class_id in left if not logs.of(class_id)}


def _logs(conn: Connection, of: Iterable[int], moved: Mapping[int, int | None]) -> _Logs:
    r = runs.c
    found = conn.execute(select(r.id, r.digest, r.class_id).where(r.class_id.in_(list(of)))).all()
    bibs = bibs_of(conn, [row.id for row in found])
    return _Logs(
        now={row.digest: row.class_id for row in found},
        before={row.digest: moved.get(row.id, row.class_id) for row in found},
        bibs={row.digest: bibs[row.id] for row in found},
    )


def _where_to(row: RowMapping, said_of: set[str], logs: _Logs, some: set[int]) -> list[int]:
    """Return the classes that a name belongs to; it is in one at least."""
    mine, bib = row["class_id"], row["bib"]
    goes = [one for one in sorted(some) if said_of & logs.with_bib(one, bib)]
    goes = goes or [one for one in sorted(some) if logs.with_bib(one, bib)][:1]
    if goes:
        return goes
    return [mine] if logs.of(mine) else sorted(one for one in some if logs.of(one))[:1]


def _first(
    people: People,
    class_id: int,
    some: list[tuple[Mapping[Any, Any], set[str]]],
    amended: set[tuple[int, str]],
) -> tuple[Mapping[Any, Any], set[str]]:
    """Return the row that stands in a class, and the logs that it was said of.

    That is the class's own; of several that say the same the one that was amended there, with what
    any of them said before, for when the amendment is undone.
    """
    own = next((row for row, _ in some if row["class_id"] == class_id), some[0][0])
    words = worn_words(people, own)
    same = [(row, said_of) for row, said_of in some if worn_words(people, row) == words]
    corrected = [row for row, _ in same if (class_id, row["amended"]) in amended]
    if not corrected:
        return own, set().union(*(said_of for _, said_of in same))
    before = [corrected[0]["said"], *(row["said"] for row, _ in same)]
    said = next((name for name in before if name is not None), None)
    return {**corrected[0], "said": said}, set().union(*(said_of for _, said_of in same))


def _in_class(
    row: Mapping[Any, Any], class_id: int, amended: set[tuple[int, str]]
) -> dict[str, Any]:
    """Return a row for a class; an amendment that went elsewhere is what was said here.

    What was said before it is kept, for when the two are joined again.
    """
    told = {**row, "class_id": class_id}
    if row["amended"] is not None and (class_id, row["amended"]) not in amended:
        told["amended"] = None
    return told


def _said_of(said_of: set[str], class_id: int, logs: _Logs) -> dict[str, str | None]:
    there = logs.of(class_id)
    return {"logs": None if there <= said_of else " ".join(sorted(said_of))}
