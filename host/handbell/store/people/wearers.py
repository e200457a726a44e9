"""Who wore which bib, and who was absent: said by the coach at or after collecting."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import replace

from sqlalchemy import Connection, and_, delete, select

from handbell.base.errors import UsageError
from handbell.base.words import quoted
from handbell.store.database import tables
from handbell.store.database.bulk import put_row
from handbell.store.database.database import Database
from handbell.store.results.queries import load_class
from handbell.store.results.records import Wearer

from .names import key_of, plain_text, too_long


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
    class and of which nothing was said, or a name that would be two bibs' in the end, StoreError
    when there is no such class.
    """
    record = load_class(store, class_id)
    absent = set(absent)
    forgotten = {bib for bib, name in names.items() if bib in record.wearers and not name}
    _check_bibs(record.bibs, record.row.id, {*names, *absent} - (forgotten - absent))
    now = dict(record.wearers)
    for bib, name in names.items():
        plain = clean_name(bib, name)
        was, amended = now.pop(bib, None), record.amended_names.get(bib)
        if amended is not None and plain != amended.value:
            raise UsageError(
                f"The name of bib {bib} in class {record.row.id} was amended",
                f"Amend it again, or undo that first: handbell amend {record.row.id} "
                f"--undo {amended.digest[:8]}",
            )
        if was is not None and amended is not None:
            now[bib] = was
        elif plain:
            now[bib] = Wearer(bib, plain, False)
    for bib in absent:
        known = now.get(bib)
        now[bib] = replace(known, absent=True) if known else Wearer(bib, None, True)

    def work(conn: Connection) -> None:
        _write(conn, record.row.id, {*names, *absent}, now, record.amended_names)
        check_names(conn, record.row.id, names)

    store.doing(work)
    return [now[bib] for bib in sorted(now)]


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
    """Return each class, name and bibs where several bibs have one name."""
    w = tables.wearers.c
    wanted = select(w.class_id, w.bib, w.name).where(w.name.is_not(None))
    if some is not None:
        wanted = wanted.where(w.class_id.in_(some))
    found: dict[tuple[int, str], list[tuple[int, str]]] = {}
    for class_id, bib, name in conn.execute(wanted.order_by(w.class_id, w.bib)):
        found.setdefault((class_id, key_of(name)), []).append((bib, name))
    return [
        (class_id, each[0][1], [bib for bib, _ in each])
        for (class_id, _), each in found.items()
        if len(each) > 1
    ]


def _write(
    conn: Connection,
    class_id: int,
    bibs: set[int],
    now: Mapping[int, Wearer],
    amended: Collection[int],
) -> None:
    t = tables.wearers
    for bib in sorted(bibs):
        w = now.get(bib)
        if w is None:
            conn.execute(delete(t).where(and_(t.c.class_id == class_id, t.c.bib == bib)))
        else:
            row = {"class_id": class_id, "bib": bib, "name": w.name, "absent": w.absent}
            row["logs"] = None  # it is said of the class as it is now
            if bib not in amended:
                row["said"] = None
            put_row(conn, t, row)


def _check_bibs(there: list[int], class_id: int, said: set[int]) -> None:
    strange = sorted(said - set(there))
    if strange:
        which = ", ".join(map(str, strange))
        have = ", ".join(map(str, there)) or "none"
        raise UsageError(
            f"Bib {which} was not in class {class_id}", f"The bibs of that class are {have}"
        )
