"""What is said of logs that went to another class, with the commands that bring them back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Row, select

from handbell.store.database.tables import runs, wearers

from .together import COLLECTING_US

Rows = Mapping[int, Row[Any]]


def moves(conn: Connection, rows: Rows, now: Mapping[int, int]) -> list[str]:
    """Return a sentence for logs that went to another class after a coach may have seen the first.

    That is after names were said of it, or in a later collecting. ``rows`` are the runs as they
    were, ``now`` the class each is in; names have not gone along yet.
    """
    was = {run: row.class_id for run, row in rows.items()}
    moved = {run for run, class_id in now.items() if was[run] not in (None, class_id)}
    if not moved:
        return []
    w = wearers.c
    of = {was[run] for run in moved}
    named = set(conn.scalars(select(w.class_id).where(w.class_id.in_(of)).distinct()))
    latest_us = max(row.collected_utc_us for row in rows.values())
    return _went(
        conn,
        was,
        [
            run
            for run in moved
            if was[run] in named or latest_us - rows[run].collected_utc_us > COLLECTING_US
        ],
    )


@contextmanager
def moves_told(
    conn: Connection, said: list[str] | None, but: Collection[int] = ()
) -> Iterator[None]:
    """Add a sentence for runs that are in another class when the work is done, of every plan.

    What only went there and back in between is not told. ``but`` are runs of which the coach says
    where they go.
    """
    before = _places(conn)
    yield
    now = _places(conn)
    moved = [run for run, class_id in before.items() if now.get(run, class_id) != class_id]
    if said is not None:
        said += _went(conn, {**dict.fromkeys(now), **before}, set(moved) - set(but))


def _places(conn: Connection) -> dict[int, int]:
    """Return the class of each run that has one."""
    wanted = select(runs.c.id, runs.c.class_id).where(runs.c.class_id.is_not(None))
    return {row.id: row.class_id for row in conn.execute(wanted)}


def _went(conn: Connection, was: Mapping[int, int | None], some: Collection[int]) -> list[str]:
    """Return a sentence for runs that went to other classes, with commands that undo it."""
    r = runs.c
    facts = select(r.id, r.digest, r.box_id, r.station, r.class_id)
    facts = facts.order_by(r.station, r.box_id, r.id)
    went: dict[tuple[int, int], list[Any]] = {}
    for row in conn.execute(facts.where(r.id.in_(some))):
        went.setdefault((was[row.id] or 0, row.class_id), []).append(row)
    said = []
    for (old, new), logs in sorted(went.items()):
        there = conn.execute(facts.where(r.class_id == new)).all()
        left = conn.execute(facts.where(r.class_id == old)).all()
        boxes = ", ".join(f"{row.box_id[-4:]} (station {row.station})" for row in logs)
        what = f"A log of box {boxes} that was" if len(logs) == 1 else f"Logs of {boxes} that were"
        is_ = "is" if len(logs) == 1 else "are"
        back = _way_back(old, new, logs, there, left, was)
        said.append(
            f"{what} in class {old} {is_} in class {new} now, by the rules"
            + (f". If that is wrong: {back}" if back else "")
        )
    return said


def _way_back(
    old: int,
    new: int,
    logs: Sequence[Any],
    there: Sequence[Any],
    left: Sequence[Any],
    was: Mapping[int, int | None],
) -> str:
    """Return the commands that bring logs back to the class where they were, "" if none do.

    ``there`` are all logs of the class they are in now, ``left`` those of the one where they were.
    """
    steps, number = [], str(new)
    if len(there) > len(logs):
        boxes = Counter(row.box_id[-4:] for row in there)
        ends = [row.box_id[-4:] if boxes[row.box_id[-4:]] == 1 else row.digest[:8] for row in logs]
        steps.append(f"handbell class {new} --apart {' '.join(ends)}")
        number = "NUMBER"
    if any(was.get(row.id, old) == old for row in left):  # it is the same class still
        places = {(row.box_id, row.station) for row in logs}
        twice = [row.digest[:8] for row in left if (row.box_id, row.station) in places]
        if len(twice) < len(left):
            if twice:
                steps.append(f"handbell class {old} --apart {' '.join(twice)}")
            alone = number == str(new)
            may = "if that did not bring it back, " if steps else ""  # the rules may
            steps.append(f"{may}handbell class {number} --join {old}")
            if not alone:
                steps[-1] += ", with the number that the first one prints"
    return ", then ".join(steps)
