"""A bundle: what one coach hands to another, so that both stores know the same classes.

A ZIP file with a list of what is in it and the SHA-256 of each part. Logs, timelines and plans are
in it byte for byte; the other store counts again and joins classes by its own rules. Names are in
it only if asked for.
"""

from __future__ import annotations

import json
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, and_, select

from handbell.base.digest import whole_hex
from handbell.base.errors import UsageError
from handbell.base.files import whole_file
from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.exports.rows import Rows
from handbell.store.exports.schema import Wanted
from handbell.store.logs.dating import BY_BOX
from handbell.store.people.known_names import KnownNames, no_name
from handbell.store.people.worn import bibs_of
from handbell.store.results.batches import as_before
from handbell.store.results.settle import NAME

from . import limits
from .form import FORMAT, VERSION
from .packed import CHECK, LIST
from .people import tell_people

_EPOCH = (1980, 1, 1, 0, 0, 0)  # so that the same classes give the same bytes


@dataclass
class Bundled:
    """How many runs, timelines and plans a bundle has, and sentences on names kept out of it."""

    rows: dict[str, int]
    kept_out: list[str]


def export_bundle(store: Database, path: Path, wanted: Wanted) -> Bundled:
    """Write a bundle of some classes, or all.

    Without names, a plan's text in which a known one stands is left out, and timelines have dashes
    for it.
    """
    with store.reading() as conn, whole_file(path, own_sort=True, private=True) as fresh:
        Rows(conn, wanted)  # refuses a class that is not there
        told = _facts(conn, wanted)
        instead: dict[str, bytes] = {}
        kept_out = [] if wanted.names else _keep_out(conn, told, instead)
        with zipfile.ZipFile(fresh, "w", zipfile.ZIP_DEFLATED) as out:
            sums = {}
            for name, data in _parts(conn, told, instead):
                _put(out, name, data)
                sums[name] = whole_hex(data)
            whole = {"format": FORMAT, "version": VERSION, "parts": sums, **told}
            listed = json.dumps(whole, ensure_ascii=False, indent=1).encode()
            if len(listed) > limits.LIST_MOST or len(sums) > limits.PARTS_MOST:
                raise UsageError("That is too much for one bundle", "Name fewer classes at a time")
            _put(out, LIST, listed)
            _put(out, CHECK, whole_hex(listed).encode())
    return Bundled({name: len(told[name]) for name in ("runs", "timelines", "plans")}, kept_out)


def _keep_out(
    conn: Connection, told: dict[str, list[dict[str, Any]]], instead: dict[str, bytes]
) -> list[str]:
    """Take known names out of what is told, and put timelines without them in ``instead``."""
    known, said = KnownNames(conn), []
    t, p = tables.timelines, tables.plans
    for one in told["plans"]:
        source = conn.scalar(select(p.c.source).where(p.c.digest == one["digest"])) or ""
        plan = f"the plan {one['title']}"
        for where, words in (("title", one["title"]), ("text", source)):
            found = known.found(words)
            if found:
                done = "replaced" if where == "title" else "the text is left out"
                said.append(f"{', '.join(found)} in the {where} of {plan}: {done}")
        one["altered"] |= bool(known.found(one["title"]))
        one["title"] = known.without(one["title"])
        one["text"] = one["text"] and not known.found(source)
    for one in told["timelines"]:
        row = conn.execute(select(t.c.data, t.c.label).where(t.c.digest == one["digest"])).one()
        plain = known.without_in_timeline(row.data)
        if plain is not None:
            one["altered"] = True
            instead[one["digest"]] = plain
            said.append(f"A name in what {row.label} showed: dashes stand for it")
    return said


def _put(out: zipfile.ZipFile, name: str, data: bytes) -> None:
    entry = zipfile.ZipInfo(name, _EPOCH)
    entry.compress_type = zipfile.ZIP_DEFLATED
    out.writestr(entry, data)


def _facts(conn: Connection, wanted: Wanted) -> dict[str, list[dict[str, Any]]]:
    """Return what the list tells besides the parts themselves."""
    r, t, p = tables.runs, tables.timelines, tables.plans
    some = r.c.class_id.is_not(None)
    if wanted.classes is not None:
        some = r.c.class_id.in_(wanted.classes)
    said = r.c.filed.is_not(None) & ~r.c.kept
    runs = select(r.c.digest, r.c.box_id, r.c.timeline, r.c.collected_utc_us).where(some)
    runs = runs.add_columns(r.c.class_id, said.label("filed"), r.c.dated_utc_us, r.c.dated_by)
    runs = runs.add_columns(r.c.bound_us.label("dated_bound_us"))
    played = select(r.c.timeline).where(some)
    sent = select(t.c.digest, t.c.plan, t.c.altered).where(t.c.digest.in_(played))
    of_plan = select(t.c.plan).where(t.c.digest.in_(played))
    plans = select(p.c.digest, p.c.title, p.c.altered, p.c.source.is_not(None).label("text"))
    told = {
        "plans": _rows(conn, plans.where(p.c.digest.in_(of_plan)).order_by(p.c.digest)),
        "timelines": _rows(conn, sent.order_by(t.c.digest)),
        "runs": _with_class(_rows(conn, runs.order_by(r.c.id))),
        "amendments": _amendments(conn, some, wanted.names),
        "wearers": _wearers(conn, some) if wanted.names else [],
        "halls": _halls(conn, some) if wanted.names else [],
    }
    return tell_people(conn, told)


