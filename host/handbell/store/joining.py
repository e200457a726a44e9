"""Which class a run belongs to: one playing of a plan, by all the boxes that took part.

With a clock, the class of the same plan whose start is nearest, within 20 minutes and less than
the plan's own length. Without one, the classes being collected now in their order, else the
newest of the last 12 h. A box takes part in a class once at a station, so the runs of a day
fall into place one after another.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Row, and_, bindparam, exists, insert, select, update

from .tables import classes, plans, runs

MINUTE_US = 60_000_000
START_APART_US = 20 * MINUTE_US
SAME_START_US = 2_000_000
COLLECTING_US = 30 * MINUTE_US
LATELY_US = 12 * 60 * MINUTE_US

# Built once: for each log anew it takes as long as to count a tenth of it.
_TURN = (
    select(plans.c.digest)
    .where(plans.c.digest.in_(bindparam("of", expanding=True)))
    .order_by(plans.c.digest)
    .with_for_update()
)
_AGAIN = and_(
    runs.c.class_id == classes.c.id,
    runs.c.box_id == bindparam("box_id"),
    runs.c.station == bindparam("station"),
)
_FREE = (
    select(classes)
    .where(classes.c.plan == bindparam("plan"), ~exists().where(_AGAIN))
    .order_by(classes.c.id)
)


@dataclass(frozen=True)
class Playing:
    """The facts of a run that say which class it is of; ``start_utc_us`` None: clock lost."""

    plan: str
    box_id: str
    station: int
    start_utc_us: int | None
    started_by: str
    slot_ms: int
    collected_utc_us: int


def take_turn(conn: Connection, of: Iterable[str]) -> None:
    """Wait until no other program is taking in a run of these plans (SQLite has one writer).

    In the order of digests, so that two programs never wait for each other.
    """
    if conn.dialect.name == "postgresql":
        conn.execute(_TURN, {"of": list(of)})


def class_of(conn: Connection, run: Playing) -> int:
    """Return the id of the class the run belongs to, making a new one if there is none."""
    place = {"plan": run.plan, "box_id": run.box_id, "station": run.station}
    free = list(conn.execute(_FREE, place))
    found = _unclocked(free, run) if run.start_utc_us is None else _clocked(conn, free, run)
    if found is not None:
        return found
    row = {
        "plan": run.plan,
        "start_utc_us": run.start_utc_us,
        "started_by": run.started_by,
        "collected_utc_us": run.collected_utc_us,
    }
    made = conn.execute(insert(classes), row).inserted_primary_key
    assert made is not None
    return int(made[0])


def _clocked(conn: Connection, free: list[Row[Any]], run: Playing) -> int | None:
    start = run.start_utc_us
    assert start is not None
    most = max(SAME_START_US, min(START_APART_US, run.slot_ms * 1000 - 1))
    near = [c for c in free if c.start_utc_us is not None and abs(c.start_utc_us - start) <= most]
    if near:
        return int(min(near, key=lambda c: abs(c.start_utc_us - start)).id)
    lost = _being_collected([c for c in free if c.start_utc_us is None], run)
    if not lost:
        return None
    values = {"start_utc_us": start, "started_by": run.started_by}
    conn.execute(update(classes).where(classes.c.id == lost[0].id).values(values))
    return int(lost[0].id)


def _unclocked(free: list[Row[Any]], run: Playing) -> int | None:
    now = _being_collected(free, run)
    if now:
        return int(now[0].id)
    lately = [c for c in free if 0 <= run.collected_utc_us - c.collected_utc_us <= LATELY_US]
    return int(lately[-1].id) if lately else None


def _being_collected(free: list[Row[Any]], run: Playing) -> list[Row[Any]]:
    now = [c for c in free if abs(run.collected_utc_us - c.collected_utc_us) <= COLLECTING_US]
    return sorted(now, key=lambda c: (c.start_utc_us or 0, c.id))
