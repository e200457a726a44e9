"""What a run comes to: its taps counted again, and then what the coach amended.

Results and taps can be made anew from the journal at any time; amendments outlive it, since they
are kept apart and are put on top each time.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from itertools import pairwise
from typing import Any, NamedTuple

from sqlalchemy import Connection, Row, and_, delete, select, update

from handbell.base.errors import StoreError
from handbell.store.database import tables
from handbell.store.database.bulk import Values, insert_rows, put_row
from handbell.store.logs import dating, facts, journals, timelines
from handbell.store.logs.acts import LATE, PAUSED, SHORT, TAP_PAUSED
from handbell.store.logs.recount import AMENDED, INVALID, KINDS, PRESS, Counted, Recounted, recount
from handbell_core import journal as j
from handbell_core.runner import AT_GATE
from handbell_core.timeline import TAP_LEG

from .efforts import COUNTS, efforts_of_run, said_of
from .queries import with_bibs
from .records import ResultRow
from .sums import SUMMED, added_up, packed

REPS, HELD, BIB, NAME, NOTHING = "reps", "held", "bib", "name", "invalid"  # what is amended
TO_END = "end"
GAPS_LEAST = 2  # so that a best and a worst differ


class Derived(NamedTuple):
    """All that is made of a run's journal, as rows of their tables without the run's number."""

    taps: list[Values]
    results: list[Values]
    sums: list[Values]


def derive(
    found: journals.Journal, counted: Recounted, windows: Mapping[int, timelines.Window]
) -> Derived:
    """Return what a journal comes to as it was counted."""
    taps, times = _tap_rows(found, counted.stands)
    legs = {w.number: _legs(w, times) for w in windows.values() if w.tap == TAP_LEG}
    results: list[Values] = []
    for c in counted.results:
        key = c.window, c.slot
        if c.used.flags & (PAUSED | LATE):
            gaps: tuple[float | None, ...] = _spread([])
        elif c.window in legs:
            gaps = _spread(legs[c.window].get(c.slot, []))
        else:
            gaps = _gaps(c, times.get(key, []), counted.every.get(key, 1))
        results.append((c.window, c.slot, *c.used, *c[3:], *gaps, None))
    told = [ResultRow(0, c.window, c.slot, *c.used, *c[3:]) for c in counted.results]
    return Derived(taps, results, _sum_rows(windows, told))


def fill(conn: Connection, run: int, derived: Derived) -> None:
    """Write what was made of a run's journal."""
    insert_rows(conn, tables.taps, derived.taps, run)
    insert_rows(conn, tables.results, derived.results, run)
    insert_rows(conn, tables.sums, derived.sums, run)


def _sum_rows(
    windows: Mapping[int, timelines.Window],
    results: Iterable[ResultRow],
    run: int = 0,
    amended: Iterable[Row[Any]] = (),
) -> list[Values]:
    """Return a run's sums, each under the first window and slot that are in it."""
    return [
        (first.window, first.slot, first.bib, packed(sums.asked), *sums[SUMMED:])
        for first, sums in added_up(efforts_of_run(run, 0, windows, results, said_of(amended)))
    ]


def _gaps(result: Counted, times: Sequence[int], every: int) -> tuple[float | None, ...]:
    """Return median, best and worst ms from rep to rep, None where the taps tell none.

    The time to the first tap is none, and of a target the last tap of ``every`` n is none where n
    does not divide it. Three taps at least; a tally's tell nothing.
    """
    if every > 1 and result.used.made_ms >= 0 and result.used.reps % every:
        times = times[:-1]
    return _spread([b - a for a, b in pairwise(times)], every)


