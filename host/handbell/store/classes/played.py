"""When a box played a log that tells no time: what its contacts, collectings and logs say of it.

The one answer for filing, for what is told and for ``--join``. Each contact tells at which of its
starts a box was: a log of a later start was played since, one of an earlier start before. That is
proof, also where the link broke off between two logs. Only then a collecting counts by itself: a
box gives all that it has, though it may have been nothing. What came in after the log says nothing,
whatever the computer's clock said at either.
"""

from __future__ import annotations

import struct
from bisect import bisect_right
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from sqlalchemy import Connection, Row, bindparam, func, select

from handbell.store.database.tables import contacts, runs
from handbell.store.logs import journals
from handbell_core import journal as j

from .put_in import way_of
from .together import COLLECTING_US, FAR_US, Log, came_before, in_one_boot

_BOX_AT = struct.Struct("<8sHH")


_OF_BOXES = select(
    *(runs.c.id, runs.c.box_id, runs.c.start_utc_us, runs.c.collected_utc_us, runs.c.met_seq),
    runs.c.started_by,
).where(runs.c.box_id.in_(bindparam("boxes", expanding=True)))


_MET = (
    select(*(contacts.c[name] for name in ("box_id", "utc_us", "boot", "what", "seq")))
    .where(contacts.c.box_id.in_(bindparam("boxes", expanding=True)))
    .order_by(contacts.c.utc_us, contacts.c.boot)
)


class Met(NamedTuple):
    """A contact: when, at which of the box's starts (0: not known), whether its logs were asked.

    ``seq`` is the order in which it came in, 0: not known.
    """

    utc_us: int
    boot: int
    collected: bool
    seq: int = 0


class Played(NamedTuple):
    """Between when a log began, in UTC us, and since when its box had it at a collecting.

    ``had_us`` is far away where no start tells of an earlier collecting than its own.
    """

    since_us: int = 0
    until_us: int = FAR_US
    had_us: int = FAR_US


def played(
    conn: Connection, lost: Iterable[Row[Any]], without: int | None = None, surely: bool = False
) -> dict[int, Played]:
    """Return between when each run without a clock began, as its box tells.

    That is by its contacts and collectings, and in the order of its logs with those that have a
    clock, of every plan. ``without`` is a run that is left out; ``surely`` leaves out what only a
    collecting tells.
    """
    some: list[Any] = list(lost)
    if not some:
        return {}
    boxes = list({row.box_id for row in some})
    of_box: dict[str, list[Any]] = {box: [] for box in boxes}
    for row in conn.execute(_OF_BOXES, {"boxes": boxes}):
        if row.id != without:
            of_box[row.box_id].append(row)
    met: dict[str, list[Met]] = {box: [] for box in boxes}
    for c in conn.execute(_MET, {"boxes": boxes}):
        met[c.box_id].append(Met(c.utc_us, c.boot, c.what == "collect", c.seq or 0))
    boots = boots_of(conn, [row.id for row in some if met[row.box_id]])
    found, beside = {}, {}
    for row in some:
        at_us, boot = row.collected_utc_us, boots.get(row.id, 0)
        last = FAR_US if row.met_seq is None else row.met_seq
        by_then = [c for c in met[row.box_id] if c.seq <= last]
        others = (o for o in of_box[row.box_id] if (o.met_seq or 0) <= last)
        came = {*(c.utc_us for c in by_then if c.collected), *(o.collected_utc_us for o in others)}
        found[row.id] = one = by_meetings(boot, at_us, by_then, sorted(came), surely)
        beside[row.id] = [
            other
            for other in of_box[row.box_id]
            if other.start_utc_us is not None
            and other.start_utc_us <= at_us
            and other.collected_utc_us > one.since_us
        ]
    more = {row.id for row in some if beside[row.id]}
    boots = boots_of(conn, sorted(more.union(o.id for others in beside.values() for o in others)))
    both = (o for others in beside.values() for o in others)
    came_in = _came_in(conn, {o.id for o in both if o.started_by == journals.LATE})
    for row in some:
        since, until, had = found[row.id]
        for other in beside[row.id]:
            mine, its = _brief(row, boots), _brief(other, boots)
            if came_before(its, mine):
                since = max(since, other.start_utc_us)
            elif came_before(mine, its) or in_one_boot(mine, its):
                until = min(until, came_in.get(other.id, other.start_utc_us))
        found[row.id] = Played(since, until, had)
    return found


def by_meetings(
    boot: int,
    collected_us: int,
    met: Sequence[Met],
    came: Sequence[int],
    surely: bool = False,
) -> Played:
    """Return between when a log began of a start of its box, 0 if not known.

    ``met`` are the box's contacts and ``came`` when it was collected, both in order of time. What
    was after the log came in says nothing, so no later contact changes its place.
    """
    since, until, had = 0, collected_us, FAR_US
    for contact in _telling(boot, collected_us, met):
        if contact.boot < boot:
            since = contact.utc_us
        elif contact.boot > boot:
            until = min(until, contact.utc_us)
            if contact.collected:
                had = min(had, contact.utc_us)
    if surely:
        return Played(since, until, had)
    for at_us in reversed(came[: bisect_right(came, collected_us - COLLECTING_US)]):
        if at_us < until:  # else it left the log behind
            return Played(max(since, at_us), until, had)
    return Played(since, until, had)


def _came_in(conn: Connection, late: Collection[int]) -> dict[int, int]:
    """Return when, in UTC us, each box came into the class that it was put into.

    Such a log tells as its start that of its class, and the same box may have been in it before.
    """
    wanted = select(runs).where(runs.c.id.in_(list(late)))
    told = conn.execute(wanted) if late else ()
    ats = {run.id: way_of(run, bytes(run.journal)).came_in for run in told}
    return {run: at.utc_ms * 1000 for run, at in ats.items() if at is not None}


def _telling(boot: int, collected_us: int, met: Sequence[Met]) -> list[Met]:
    """Return the contacts before a log came whose starts are of one count with the log's, in order.

    A box begins to count anew where its flash was erased or its settings were lost.
    """
    known = [c for c in met if c.boot and c.utc_us <= collected_us] if boot else []
    if known and known[-1].boot < boot and collected_us - known[-1].utc_us < COLLECTING_US:
        return []  # it came from a box at an earlier start, so the log is of another count
    first = len(known) - 1
    while first > 0 and known[first - 1].boot <= known[first].boot:
        first -= 1
    return known[max(first, 0) :]


def _brief(row: Any, boots: Mapping[int, int]) -> Log:
    """Return what tells the order of a box's logs."""
    times = {"start_utc_us": row.start_utc_us, "collected_utc_us": row.collected_utc_us}
    return Log(row.id, "", row.box_id, 0, slot_us=0, boot=boots.get(row.id, 0), **times)


def boots_of(conn: Connection, some: Sequence[int]) -> dict[int, int]:
    """Return at which of its box's starts each run began, as its log's second record says."""
    if not some:
        return {}
    second = func.substr(runs.c.journal, j.RECORD_SIZE + 1, j.RECORD_SIZE).label("second")
    found = {}
    for row in conn.execute(select(runs.c.id, second).where(runs.c.id.in_(some))):
        record = j.parse_record(bytes(row.second)) if len(row.second) == j.RECORD_SIZE else None
        if record is not None and record[0] == j.BOX:
            found[row.id] = _BOX_AT.unpack_from(record[4])[2]
    return found
