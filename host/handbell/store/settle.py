"""What a run comes to: its taps counted again, and then what the coach amended.

Results and taps can be made anew from the journal at any time; amendments outlive it, since they
are kept apart and are put on top each time.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from contextlib import suppress
from itertools import pairwise
from statistics import median
from typing import Any

from sqlalchemy import Connection, Row, delete, select, update

from handbell.errors import StoreError
from handbell_core import journal as j

from . import journals, tables, timelines
from .bulk import insert_rows, put_row
from .recount import AMENDED, INVALID, KINDS, Recounted, recount

REPS, HELD, BIB, NAME, NOTHING = "reps", "held", "bib", "name", "invalid"  # what is amended
TO_END = "end"
GAPS_LEAST = 2  # so that a best and a worst differ


def fill(conn: Connection, run: int, found: journals.Journal, counted: Recounted) -> None:
    """Write a run's taps and results as they were counted."""
    insert_rows(conn, tables.taps, _tap_rows(run, found, counted.stands))
    gaps = _gaps(found, counted)
    results = [
        (run, c.window, c.slot, *c.used, c.box_reps, c.standing, *gaps[c.window, c.slot], None)
        for c in counted.results
    ]
    insert_rows(conn, tables.results, results)


def _gaps(
    found: journals.Journal, counted: Recounted
) -> dict[tuple[int, int], tuple[float | None, ...]]:
    """Return median, best and worst ms from rep to rep by window and slot.

    The time to the first tap is none, and of a target the last tap of ``every`` n is none where n
    does not divide it. Three taps at least; a tally's tell nothing.
    """
    times: dict[tuple[int, int], list[int]] = {}
    for seq in sorted(counted.stands):
        _, slot, window, class_ms, payload = found.records[seq]
        if not payload[6] & j.TAP_TALLIED:
            times.setdefault((window, slot), []).append(class_ms)
    told: dict[tuple[int, int], tuple[float | None, ...]] = {}
    for c in counted.results:
        some, every = times.get((c.window, c.slot), []), counted.every.get((c.window, c.slot), 1)
        if every > 1 and c.used.made_ms >= 0 and c.used.reps % every:
            some = some[:-1]
        gaps = [(b - a) / every for a, b in pairwise(some)]
        few = len(gaps) < GAPS_LEAST or min(gaps) <= 0
        told[c.window, c.slot] = (None, None, None) if few else (median(gaps), min(gaps), max(gaps))
    return told


def _tap_rows(run: int, found: journals.Journal, stands: set[int]) -> list[tuple[Any, ...]]:
    rows = []
    for seq, (kind, slot, window, class_ms, payload) in enumerate(found.records):
        if kind in KINDS:
            bib, held_ms, _, flags = struct.unpack_from("<HHHB", payload)
            word = KINDS[kind]
            rows.append(
                (run, seq, word, slot, bib, window, class_ms, held_ms, flags, seq in stands)
            )
    return rows


def settle(conn: Connection, run: int) -> None:
    """Count a run again from its journal, then put the amendments in force on top."""
    r, t = tables.runs, tables.timelines
    wanted = select(r.c.journal, t.c.data).join(t, t.c.digest == r.c.timeline).where(r.c.id == run)
    row = conn.execute(wanted).one()
    found = journals.read(row.journal)
    windows = timelines.decode(row.data).windows
    for table in (tables.taps, tables.results):
        conn.execute(delete(table).where(table.c.run == run))
    fill(conn, run, found, recount(windows, found.records, found.lost_records))
    for amendment in in_force(conn, run):
        if amendment.what != NAME:
            _apply(conn, amendment, windows[amendment.window])


def settle_all(conn: Connection) -> None:
    """Make again all that is derived; what an unreadable timeline or log gave stays as it is."""
    conn.execute(delete(tables.tasks))
    t = tables.timelines
    for digest, data in conn.execute(select(t.c.digest, t.c.data)).all():
        with suppress(StoreError):
            insert_rows(conn, tables.tasks, timelines.task_rows(timelines.decode(data), digest))
    for run in conn.scalars(select(tables.runs.c.id)).all():
        with suppress(StoreError, journals.UnreadableError):
            settle(conn, run)


def in_force(conn: Connection, run: int) -> Sequence[Row[Any]]:
    """Return a run's amendments that nobody undid, the latest last."""
    a = tables.amendments
    standing = select(a).where(a.c.run == run, a.c.undone_utc_us.is_(None))
    return conn.execute(standing.order_by(a.c.at_utc_us, a.c.digest)).all()


def _apply(conn: Connection, amendment: Row[Any], window: timelines.Window) -> None:
    t, key = tables.results, (amendment.run, amendment.window, amendment.slot)
    there = t.c.run == key[0], t.c.window == key[1], t.c.slot == key[2]
    row = conn.execute(select(t).where(*there)).mappings().first()
    now = dict(row) if row else _blank(key, window)
    now |= _changes(amendment, now, window.at(amendment.slot))
    now["amended"] = amendment.digest
    if now["standing"] != INVALID:
        now["standing"] = INVALID if amendment.what == NOTHING else AMENDED
    put_row(conn, t, now)
    if amendment.what == BIB:
        taps = tables.taps
        there = taps.c.run == key[0], taps.c.window == key[1], taps.c.slot == key[2]
        conn.execute(update(taps).where(*there).values(bib=now["bib"]))


def _blank(key: tuple[int, int, int], window: timelines.Window) -> dict[str, Any]:
    """Return the result of a window that the log tells nothing of."""
    names = ("run", "window", "slot")
    nothing = {"reps": 0, "made_ms": -1, "held_ds": j.HELD_TO_END, "flags": j.RES_ASKED}
    rest = {"bib": window.bibs[key[2]], "box_reps": None, "standing": AMENDED}
    return dict(zip(names, key, strict=True)) | nothing | rest


def _changes(amendment: Row[Any], now: dict[str, Any], window: timelines.Window) -> dict[str, Any]:
    """Return what an amendment changes; what is entered by hand was neither skipped nor cut."""
    if amendment.what == BIB:
        return {"bib": int(amendment.value)}
    if amendment.what == NOTHING:
        return {}
    changed: dict[str, Any] = {"flags": now["flags"] & j.RES_ASKED}
    if amendment.what == HELD:
        to_end = amendment.value == TO_END
        return changed | {"held_ds": j.HELD_TO_END if to_end else int(amendment.value)}
    reps = int(amendment.value)
    changed["reps"] = reps
    if reps < window.goal:
        changed["made_ms"] = -1  # else it stays, and is not known if the log has none
    return changed
