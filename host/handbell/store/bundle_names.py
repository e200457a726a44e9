"""Taking in who wore what, out of a bundle: each name goes where the logs are it was said of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, and_, select, update

from . import tables
from .bulk import insert_if_absent
from .names import plain_text

Runs = dict[str, tuple[int, int | None]]  # by a log's digest: its run, and the class that is in
Told = Mapping[str, Any]


def take_names(
    conn: Connection, told: Iterable[Told], logs: Iterable[Told], runs: Runs
) -> tuple[int, list[str]]:
    """Take in who wore what; what was said here already stays.

    ``logs`` are those of the bundle, ``runs`` those of them that are in the store now. Returned are
    how many names are new, and a sentence for each that differs from what was said here.
    """
    new, kept = 0, []
    of_class = {one["digest"]: one.get("class") for one in logs}
    goes = []
    words: dict[tuple[int, int], dict[str, None]] = {}
    for one in told:
        said_of = _said_of(one, of_class)
        to = _where_to(conn, one, said_of or {one["log"]}, runs)
        goes.append((one, said_of, to))
        for class_id in to:
            words.setdefault((class_id, one["bib"]), {})[_words(one)] = None
    for (class_id, bib), some in words.items():
        if len(some) > 1:
            kept.append(
                f"Bib {bib} of class {class_id} is {' and '.join(some)} in the bundle, of "
                "different logs: none of that was taken in"
            )
    for one, said_of, to in goes:
        for class_id in to:
            if len(words[class_id, one["bib"]]) > 1:
                continue
            there = _logs_of(conn, class_id)
            name = plain_text(one["name"] or "") or None
            row = {"class_id": class_id, "bib": one["bib"], "name": name}
            of = {"logs": _listed(said_of or there, there)}
            w = tables.wearers
            if insert_if_absent(conn, w, row | {"absent": bool(one["absent"])} | of):
                new += 1
                continue
            same = and_(w.c.class_id == class_id, w.c.bib == row["bib"])
            here = conn.execute(select(w).where(same)).one()
            mine = here.said if here.amended else here.name
            if mine == name:
                both = (set(here.logs.split()) if here.logs else there) | (said_of or there)
                conn.execute(update(w).where(same).values(logs=_listed(both, there)))
            elif name:
                kept.append(
                    f"Bib {row['bib']} of class {class_id} is {mine or 'nobody'} here and stays "
                    f"so; the bundle says {name}"
                )
    return new, kept


def _words(one: Told) -> str:
    return str(one["name"] or "nobody") + (" (absent)" if one["absent"] else "")


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
    r, t = tables.runs.c, tables.tasks.c
    ids = [runs[log][0] for log in said_of if log in runs]
    wanted = select(r.class_id).join(tables.tasks, t.timeline == r.timeline)
    wanted = wanted.where(r.id.in_(ids), r.class_id.is_not(None), t.bib == one["bib"])
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