def _spread(gaps: list[int], every: int = 1) -> tuple[float | None, ...]:
    """Return median, best and worst of some ms, by each of ``every`` reps."""
    gaps = sorted(gaps)
    count = len(gaps)
    if count < GAPS_LEAST or gaps[0] <= 0:
        return None, None, None
    median = (gaps[(count - 1) // 2] + gaps[count // 2]) / 2
    return median / every, gaps[0] / every, gaps[-1] / every


Place = tuple[int, int]  # window and slot


def _legs(window: timelines.Window, times: Mapping[Place, Sequence[int]]) -> dict[int, list[int]]:
    """Return how long each leg took, by slot: from the hand-over before it to its own."""
    ends = sorted(
        (ms, slot)
        for slot in range(len(window.bibs))
        for ms in times.get((window.number, slot), ())
    )
    found: dict[int, list[int]] = {}
    began_ms = window.start_ms
    for ms, slot in ends:
        found.setdefault(slot, []).append(ms - began_ms)
        began_ms = ms
    return found


def _tap_rows(
    found: journals.Journal, stands: set[int]
) -> tuple[list[Values], dict[Place, list[int]]]:
    """Return a row for each press, and the ``class_ms`` of taps that stand, tallies left out."""
    rows: list[Values] = []
    times: dict[Place, list[int]] = {}
    paused_ms: int | None = None  # where a remote lets the class stand
    for seq, (kind, slot, window, class_ms, payload) in enumerate(found.records):
        if kind == j.STATE:
            paused = payload[0] == AT_GATE and payload[1] == j.BY_WORD
            paused_ms = class_ms if paused else None
        if kind in KINDS:
            bib, held_ms, _, flags = PRESS.unpack_from(payload)
            stood = seq in stands
            if class_ms == paused_ms:
                flags |= TAP_PAUSED
            rows.append((seq, KINDS[kind], slot, bib, window, class_ms, held_ms, flags, stood))
            if stood and not flags & j.TAP_TALLIED:
                times.setdefault((window, slot), []).append(class_ms)
    return rows, times


def settle_alike(conn: Connection, some: Iterable[int]) -> None:
    """Settle runs, and the others of their classes that are of the same station."""
    todo = set(some)
    for run in sorted(todo | set(alike(conn, todo))):
        settle(conn, run)


def settle_borrowers(conn: Connection, some: Iterable[int]) -> None:
    """Settle what hangs on corrected bibs in classes of which logs came and went."""
    r, a = tables.runs.c, tables.amendments.c
    there = r.class_id.in_(list(some))
    given = select(r.station, r.timeline).join(tables.amendments, a.run == r.id)
    given = given.where(there, a.what == BIB, a.undone_utc_us.is_(None)).distinct()
    for station, timeline in conn.execute(given).all():
        same = select(r.id).where(there, r.station == station, r.timeline == timeline)
        for run in conn.scalars(same.order_by(r.id)).all():
            settle(conn, run)


def alike(conn: Connection, some: Iterable[int]) -> list[int]:
    """Return the other runs of the same classes, stations and timelines as some."""
    mine, r = tables.runs.alias(), tables.runs.c
    same = and_(*(mine.c[name] == r[name] for name in ("class_id", "station", "timeline")))
    wanted = select(r.id).join(mine, same).where(mine.c.id.in_(list(some)), mine.c.id != r.id)
    return list(conn.scalars(wanted.distinct()))


def borrowed(conn: Connection, run: int) -> dict[Place, Row[Any]]:
    """Return what was said of who was there in another log of a run's station, by place.

    It tells of the same button.
    """
    others = alike(conn, [run])
    if not others:
        return {}
    a = tables.amendments.c
    given = select(tables.amendments).where(a.run.in_(others), a.what == BIB)
    given = given.where(a.undone_utc_us.is_(None)).order_by(a.at_utc_us, a.batch, a.digest)
    return {(row.window, row.slot): row for row in conn.execute(given)}


def settle(conn: Connection, run: int) -> None:
    """Count a run again from its journal, then put the amendments in force on top."""
    _settle(conn, run)


def _settle(conn: Connection, run: int, anew: bool = False) -> None:
    """Settle a run; ``anew``: also what is known of it beside its counts."""
    r, t = tables.runs, tables.timelines
    dates = (r.c.box_id, r.c.collected_utc_us, r.c.dated_utc_us, r.c.dated_by, r.c.by_box_utc_us)
    wanted = select(r.c.journal, r.c.timeline, r.c.station, t.c.data, *dates)
    wanted = wanted.add_columns(r.c.bound_us.label("dated_bound_us"))
    row = conn.execute(wanted.join(t, t.c.digest == r.c.timeline).where(r.c.id == run)).one()
    found = journals.read(row.journal, journals.Played(row.timeline, row.station))
    timeline = timelines.decode(row.data)
    windows = timeline.windows
    for table in (tables.taps, tables.results, tables.sums, tables.ratings):
        conn.execute(delete(table).where(table.c.run == run))
    counted = recount(windows, found.records, found.lost_records)
    if anew:
        dated = dating.kept(dict(row._mapping))
        if dated is None or dated.by == dating.BY_BOX:
            by_box = dating.by_box(conn, found, row.box_id, row.collected_utc_us)
            dated = by_box or dated
        values = facts.facts_of(found) | (dated.columns() if dated else {})
        if row.by_box_utc_us is not None and dated is not None and dated.by == dating.BY_HAND:
            values["bound_us"] = row.dated_bound_us  # of the box's clock, as before
        conn.execute(update(r).where(r.c.id == run).values(values))
        facts.note(conn, run, found, facts.mismatches_of(found, timeline, counted))
    fill(conn, run, derive(found, counted, windows))
    amended = [a for a in in_force(conn, run) if a.what != NAME]
    own = {(a.window, a.slot): a for a in amended if a.what == BIB}
    moved = borrowed(conn, run) | own
    windows = with_bibs(timeline, moved.values()).windows
    for place, amendment in moved.items():
        if place not in own:
            _give(conn, run, amendment)
    for amendment in _last(amended):
        _apply(conn, amendment, windows[amendment.window])
    told = _add_up_again(conn, run, windows, amended) if amended or moved else []
    insert_rows(conn, tables.ratings, list(_ratings(found.ratings, counted, told).items()), run)


def _ratings(
    answers: Mapping[int, int], counted: Recounted, amended: Iterable[ResultRow]
) -> dict[int, int]:
    """Return each bib's answer to how hard it was, as far as it is known whose it is.

    Where all that a bib did on this box was another's, that one gave the answer too. An answer
    that bib gave under its own number stands before it.
    """
    now = {(r.window, r.slot): r.bib for r in amended}
    did: dict[int, set[int]] = {}
    for c in counted.results:
        did.setdefault(c.used.bib, set()).add(now.get((c.window, c.slot), c.used.bib))
    own: dict[int, int] = {}
    moved: dict[int, int] = {}
    for bib in sorted(answers):
        to = did.get(bib, {bib})
        if len(to) > 1 or bib in to:
            own[bib] = answers[bib]
        else:
            moved.setdefault(min(to), answers[bib])
    return moved | own


def _add_up_again(
    conn: Connection,
    run: int,
    windows: Mapping[int, timelines.Window],
    amended: Iterable[Row[Any]],
) -> list[ResultRow]:
    """Make a run's sums anew from its results, and return those."""
    told = tables.results.c
    names = (name for name in ResultRow.__dataclass_fields__ if name != "amended")
    wanted = select(*(told[name] for name in names)).where(told.run == run)
    results = [ResultRow(*row) for row in conn.execute(wanted)]
    conn.execute(delete(tables.sums).where(tables.sums.c.run == run))
    insert_rows(conn, tables.sums, _sum_rows(windows, results, run, amended), run)
    return results


def settle_all(conn: Connection) -> None:
    """Make again all that is derived; what an unreadable timeline or log gave stays as it is.

    Logs of which it is known otherwise then when they began are to be filed anew.
    """
    conn.execute(delete(tables.tasks))
    t = tables.timelines
    for digest, data in conn.execute(select(t.c.digest, t.c.data)).all():
        with suppress(StoreError):
            insert_rows(conn, tables.tasks, timelines.task_rows(timelines.decode(data), digest))
    for run in conn.scalars(select(tables.runs.c.id).order_by(tables.runs.c.id)).all():
        with suppress(StoreError, journals.UnreadableError):
            _settle(conn, run, anew=True)


def in_force(conn: Connection, run: int) -> Sequence[Row[Any]]:
    """Return a run's amendments that nobody undid, the latest last."""
    a = tables.amendments
    standing = select(a).where(a.c.run == run, a.c.undone_utc_us.is_(None))
    return conn.execute(standing.order_by(a.c.at_utc_us, a.c.batch, a.c.digest)).all()


def _last(amended: Iterable[Row[Any]]) -> list[Row[Any]]:
    """Return the last word of each kind at each place, the latest last.

    Each is put on what was counted, so that what an earlier one unmade comes back.
    """
    last = {(a.window, a.slot, a.what == BIB): a for a in amended}
    return [a for a in amended if last[a.window, a.slot, a.what == BIB] is a]


def _apply(conn: Connection, amendment: Row[Any], window: timelines.Window) -> None:
    t, key = tables.results, (amendment.run, amendment.window, amendment.slot)
    there = t.c.run == key[0], t.c.window == key[1], t.c.slot == key[2]
    row = conn.execute(select(t).where(*there)).mappings().first()
    if row is None and amendment.what == BIB:
        return  # somebody else's, and nothing is told of it
    now = dict(row) if row else _blank(key, window)
    now |= _changes(amendment, now, window.at(amendment.slot))
    now["amended"] = amendment.digest
    if amendment.what in COUNTS or now["standing"] != INVALID:  # another bib's tells nothing still
        now["standing"] = INVALID if amendment.what == NOTHING else AMENDED
    put_row(conn, t, now)
    if amendment.what == BIB:
        _give(conn, amendment.run, amendment)


def _give(conn: Connection, run: int, amendment: Row[Any]) -> None:
    """Give what a run tells of a place to the bib that was there."""
    for t in (tables.results, tables.taps):
        place = t.c.run == run, t.c.window == amendment.window, t.c.slot == amendment.slot
        conn.execute(update(t).where(*place).values(bib=int(amendment.value)))


def _blank(key: tuple[int, int, int], window: timelines.Window) -> dict[str, Any]:
    """Return the result of a window that the log tells nothing of."""
    names = ("run", "window", "slot")
    nothing = {"reps": 0, "made_ms": -1, "held_ds": j.HELD_TO_END, "flags": j.RES_ASKED}
    rest = {"bib": window.bibs[key[2]], "box_reps": None, "standing": AMENDED}
    return dict(zip(names, key, strict=True)) | nothing | rest


def _changes(amendment: Row[Any], now: dict[str, Any], window: timelines.Window) -> dict[str, Any]:
    """Return what an amendment changes; what is entered by hand was neither skipped nor cut.

    That the coach broke a window off, or paused it, stays as it was.
    """
    if amendment.what == BIB:
        return {"bib": int(amendment.value)}
    if amendment.what == NOTHING:
        return {}
    changed: dict[str, Any] = {"flags": now["flags"] & (j.RES_ASKED | PAUSED | SHORT)}
    if amendment.what == HELD:
        to_end = amendment.value == TO_END
        return changed | {"held_ds": j.HELD_TO_END if to_end else int(amendment.value)}
    reps = int(amendment.value)
    changed["reps"] = reps
    if reps < window.goal:
        changed["made_ms"] = -1  # else it stays, and is not known if the log has none
    return changed
