"""Who wore which bib, and who was absent: said by the coach at or after collecting."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping

from sqlalchemy import and_, delete, insert

from handbell.errors import UsageError

from . import tables
from .queries import Wearer, load_class
from .store import Store

NAME_LONGEST = 80
# Marks that turn the writing direction round or take no room; a name needs none of them.
_UNSEEN = {0x061C, 0x200B, 0x200E, 0x200F, 0xFEFF, *range(0x202A, 0x202F), *range(0x2066, 0x206A)}


def clean_name(bib: int, name: str) -> str:
    """Return a name without control and direction marks; raises UsageError when it is too long."""
    kept = "".join(
        " " if c.isspace() else c
        for c in name
        if c.isspace() or (unicodedata.category(c) not in ("Cc", "Cs") and ord(c) not in _UNSEEN)
    )
    plain = " ".join(kept.split())
    if len(plain) > NAME_LONGEST:
        raise UsageError(
            f"The name for bib {bib} has {len(plain)} characters, the most is {NAME_LONGEST}",
            "Give a shorter one",
        )
    return plain


def set_wearers(
    store: Store, class_id: int | None, names: Mapping[int, str], absent: Iterable[int] = ()
) -> list[Wearer]:
    """Say who wore which bib (an empty name: forget it) and who was absent; return all of it.

    What was said before of other bibs stays. Raises UsageError for a bib that was not in the
    class, StoreError when there is no such class.
    """
    record = load_class(store, class_id)
    absent = set(absent)
    _check_bibs(record.bibs, record.row.id, {*names, *absent})
    now = dict(record.wearers)
    for bib, name in names.items():
        plain = clean_name(bib, name)
        now.pop(bib, None)
        if plain:
            now[bib] = Wearer(bib, plain, False)
    for bib in absent:
        known = now.get(bib)
        now[bib] = Wearer(bib, known.name if known else None, True)
    t = tables.wearers
    with store.writing() as conn:
        for bib in {*names, *absent}:
            conn.execute(delete(t).where(and_(t.c.class_id == record.row.id, t.c.bib == bib)))
            if bib in now:
                conn.execute(insert(t), {"class_id": record.row.id, **vars(now[bib])})
    return [now[bib] for bib in sorted(now)]


def _check_bibs(there: list[int], class_id: int, said: set[int]) -> None:
    strange = sorted(said - set(there))
    if strange:
        which = ", ".join(map(str, strange))
        have = ", ".join(map(str, there)) or "none"
        raise UsageError(
            f"Bib {which} was not in class {class_id}", f"The bibs of that class are {have}"
        )
