"""What a coach elsewhere said of when logs began that are here already."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, select, update

from handbell.base.times import local_time
from handbell.store.classes import joining
from handbell.store.database import tables
from handbell.store.logs import dating

Told = Mapping[str, Any]
_R = tables.runs.c
_HERE = select(_R.id, _R.digest, _R.class_id, _R.start_utc_us, _R.dated_by).order_by(_R.id)


def take_dates(conn: Connection, told: Iterable[Told]) -> list[str]:
    """Take over the dates that a coach there said, of classes of which none here said one.

    Returned is a sentence for each class that was dated otherwise here.
    """
    dates = {
        one["digest"]: one["dated_utc_us"] for one in told if one["dated_by"] == dating.BY_HAND
    }
    of: dict[int, list[Any]] = {}
    for row in conn.execute(_HERE.where(_R.digest.in_(dates), _R.class_id.is_not(None))):
        if row.start_utc_us != dates[row.digest]:
            of.setdefault(row.class_id, []).append(row)
    said = []
    for class_id, off in sorted(of.items()):
        all_ = conn.execute(_HERE.where(_R.class_id == class_id)).all()
        now_us = _first_us(all_, off, dates)
        if any(row.dated_by == dating.BY_HAND for row in all_):
            when = f"{local_time(now_us):%Y-%m-%d %H:%M:%S}"
            said.append(
                f"Class {class_id} is dated otherwise in the bundle. To have it so here: "
                f'handbell class {class_id} --date "{when}"'
            )
            continue
        with joining.changing(conn, [row.id for row in all_]):
            dating.date_by_hand(conn, [row.id for row in all_], now_us)
            for row in off:
                date = dating.Dated(dates[row.digest], dating.BY_HAND).columns()
                conn.execute(update(tables.runs).where(_R.id == row.id).values(date))
    return said


def _first_us(all_: Sequence[Any], off: Sequence[Any], dates: Mapping[str, int]) -> int:
    """Return when a class began, where some of its logs did not when it says, but by ``dates``."""
    starts = [row.start_utc_us for row in all_ if row.start_utc_us is not None]
    one = next((row for row in off if row.start_utc_us is not None), None)
    if one is None:
        return min(dates[row.digest] for row in off)
    return int(dates[one.digest] - (one.start_utc_us - min(starts)))
