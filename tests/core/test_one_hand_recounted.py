"""What the host counts again of a log that a remote led: what its box counted, by the same rule.

Classes, acts, telegrams and presses are those of ``test_one_hand``. Which records hold is looked at
by the manual's words, act by act, beside the host's one look.
"""

import random
import struct

import pytest
from test_one_hand import Coach, drawn, play

from handbell.store.logs import timelines
from handbell.store.logs.acts import LATE, LEFT_OUT, PAUSED, SHORT, marks_of, void_of
from handbell.store.logs.recount import AGREED, RECOUNT, recount
from handbell_core import journal as j
from handbell_core.agreement import OVER, STANDS
from handbell_core.timeline import TAP_EVERY, TAP_FINISH, TAP_TALLY
from made import (
    ASK_HOLD,
    ASK_OPEN,
    ASK_TARGET,
    GATE,
    RATING,
    TAKES_TALLY,
    TAP_DROP,
    TAP_EACH,
    lead_in,
    reader,
    rest,
    span,
    timeline_bytes,
    window,
)

SEEDS = 300
WAYS = (
    {"ask": ASK_OPEN, "tap": TAP_EACH},
    {"ask": ASK_OPEN, "tap": TAP_EVERY, "every": 3},
    {"ask": ASK_TARGET, "tap": TAP_EACH, "goal": 3},
    {"ask": ASK_TARGET, "tap": TAP_FINISH, "goal": 8},
    {"ask": ASK_HOLD, "tap": TAP_DROP},
    {"ask": ASK_OPEN, "tap": TAP_TALLY},
)


def logs(first, count):
    """Give logs of boxes that heard all of the acts, half, or few."""
    for seed in range(first, first + count):
        rng, spans, coach, until_ms = drawn(seed)
        windows = timelines.decode(timeline_bytes(spans)).windows
        for hears in (1.0, 0.5, 0.25):
            box = play(rng, spans, coach.telegrams(), hears, until_ms, 1.5, long_ms=5_200)
            records = [j.parse_record(record) for record in box.sink.records]
            yield (seed, hears), box, windows, records


@pytest.mark.parametrize("first", range(0, SEEDS, 50))
def test_the_recount_equals_the_box(first):
    agreed = open_ones = 0
    for which, box, windows, records in logs(first, 50):
        found = recount(windows, records)
        assert found.mismatches == [], which
        counting = box.runner.counting
        now = {counting.window: counting.now, counting.before_window: counting.before}
        for one in found.results:
            if one.standing == AGREED:
                agreed += 1
            else:
                assert one.standing == RECOUNT, which
            if one.window in now and not box.sink.ended and not one.used.flags & LEFT_OUT:
                assert now[one.window][one.slot].reps == one.used.reps, (which, one)
                open_ones += 1
    assert agreed > 100 and open_ones > 100


def of_every_way(rng):
    """Return a plan with each way to count, and a class that somebody may stop."""
    spans = [lead_in(5_000)]
    for block in (1, 2, 3):
        for way in rng.sample(WAYS, 2):
            spans.append(window(rng.choice((8_000, 15_000)), block=block, **way))
            tally = {"flags": TAKES_TALLY, "bib": [7, 8, 0, 0]} if way["tap"] == TAP_TALLY else {}
            spans.append(rest(rng.choice((5_000, 9_000)), **tally))
        if block == 2:
            spans.append(span(GATE, 0))
    spans.append(span(RATING, 10_000, bib=[7, 8, 0, 0]))
    coach = Coach(reader(spans), 2_000)
    now_ms = 0
    for _ in range(rng.randint(2, 8)):
        now_ms += rng.choice((300, 1_500, 6_000, 15_000, 30_000))
        coach.does(rng, now_ms)
    stops = rng.random() < 0.5
    if stops:
        now_ms += rng.choice((700, 12_000, 20_000))
        coach._say(now_ms, OVER, coach.class_ms(now_ms + 400), now_ms + 400)
    return spans, coach, stops


