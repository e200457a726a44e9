"""Taking in amendments, out of a bundle, and saying what they change here."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, Row, and_, select, update

from handbell.store.database import tables
from handbell.store.database.bulk import insert_if_absent
from handbell.store.people.people import People
from handbell.store.results.amend import last_of, settle_name
from handbell.store.results.batches import as_before
from handbell.store.results.settle import BIB, HELD, NAME, NOTHING, REPS, TO_END, settle_alike

from .names import Place, Runs

_WHAT = {
    REPS: "reps",
    HELD: "the held time",
    BIB: "the bib",
    NAME: "the name",
    NOTHING: "what it tells",
}


@dataclass
class Amended:
    """What came of a bundle's amendments: how many are new, and sentences on those of both sides.

    ``named`` are the bibs whose names are to be settled, when the names themselves are in;
    ``both`` those of them of which a sentence is among ``said`` already.
    """

    new: int = 0
    said: list[str] = field(default_factory=list)
    named: set[Place] = field(default_factory=set)
    both: set[Place] = field(default_factory=set)


def names_of(conn: Connection, some: Iterable[Place]) -> dict[Place, Row[Any] | None]:
    """Return what is said of some bibs."""
    w = tables.wearers
    return {
        place: conn.execute(select(w).where(w.c.class_id == place[0], w.c.bib == place[1])).first()
        for place in some
    }


def settle_names(
    conn: Connection,
    before: Mapping[Place, Row[Any] | None],
    told: Collection[Place],
    kept: dict[Place, str],
) -> None:
    """Put amended names in force, and say in ``kept`` where another one stood here before.

    Nothing is added where both amended it, which is ``told``.
    """
    for place in sorted(before):
        settle_name(conn, *place)
    now, people = names_of(conn, before), People(conn)
    for place, was in sorted(before.items()):
        settled = now[place]
        name = people.who(settled.person) if settled is not None else None
        other = was is not None and people.who(was.person) != name
        if was is not None and other and (place in kept or place not in told):
            kept[place] = _amended(people, place, was, settled)


def _amended(people: People, place: Place, was: Row[Any], now: Row[Any] | None) -> str:
    """Say that an amended name of the bundle took the place of one that was said here."""
    class_id, bib = place
    name = people.label(now.person) if now is not None else None
    said = f"Bib {bib} of class {class_id} was {people.label(was.person) or 'nobody'} here and is "
    said += f"{name or 'nobody'} now, "
    if now is None or now.amended is None:
        return said + "since the amendment was taken back there"
    said += "as an amendment in the bundle says"
    return f"{said}. To take that back: handbell amend {class_id} --undo {now.amended[:8]}"


def _both_amended(
    people: People, class_id: int | None, one: dict[str, Any], mine: Row[Any], last: Any
) -> str:
    """Say that one thing was amended here and there, and which of the two holds."""
    what = _WHAT[one["what"]] if one["what"] != NOTHING else _WHAT[mine.what]
    where = "" if one["what"] == NAME else f", window {one['window']}"
    here, there, holds = (
        people.label(value) or "nobody" if what == NAME else _value(what, value)
        for what, value in (
            (mine.what, mine.value),
            (one["what"], one["value"]),
            (last.what, last.value),
        )
    )
    return (
        f"Class {class_id}, bib {one['bib']}{where}: {what} amended to {here} here and to {there} "
        f"in the bundle. {holds} holds, as the later one. To take it back: "
        f"handbell amend {class_id} --undo {last.digest[:8]}"
    )


def _other(people: People, mine: Row[Any], one: Mapping[str, Any]) -> bool:
    if mine.what == one["what"] == NAME:
        return people.who(mine.value) != people.who(one["value"])
    return (mine.what, mine.value) != (one["what"], one["value"])


def _value(what: str, value: str) -> str:
    if what == NOTHING:
        return "nothing"
    if what != HELD:
        return value
    return "the end" if value == TO_END else f"{int(value) / 10:g} s"


def take_amendments(conn: Connection, told: list[dict[str, Any]], runs: Runs) -> Amended:
    """Take in corrections; one that either side took back is taken back."""
    a = tables.amendments
    done, people = Amended(), People(conn)
    batch = as_before(told)
    there = {one["digest"] for one in told}
    changed: set[int] = set()
    for one in told:
        if one["log"] not in runs:
            continue  # it was put back here
        run, class_id = runs[one["log"]]
        row = {name: value for name, value in one.items() if name != "log"} | {"run": run}
        row["batch"] = row["batch"] or batch[row["digest"]]
        mine = None if one["undone_utc_us"] is not None else last_of(conn, row)
        new = insert_if_absent(conn, a, row)
        done.new += new
        if new and mine and mine.digest not in there and _other(people, mine, one):
            done.said.append(_both_amended(people, class_id, one, mine, last_of(conn, row)))
            if one["what"] == NAME and class_id is not None:
                done.both.add((class_id, one["bib"]))
        if not new and (one["who"] or one["why"]):  # it came without names before
            unsaid = and_(a.c.digest == one["digest"], a.c.who == "", a.c.why == "")
            said = {name: one[name] for name in ("who", "why")}
            conn.execute(update(a).where(unsaid).values(said))
        if not new and one["undone_utc_us"] is not None:
            undone = {name: one[name] for name in ("undone_utc_us", "undone_by")}
            here = and_(a.c.digest == one["digest"], a.c.undone_utc_us.is_(None))
            new = conn.execute(update(a).where(here).values(undone)).rowcount > 0
        if new and one["what"] != NAME:
            changed.add(run)
        elif new and class_id is not None:
            done.named.add((class_id, one["bib"]))
    settle_alike(conn, changed)
    return done
