"""Made-up weeks of classes with what each log really was, filed without counting a tap."""

import random
import struct
from collections import Counter, defaultdict
from dataclasses import dataclass

import classes
from sqlalchemy import delete, insert, select

from handbell.base.digest import short_hex
from handbell.store.classes import joining
from handbell.store.database import tables
from handbell_core import journal as j

MINUTE_MS = 60_000
WEEK_MS = 7 * 24 * 60 * MINUTE_MS
START_MS = classes.START_UTC_MS
PLAN = b"a"
BLOCKS = ((classes.Piece("Ring rows", 300), classes.Piece("Sit-ups", 300)),)  # half an hour


@dataclass(frozen=True)
class Met:
    """A contact with a box's clock."""

    box: int
    boot: int
    at_ms: int
    what: str = "collect"


@dataclass(frozen=True)
class Log:
    """A log that comes in; ``start_ms`` None: without a clock. ``truth`` is the class it is of."""

    box: int
    start_ms: int | None
    boot: int
    at_ms: int
    truth: int = 0


class Season:
    """A store to which logs come whose taps don't matter."""

    def __init__(self, store):
        self.store = store
        self.truth = {}
        self._timelines = {}
        with store.writing() as conn:
            for table in (tables.runs, tables.classes, tables.contacts):
                conn.execute(delete(table))

    def met(self, *some):
        with self.store.writing() as conn:
            for one in some:
                row = {"box_id": classes.BOX_IDS[one.box - 1], "boot": one.boot, "what": one.what}
                row |= {"utc_us": one.at_ms * 1000, "box_us": 1, "bound_us": 500, "ahead_us": 0}
                conn.execute(insert(tables.contacts).values(**row))

    def take(self, *some):
        """Take logs in, one after the other; return their runs."""
        for one in some:  # before the turn is taken
            self._timeline(one.box)
        with self.store.writing() as conn:
            return [self._take(conn, one) for one in some]

    def _timeline(self, station):
        if station not in self._timelines:
            data = classes.timeline(BLOCKS, (station,), station, rounds=3, plan=PLAN, rate=False)
            self.store.put_timeline(data)
            self._timelines[station] = classes.digest_of(data)
        return self._timelines[station]

    def _take(self, conn, log):
        digest = self._timelines[log.box]
        box_id = classes.BOX_IDS[log.box - 1]
        box = struct.pack("<8sHH", bytes.fromhex(box_id)[:8].ljust(8, b"\0"), 0, log.boot)
        mark = (log.start_ms or 0) % 1_000_003 * 1000 + log.truth
        journal = j.run_record(bytes.fromhex(digest), log.box) + j.record(j.BOX, 0, 0, mark, box)
        row = {"digest": short_hex(journal), "timeline": digest, "box_id": box_id, "state": "whole"}
        row |= {"station": log.box, "reason": "", "clock": "ok", "started_by": "hand"}
        row |= {"start_utc_us": None if log.start_ms is None else log.start_ms * 1000}
        row |= {"stopped": False, "end_class_ms": 0, "late_cues": 0, "worst_late_us": 0}
        row |= {"broken": 0, "collected_utc_us": log.at_ms * 1000, "journal": journal}
        made = conn.execute(insert(tables.runs).values(**row)).inserted_primary_key
        joining.file(conn, made[0])
        self.truth[made[0]] = log.truth
        return made[0]

    def of(self):
        """Return the class of each run."""
        with self.store.reading() as conn:
            return dict(conn.execute(select(tables.runs.c.id, tables.runs.c.class_id)).all())

    def parts(self):
        """Return which logs are together, by their digests."""
        found = defaultdict(set)
        with self.store.reading() as conn:
            for row in conn.execute(select(tables.runs.c.digest, tables.runs.c.class_id)):
                found[row.class_id].add(row.digest)
        return {frozenset(some) for some in found.values()}

    def right(self):
        """Return the classes of two logs or more that have no log of another, by their runs."""
        found = defaultdict(set)
        for run, class_id in self.of().items():
            found[class_id].add(run)
        one = [some for some in found.values() if len({self.truth[run] for run in some}) == 1]
        return {frozenset(some) for some in one if len(some) > 1}

    def silently_mixed(self):
        """Return the classes with logs of several, of which no doubt is told."""
        found = defaultdict(Counter)
        for run, class_id in self.of().items():
            found[class_id][self.truth[run]] += 1
        mixed = [class_id for class_id, some in found.items() if len(some) > 1]
        return [class_id for class_id in mixed if not joining.doubts_of(self.store, class_id)]

    def doubts(self, *runs):
        return joining.doubts(self.store, runs or self.of())


def drawn(seed, weeks=4, boxes=4, by_hand=0.5, broken=0.3, alone=0.0, off=0.0, between=0.3):
    """Return collectings, each with the contacts and logs in their order.

    A box may be started anew before each class and each collecting; a link may break off between
    two logs, then the rest comes later. With ``alone`` a box is played by itself afterwards, with
    ``off`` it misses a class.
    """
    rng = random.Random(seed)
    boot = dict.fromkeys(range(1, boxes + 1), 1)
    on_box = {box: [] for box in boot}
    found, truth = [], 0

    def collect(at_ms, some):
        came = []
        for place, box in enumerate(some):
            boot[box] += rng.random() < 0.5
            came.append(Met(box, boot[box], at_ms + place * 20_000))
            n = len(on_box[box])
            if n > 1 and rng.random() < broken:
                n = rng.randrange(1, n)
            for start_ms, start, of in on_box[box][:n]:
                came.append(Log(box, start_ms, start, at_ms + place * 20_000 + 1000, of))
            on_box[box] = on_box[box][n:]
        found.append(came)

    for week in range(weeks):
        begin_ms = START_MS + week * WEEK_MS
        hand, count = rng.random() < by_hand, rng.choice([1, 2, 3])
        for box in boot:
            boot[box] += 1
        for n in range(count):
            truth += 1
            start_ms = begin_ms + n * 50 * MINUTE_MS
            for box in boot:
                if rng.random() < off:
                    boot[box] += 1
                    continue
                on_box[box].append((None if hand else start_ms, boot[box], truth))
                boot[box] += rng.random() < 0.3
            if n < count - 1 and rng.random() < between:
                collect(start_ms + 35 * MINUTE_MS, list(boot))
        end_ms = begin_ms + (count - 1) * 50 * MINUTE_MS + 40 * MINUTE_MS
        collect(end_ms, list(boot))
        if rng.random() < alone:
            truth += 1
            box = rng.choice(list(boot))
            boot[box] += rng.random() < 0.5
            on_box[box].append((None, boot[box], truth))
        if rng.random() < 0.5:
            collect(end_ms + 90 * MINUTE_MS, [box for box in boot if on_box[box]])
    return found
