"""What a coach says of people: another name, two records that are one, standing notes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from handbell.base.errors import UsageError
from handbell.coach.swap.sore import sore_parts
from handbell.store import open_store
from handbell.store.people import told
from handbell.store.people.told import BEGINNER, Note

from .backups import before
from .stored import store_if_there


@dataclass(frozen=True)
class Called:
    """How people are called now; ``backup`` is the copy made before, None without one."""

    names: tuple[str, ...]
    backup: str | None = None


@dataclass(frozen=True)
class Noted:
    """All that is noted of anybody; ``over`` are notes whose last day is past."""

    notes: tuple[Note, ...]
    over: tuple[Note, ...]


def rename(name: str, to: str, store_at: str | None = None) -> Called:
    """Call a person otherwise, in all classes and on the roster."""
    with open_store(store_at, make=False) as store:
        return Called((told.rename(store, name, to),))


def make_same(name: str, other: str, store_at: str | None = None) -> Called:
    """Say that two records are one person, who keeps the second's name.

    Raises UsageError where both were in one class.
    """
    with open_store(store_at, make=False) as store:
        backup = before(store, "same")
        return Called((told.make_same(store, name, other),), backup)


def make_two(name: str, store_at: str | None = None) -> Called:
    """Say that records which were made one person are two again."""
    with open_store(store_at, make=False) as store:
        return Called(tuple(told.make_two(store, name)))


def note(
    name: str, words: str, until: date | None, today: date, store_at: str | None = None
) -> Noted:
    """Note what is sore, or a beginner, in place of what was noted; no words take it away.

    Raises UsageError for what is no part of the body, or a day that is past.
    """
    what = _what(words)
    if until is not None and until < today:
        raise UsageError(f"{until.isoformat()} is past", "Give the last day that the note is for")
    with open_store(store_at, make=False) as store:
        return _parted(told.put_notes(store, name, what, until), today)


def notes(today: date, store_at: str | None = None) -> Noted:
    """Return all that is noted of anybody."""
    store = store_if_there(store_at)
    if store is None:
        return Noted((), ())
    with store:
        return _parted(told.notes(store), today)


def _parted(some: list[Note], today: date) -> Noted:
    over = tuple(one for one in some if one.until is not None and one.until < today)
    return Noted(tuple(one for one in some if one not in over), over)


def _what(words: str) -> list[str]:
    """Return what is noted, one by one; raises UsageError."""
    found = []
    for piece in re.split(r",|\band\b", words):
        plain = " ".join(piece.split()).casefold().removeprefix("sore ").strip()
        if plain == BEGINNER:
            found.append(BEGINNER)
        elif plain:
            found += sore_parts([plain])
    return list(dict.fromkeys(found))
