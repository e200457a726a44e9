"""Random weeks of classes by hand and armed: no log is in a wrong class without a word."""

import re
from collections import Counter
from functools import cache

import classes
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from handbell.store import open_store
from handbell.store.classes import joining
from handbell.store.classes.gathering import parted_around
from handbell.store.database import tables

MINUTE_MS = 60_000
WEEK_MS = 7 * 24 * 60 * MINUTE_MS
BLOCKS = ((classes.Piece("Ring rows", 300), classes.Piece("Sit-ups", 300)),)  # half an hour
SPARE = 9


@cache
def timeline(station, plan):
    return classes.timeline(BLOCKS, (station,), station, rounds=3, plan=plan, rate=False)


@st.composite
def weeks(draw):
    """What was played and collected: a list of collectings, each of (box, log) in their order.

    A log is (class, plan, station, start or None, boot, mark); a class is ten times its week and
    which one of it. A box that was forgotten stays in
    its bag with its logs; next time it plays, or is only collected.
    """
    boxes = list(range(1, draw(st.integers(3, 4)) + 1))
    on_box = {box: [] for box in (*boxes, SPARE)}
    stands_in = dict.fromkeys(boxes)
    boot = Counter()
    left_behind = set()
    found, mark = [], 0
    for week in range(draw(st.integers(1, 3))):
        start_ms = classes.START_UTC_MS + week * WEEK_MS
        bag = {box for box in left_behind if draw(st.booleans())}
        for box in boxes:
            if draw(st.integers(0, 9)) == 0:
                stands_in[box] = SPARE if SPARE not in stands_in.values() else None
        clock = set()
        boot.update((*boxes, SPARE))
        for n in range(draw(st.integers(1, 3))):
            plan = draw(st.sampled_from([b"a", b"a", b"b"]))
            armed = draw(st.booleans())
            missing = draw(st.sampled_from([None, None, *boxes])) if armed else None
            played = 10 * week + n
            for station in boxes:
                box = stands_in[station] or station
                if box in bag or station == missing:
                    continue
                lost = draw(st.integers(0, 9)) == 0
                if lost or (not armed and draw(st.booleans())):
                    boot[box] += 1  # it was switched off before
                    clock.discard(box)
                if armed and not lost:
                    clock.add(box)
                at = start_ms + n * 50 * MINUTE_MS if box in clock else None
                mark += 1
                on_box[box].append((played, plan, station, at, boot[box], mark))
        left_behind = {box for box in on_box if draw(st.integers(0, 5)) == 0}
        evening_ms = start_ms + 150 * MINUTE_MS
        late = {box for box in left_behind if draw(st.integers(0, 2)) == 0}
        for some, at_ms in ((set(on_box) - left_behind, 0), (late, draw(st.integers(10, 900)))):
            logs = [
                (box, log) for box in draw(st.permutations(sorted(some))) for log in on_box[box]
            ]
            on_box.update({box: [] for box in some})
            found.append((evening_ms + at_ms * MINUTE_MS, logs))
        left_behind -= late
    return found


def take(store, box, log, at_ms):
    number, plan, station, start_ms, boot, mark = log
    data = timeline(station, plan)
    store.put_timeline(data)
    store.put_plan(plan, "Evening")
    presses = [classes.Press(15_000 + 37 * mark)]
    run = classes.play(data, presses, start_ms, boot=boot)
    return store.ingest(run.journal, classes.BOX_IDS[box], at_ms * 1000).run_id, number


def now(store):
    with store.reading() as conn:
        return dict(conn.execute(select(tables.runs.c.id, tables.runs.c.class_id)).all())


def named(said):
    """Return the classes that each sentence names."""
    for words in said:
        of = re.findall(r"[Cc]lass(?:es)? (\d+)|(?:and|or|,) (\d+)\b", words)
        yield {int(one or other) for one, other in of} | set(
            map(int, re.findall(r"--join (\d+)", words))
        )


@settings(max_examples=20, deadline=None, derandomize=True)
@given(weeks())
def test_no_log_is_in_a_wrong_class_without_a_word_of_the_right_one(found):
    with open_store("sqlite://") as store:
        check(store, found)


def check(store, found):
    truth = {}
    for at_ms, logs in found:
        for n, (box, log) in enumerate(logs):
            run, number = take(store, box, log, at_ms + n * 7_000)
            truth[run] = number
        of = now(store)
        told = list(named(joining.doubts(store, of)))
        for run, number in truth.items():
            mates = {of[other] for other, one in truth.items() if one == number and other != run}
            others = {one for other, one in truth.items() if of[other] == of[run]} - {number}
            assert all(one // 10 == number // 10 for one in others), "weeks are not mixed"
            if others:
                assert any(of[run] in some for some in told), "a mix is told"
            elif mates and of[run] not in mates:
                assert any(of[run] in some and some & mates for some in told), (run, of, told)
        with store.reading() as conn:
            for run in of:
                _, _, parts = parted_around(conn, run)
                groups = [{of[log.run] for log in group} for group in parts.classes]
                assert all(len(some) == 1 for some in groups), "it depends on the logs alone"