def _with_class(runs: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Name each run's class by the least digest of its logs, since numbers differ by store.

    ``filed`` is whether a coach said which class it is of; what only an import filed is not.
    """
    least: dict[int, str] = {}
    for run in runs:
        least[run["class_id"]] = min(run["digest"], least.get(run["class_id"], run["digest"]))
    for run in runs:
        run |= {"class": least[run.pop("class_id")], "filed": bool(run["filed"])}
        by, bound_us = run["dated_by"], run.pop("dated_bound_us")
        if by is None:  # as before there were dates: older programs read it
            del run["dated_utc_us"], run["dated_by"]
        elif by == BY_BOX and bound_us is not None:
            run["dated_bound_us"] = bound_us
    return runs


def _rows(conn: Connection, query: Any) -> list[dict[str, Any]]:
    return [dict(row) for row in conn.execute(query).mappings()]


def _halls(conn: Connection, some: Any) -> list[dict[str, Any]]:
    h, r = tables.halls, tables.runs
    of = select(r.c.hall).where(some, r.c.hall.is_not(None))
    return _rows(conn, select(h).where(h.c.number.in_(of), h.c.name != "").order_by(h.c.number))


def _amendments(conn: Connection, some: Any, names: bool) -> list[dict[str, Any]]:
    a, r = tables.amendments, tables.runs
    fields = [c for c in a.c if c.name != "run"]
    query = select(r.c.digest.label("log"), *fields).join(r, r.c.id == a.c.run).where(some)
    if not names:
        query = query.where(a.c.what != NAME)
    found = _rows(conn, query.order_by(a.c.at_utc_us, a.c.digest))
    batch = as_before(found)
    for row in found:
        if row["batch"] == batch[row["digest"]]:
            del row["batch"]  # as before there were any: older programs read it
    for row in found if not names else ():
        row |= {"who": "", "why": "", "undone_by": None}
        row |= {what: no_name(row[what]) for what in ("value", "was")}
    return found


def _wearers(conn: Connection, some: Any) -> list[dict[str, Any]]:
    """Return who wore which bib as it was said, by a log of the class.

    That is one it was said of and that has the bib, if there is one; beside it all logs of the
    class that it was said of. Where they are in two classes, the name goes to the right ones.

    A name of "" is nobody's: somebody spoke of that bib. None is what stood before an amended name
    of which nothing was said, or that of an absent bib.
    """
    w, r = tables.wearers, tables.runs
    said = (w.c.class_id, w.c.bib, w.c.person, w.c.said, w.c.amended, w.c.absent, w.c.logs)
    joined = (
        select(r.c.id, r.c.digest, *said)
        .select_from(w)
        .join(r, and_(r.c.class_id == w.c.class_id, some))
    )
    rows = conn.execute(joined.order_by(r.c.id, w.c.bib)).all()
    bibs = bibs_of(conn, {row.id for row in rows})
    found: dict[tuple[int, int], tuple[tuple[bool, bool], dict[str, Any]]] = {}
    said_of: dict[tuple[int, int], list[str]] = {}
    for row in rows:
        name, before = (row.said, None) if row.amended else (row.person, row.said)
        if not row.amended and not row.absent:
            name = name or ""
        told = {"log": row.digest, "bib": row.bib, "name": name, "absent": row.absent}
        told["before"] = before
        fits = row.bib in bibs[row.id], row.logs is None or row.digest in row.logs.split()
        place = row.class_id, row.bib
        if fits[1]:
            said_of.setdefault(place, []).append(row.digest)
        best = found.get(place)
        if best is None or best[0] < fits:
            found[place] = fits, told
    return [
        told | {"logs": " ".join(sorted(said_of.get(place, [told["log"]])))}
        for place, (_, told) in found.items()
    ]


def _parts(
    conn: Connection, told: dict[str, list[dict[str, Any]]], instead: dict[str, bytes]
) -> Any:
    """Give each part's name and bytes, one at a time; ``instead`` of a timeline's own bytes."""
    r, t, p = tables.runs, tables.timelines, tables.plans
    for one in told["plans"]:
        if one["text"]:
            words = conn.scalar(select(p.c.source).where(p.c.digest == one["digest"]))
            yield f"plans/{one['digest']}.toml", str(words).encode()
    for one in told["timelines"]:
        data = conn.scalar(select(t.c.data).where(t.c.digest == one["digest"]))
        yield f"timelines/{one['digest']}", instead.get(one["digest"], data)
    for one in told["runs"]:
        data = conn.scalar(select(r.c.journal).where(r.c.digest == one["digest"]))
        yield f"logs/{one['digest']}", data
