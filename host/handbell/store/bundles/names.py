"""Taking in who wore what, out of a bundle: each name goes where the logs are it was said of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, Row, and_, select, update

from handbell.store.database import tables
from handbell.store.database.bulk import insert_if_absent
from handbell.store.people.people import People
from handbell.store.people.worn import bibs_of
from handbell.store.results.amend import last_name

Runs = dict[str, tuple[int, int | None]]  # by a log's digest: its run, and the class that is in
Told = Mapping[str, Any]
Place = tuple[int, int]  # a class and a bib


def take_names(
    conn: Connection, told: Iterable[Told], logs: Iterable[Told], runs: Runs
) -> tuple[int, dict[Place, str]]:
    """Take in who wore what, by the ids of people here; what was said here already stays.

    ``logs`` are those of the bundle, ``runs`` those of them that are in the store now; amendments
    of bibs are in force already. Returned are how many names are new, and by class and bib a
    sentence where something else was said here; an empty one where the bundle says nothing of it.
    """
    people, new, kept = People(conn), 0, dict[Place, str]()
    of_class = {one["digest"]: one.get("class") for one in logs}
    goes: dict[Place, list[tuple[Told, set[str]]]] = {}
    for one in told:
        said_of = _said_of(one, of_class)
        for class_id in _where_to(conn, one, said_of or {one["log"]}, runs):
            goes.setdefault((class_id, one["bib"]), []).append((one, said_of))
    for (class_id, bib), some in sorted(goes.items()):
        words = list(dict.fromkeys(_words(people, one) for one, _ in some))
        if len(words) > 1:
            kept[class_id, bib] = (
                f"Bib {bib} of class {class_id} is {' and '.join(words)} in the bundle, of "
                "different logs: none of that was taken in"
            )
            continue
        for one, said_of in some:
            added, differs = _take(conn, people, one, said_of, class_id)
            new += added
            if differs is not None:
                kept[class_id, bib] = differs
    return new, kept


def _take(
    conn: Connection, people: People, one: Told, said_of: set[str], class_id: int
) -> tuple[bool, str | None]:
    """Take a name into a class; return whether it is new, and what is said if another was here."""
    w, bib = tables.wearers, one["bib"]
    there = _logs_of(conn, class_id)
    name = one["name"] or None
    same = and_(w.c.class_id == class_id, w.c.bib == bib)
    here = conn.execute(select(w).where(same)).first()
    if one["name"] is None and not one["absent"]:
        return False, _take_list(conn, here, said_of or there, there, (class_id, bib))
    before = one["before"]
    row = {"class_id": class_id, "bib": bib, "person": name, "said": before}
    of = {"absent": bool(one["absent"]), "logs": _listed(said_of or there, there)}
    if here is None:
        return insert_if_absent(conn, w, row | of), None
    mine = here.said if here.amended else here.person
    if (people.who(mine), bool(here.absent)) == (people.who(name), bool(one["absent"])):
        both = (set(here.logs.split()) if here.logs else there) | (said_of or there)
        now: dict[str, str | None] = {"logs": _listed(both, there)}
        if here.said is None:
            now["said"] = (name or one["name"]) if here.amended else before
        conn.execute(update(w).where(same).values(now))
        return False, None
    if not name and not one["absent"]:  # it was forgotten there
        return False, ""
    known = _words(people, {"name": mine, "absent": here.absent})
    where = f"Bib {bib} of class {class_id}"
    theirs = f"the bundle says {_words(people, {**one, 'name': name})}"
    if here.amended:
        stands = people.label(here.person) or "nobody"
        return False, (
            f"{where} is {stands} here, as amended, and was {known} before, and stays so; {theirs}"
        )
    return False, f"{where} is {known} here and stays so; {theirs}"


def _take_list(
    conn: Connection, here: Row[Any] | None, said_of: set[str], there: set[str], place: Place
) -> str | None:
    """Take in of which logs an amended name was said, before which nothing was said there.

    Return what ``_take`` says of it.
    """
    w, (class_id, bib) = tables.wearers, place
    if here is None:
        last = last_name(conn, class_id, bib)
        if last is not None:  # else it was taken back here
            row = {"class_id": class_id, "bib": bib, "absent": False, "amended": last.digest}
            insert_if_absent(conn, w, row | {"logs": _listed(said_of, there)})
        return None
    if here.amended is not None and here.said is None:
        both = said_of | (set(here.logs.split()) if here.logs else there)
        same = and_(w.c.class_id == class_id, w.c.bib == bib)
        conn.execute(update(w).where(same).values(logs=_listed(both, there)))
    return ""


def _words(people: People, one: Told) -> str:
    return (people.label(one["name"]) or "nobody") + (" (absent)" if one["absent"] else "")


def _said_of(one: Told, of_class: Mapping[str, str | None]) -> set[str]:
    """Return the logs that a name was said of; none if the bundle does not tell.

    One of an earlier version does not; then it is said of the class's logs that are in the bundle.
    """
    if one.get("logs"):
        return set(one["logs"].split())
    mine = of_class[one["log"]]
    return {log for log, there in of_class.items() if mine is not None and there == mine}


def _where_to(conn: Connection, one: Told, said_of: set[str], runs: Runs) -> list[int]:
    """Return the classes here that have a log with the bib that the name was said of.

    If none has the bib, that of the log which the bundle names; none if that was put back here.
    """
    r = tables.runs.c
    bibs = bibs_of(conn, [runs[log][0] for log in said_of if log in runs])
    ids = [run for run, some in bibs.items() if one["bib"] in some]
    wanted = select(r.class_id).where(r.id.in_(ids), r.class_id.is_not(None))
    found = list(conn.scalars(wanted.distinct().order_by(r.class_id)))
    if found or one["log"] not in runs:
        return found
    class_id = runs[one["log"]][1]
    return [] if class_id is None else [class_id]


def _logs_of(conn: Connection, class_id: int) -> set[str]:
    r = tables.runs.c
    return set(conn.scalars(select(r.digest).where(r.class_id == class_id)))


def _listed(said_of: set[str], there: set[str]) -> str | None:
    """Return the logs that a name was said of as the table has them."""
    return None if said_of == there else " ".join(sorted(said_of))
