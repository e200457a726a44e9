"""What a coach elsewhere said of when logs began that are here already: it is only told."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, select

from handbell.base.times import local_time
from handbell.store.database import tables
from handbell.store.logs import dating

Told = Mapping[str, Any]
SECOND_US = 1_000_000  # a date is typed to the second
_R = tables.runs.c
_HERE = select(_R.id, _R.digest, _R.class_id, _R.start_utc_us, _R.dated_by).order_by(_R.id)


class Redated(NamedTuple):
    """A sentence on a class that is dated otherwise in a bundle, "" for one that is two there.

    ``followed``: with the command that dates it so here, at once.
    """

    words: str
    followed: bool


def dated_otherwise(conn: Connection, told: Collection[Told]) -> dict[int, Redated]:
    """Return, by class here, what is to say of those that a coach there dated otherwise.

    A date here stays: whether a coach's or a log's own is the right one, no store can tell.
    """
    dates = {
        one["digest"]: one["dated_utc_us"] for one in told if one["dated_by"] == dating.BY_HAND
    }
    there = {one["digest"]: one["class"] for one in told}
    mine = select(_R.class_id).where(_R.digest.in_(dates), _R.class_id.is_not(None))
    of: dict[int, list[Any]] = {}
    for row in conn.execute(_HERE.where(_R.class_id.in_(mine))):
        of.setdefault(row.class_id, []).append(row)
    found = {}
    for class_id, all_ in sorted(of.items()):
        rows = [row for row in all_ if row.digest in there]
        if any(_is_off(row, dates.get(row.digest)) for row in rows):
            if len({there[row.digest] for row in rows}) > 1:
                found[class_id] = Redated("", False)
                continue
            by_hand = all(row.digest in dates for row in rows)
            found[class_id] = _sentence(class_id, all_, rows, dates if by_hand else {})
    return found


def _is_off(row: Any, date_us: int | None) -> bool:
    if date_us is None:
        return False
    return row.start_utc_us is None or abs(row.start_utc_us - date_us) >= 2 * SECOND_US


def _sentence(
    class_id: int, all_: Sequence[Any], rows: Sequence[Any], dates: Mapping[str, int]
) -> Redated:
    """Say how to date a class as there; without ``dates`` no one date of it is the bundle's."""
    firsts = list(_firsts_us(all_, rows, dates)) if dates else []
    if firsts and max(firsts) - min(firsts) < SECOND_US:
        when = f"{local_time(firsts[0]):%Y-%m-%d %H:%M:%S}"
        command = f'handbell class {class_id} --date "{when}"'
        return Redated(f"Class {class_id} is dated {when} there: {command} dates it so here.", True)
    words = f"Class {class_id} is dated otherwise there."
    if firsts and any(row.dated_by == dating.BY_HAND for row in all_):
        words += f" To see how: handbell class {class_id} --date logged, then import it again"
    return Redated(words, False)


def _firsts_us(all_: Iterable[Any], rows: Iterable[Any], dates: Mapping[str, int]) -> Iterable[int]:
    """Return when the class would have to begin, so that each of ``rows`` does as there."""
    first = min((row.start_utc_us for row in all_ if row.start_utc_us is not None), default=0)
    for row in rows:
        after_us = 0 if row.start_utc_us is None else row.start_utc_us - first
        yield dates[row.digest] - after_us
