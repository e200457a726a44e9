"""Who wore which bib, and who was absent: said by the coach at or after collecting."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from sqlalchemy import Connection, and_, delete, select

from handbell.base.errors import UsageError
from handbell.base.words import quoted
from handbell.store.database import tables
from handbell.store.database.bulk import put_row
from handbell.store.database.database import Database
from handbell.store.results.queries import load_class, wearers_of
from handbell.store.results.records import ClassRecord, Wearer

from .names import plain_text, too_long
from .people import People, hall_of_class
from .prune import prune


def clean_name(bib: int, name: str) -> str:
    """Return a name without control and direction marks; raises UsageError when it is too long."""
    plain = plain_text(name)
    wrong = too_long(plain)
    if wrong:
        raise UsageError(f"The name for bib {bib} {wrong}", "Give a shorter one")
    return plain


def set_wearers(
    store: Database, class_id: int, names: Mapping[int, str], absent: Iterable[int] = ()
) -> list[Wearer]:
    """Say who wore which bib (an empty name: forget it) and who was absent; return all of it.

    What was said before of other bibs stays. Raises UsageError for a bib that was not in the
    class and of which nothing was said, a name that several people have, or that would be two
    bibs' in the end, StoreError when there is no such class.
    """
    record = load_class(store, class_id)
    absent = set(absent)
    forgotten = {bib for bib, name in names.items() if bib in record.wearers and not name}
    _check_bibs(record.bibs, record.row.id, {*names, *absent} - (forgotten - absent))
    plain = {bib: clean_name(bib, name) for bib, name in names.items()}

    def work(conn: Connection) -> list[Wearer]:
        people = People(conn)
        said = _meant(conn, people, record, plain)
        left = _write(conn, record, said, absent)
        check_names(conn, record.row.id, names)
        prune(conn, left)
        return [one for _, one in sorted(wearers_of(conn, record.row.id, people).items())]

    return store.doing(work)


def _meant(
    conn: Connection, people: People, record: ClassRecord, names: Mapping[int, str]
) -> dict[int, str | None]:
    """Return the person whom each name means in a class, by bib; None for no name.

    Raises UsageError where a bib's name was amended to another.
    """
    hall, said = hall_of_class(conn, record.row.id), dict[int, str | None]()
    for bib, name in names.items():
        said[bib] = people.meant(name, hall) if name else None
        amended = record.amended_names.get(bib)
        if amended is not None and people.label(said[bib]) != amended.value:
            raise UsageError(
                f"The name of bib {bib} in class {record.row.id} was amended",
                f"Amend it again, or undo that first: handbell amend {record.row.id} "
                f"--undo {amended.digest[:8]}",
            )
    return said


def check_names(conn: Connection, class_id: int, said: Collection[int]) -> None:
    """Raise UsageError if what was said of some bibs gives two of a class one person's name.

    All that tells people apart over the months is their name.
    """
    for _, name, bibs in _twice(conn, [class_id]):
        if set(said) & set(bibs):
            raise UsageError(
                f"{quoted(name)} would be bib {bibs[0]} and bib {bibs[1]} of class {class_id}",
                two_or_one(class_id, name, bibs),
            )


def names_twice(conn: Connection, some: Collection[int] | None = None) -> list[str]:
    """Return a sentence for each name that two bibs of a class have, of some classes or of all."""
    return [
        f"{quoted(name)} is bib {bibs[0]} and bib {bibs[1]} of class {class_id} now. "
        + two_or_one(class_id, name, bibs)
        for class_id, name, bibs in _twice(conn, some)
    ]


def two_or_one(class_id: int, name: str, bibs: Sequence[int]) -> str:
    """Return what to do where two bibs of a class have one name."""
    one, other = bibs[:2]
    names = f"{one}={quoted(f'{name} B')} {other}={quoted(f'{name} K')}"
    return (
        f"Two people? handbell bibs {class_id} {names}. One person who changed bibs? "
        f'handbell amend {class_id} --bib {other} --to-bib {one} --why "changed bibs"'
    )


def _twice(conn: Connection, some: Collection[int] | None) -> list[tuple[int, str, list[int]]]:
    """Return each class, name and bibs where several bibs are one person."""
    w, people = tables.wearers.c, People(conn)
    wanted = select(w.class_id, w.bib, w.person).where(w.person.is_not(None))
    if some is not None:
        wanted = wanted.where(w.class_id.in_(some))
    found: dict[tuple[int, str], list[int]] = {}
    for class_id, bib, record in conn.execute(wanted.order_by(w.class_id, w.bib)):
        person = people.who(record)
        if person is not None:
            found.setdefault((class_id, person), []).append(bib)
    return [
        (class_id, people.label(person) or "", bibs)
        for (class_id, person), bibs in found.items()
        if len(bibs) > 1
    ]


def _write(
    conn: Connection, record: ClassRecord, said: Mapping[int, str | None], absent: set[int]
) -> set[str | None]:
    """Write what was said of bibs; return the records that stood there."""
    t, class_id = tables.wearers, record.row.id
    rows = conn.execute(select(t).where(t.c.class_id == class_id)).all()
    was = {row.bib: row for row in rows}
    for bib in sorted({*said, *absent}):
        before = was.get(bib)
        person = before.person if before is not None else None
        away = before is not None and before.absent
        if bib in said and bib not in record.amended_names:
            person, away = said[bib], False
        away = away or bib in absent
        if person is None and not away:
            conn.execute(delete(t).where(and_(t.c.class_id == class_id, t.c.bib == bib)))
            continue
        row = {"class_id": class_id, "bib": bib, "person": person, "absent": away}
        row["logs"] = None  # it is said of the class as it is now
        if bib not in record.amended_names:
            row["said"] = None
        put_row(conn, t, row)
    return {one for bib in said if bib in was for one in (was[bib].person, was[bib].said)}


def _check_bibs(there: list[int], class_id: int, said: set[int]) -> None:
    strange = sorted(said - set(there))
    if strange:
        which = ", ".join(map(str, strange))
        have = ", ".join(map(str, there)) or "none"
        raise UsageError(
            f"Bib {which} was not in class {class_id}", f"The bibs of that class are {have}"
        )