@pytest.mark.parametrize("first", range(0, SEEDS, 50))
def test_each_way_to_count_in_logs_that_have_an_end(first):
    ended = agreed = differed = 0
    for seed in range(first, first + 50):
        rng = random.Random(seed)
        spans, coach, stops = of_every_way(rng)
        windows = timelines.decode(timeline_bytes(spans)).windows
        # Who hears late that it is over has counted on meanwhile, and tells that.
        for hears in (1.0,) if stops else (1.0, 0.5, 0.25):
            box = play(rng, spans, coach.telegrams(), hears, 400_000, 1.2, long_ms=2_600)
            ended += bool(box.sink.ended)
            found = recount(windows, [j.parse_record(record) for record in box.sink.records])
            assert found.mismatches == [], (seed, hears)
            agreed += sum(one.standing == AGREED for one in found.results)
            told = {one.used.flags & (PAUSED | SHORT | LEFT_OUT | LATE) for one in found.results}
            differed += len(told) > 1
    assert ended > 20 and agreed > 200 and differed > 20


def holds(record, later_acts, windows):
    """Whether a record holds, by the manual's words."""
    kind, slot, window, class_ms, payload = record
    if kind == j.RESULT:
        return all(act[3] >= windows[window].end_ms for act in later_acts)
    if kind == j.STATE and payload[1] == j.BY_SKIP:
        return all(act[3] > class_ms for act in later_acts)
    if kind not in (j.TAP, j.BACK, j.FORTH, j.CONFIRM):
        return True
    if window in windows and windows[window].at(slot).tap == TAP_TALLY:
        return all(act[3] >= windows[window].end_ms for act in later_acts)
    began_ms = class_ms
    if kind != j.TAP:
        began_ms -= struct.unpack("<H", payload[2:4])[0]
    return all(act[3] > began_ms for act in later_acts)


@pytest.mark.parametrize("first", range(0, SEEDS, 50))
def test_what_holds_is_what_the_manual_says(first):
    void = 0
    for which, _, windows, records in logs(first, 50):
        acts = [(n, record) for n, record in enumerate(records) if record[0] == j.ACT]
        said = {
            n
            for n, record in enumerate(records)
            if not holds(record, [act for m, act in acts if m > n], windows)
        }
        assert void_of(records, windows) == said, which
        void += len(said)
    assert void > 50


@pytest.mark.parametrize("first", range(0, SEEDS, 100))
def test_windows_are_marked_by_what_the_class_did_in_them(first):
    """Who heard all acts in time: a pause in its midst, an end before its time, a jump over it."""
    seen = set()
    for seed in range(first, first + 100):
        rng, spans, coach, until_ms = drawn(seed)
        windows = timelines.decode(timeline_bytes(spans)).windows
        box = play(rng, spans, coach.telegrams(), 1.0, until_ms)
        records = [j.parse_record(record) for record in box.sink.records]
        marks = marks_of(records, windows)
        stretches = []  # of the class, as it was played for good
        stood, jumps = set(), []
        at_ms = None
        for kind, _, _, class_ms, payload in records:
            if kind != j.ACT:
                continue
            _, what, _, was_ms = struct.unpack("<HBBi", payload[:8])
            if at_ms is not None:
                stretches.append((at_ms, was_ms))
            jumps = [(since, to) for since, to in jumps if to <= class_ms] + [(was_ms, class_ms)]
            stretches = [(since, min(to, class_ms)) for since, to in stretches if since < class_ms]
            stood = {ms for ms in stood if ms <= class_ms} | (
                {class_ms} if what == STANDS else set()
            )
            at_ms = class_ms
        for number, its in windows.items():
            mark = marks.get(number, 0)
            begins = {its.end_ms} | {w.start_ms for w in windows.values()}
            missed = any(
                max(since, its.start_ms) < to - 1_000
                if its.start_ms < to < its.end_ms
                else 0 <= since < its.end_ms <= to and to not in begins
                for since, to in jumps
            )
            assert bool(mark & LATE) == missed, (seed, number)
            paused = any(its.start_ms < ms < its.end_ms for ms in stood)
            assert bool(mark & PAUSED) == paused, (seed, number)
            if at_ms is not None and its.end_ms <= at_ms and not missed:
                gone_ms = sum(
                    max(0, min(to, its.end_ms) - max(since, its.start_ms))
                    for since, to in stretches
                )
                length_ms = its.end_ms - its.start_ms
                assert bool(mark & LEFT_OUT) == (gone_ms == 0), (seed, number)
                assert bool(mark & SHORT) == (0 < gone_ms < length_ms), (seed, number)
            seen |= {mark & flag for flag in (PAUSED, SHORT, LEFT_OUT)}
    assert seen == {0, PAUSED, SHORT, LEFT_OUT}
