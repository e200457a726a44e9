"""Who wore which bib, and who was absent: said by the coach at or after collecting."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

from sqlalchemy import Connection, and_, delete

from handbell.base.errors import UsageError
from handbell.store.database import tables
from handbell.store.database.bulk import put_row
from handbell.store.database.database import Database
from handbell.store.results.queries import Wearer, load_class

from .names import plain_text, too_long


def clean_name(bib: int, name: str) -> str:
    """Return a name without control and direction marks; raises UsageError when it is too long."""
    plain = plain_text(name)
    wrong = too_long(plain)
    if wrong:
        raise UsageError(f"The name for bib {bib} {wrong}", "Give a shorter one")
    return plain


def set_wearers(
    store: Database, class_id: int | None, names: Mapping[int, str], absent: Iterable[int] = ()
) -> list[Wearer]:
    """Say who wore which bib (an empty name: forget it) and who was absent; return all of it.

    What was said before of other bibs stays. Raises UsageError for a bib that was not in the
    class and of which nothing was said, StoreError when there is no such class.
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
    store.doing(
        lambda conn: _write(conn, record.row.id, {*names, *absent}, now, record.amended_names)
    )
    return [now[bib] for bib in sorted(now)]


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
