"""Where the log of a box goes that a host put into a class that was on."""

import io
import itertools

import pytest
from classes import BOX_IDS, START_UTC_MS, Piece, Press, play, play_put_in, timeline
from sqlalchemy import select

from handbell.store import open_store
from handbell.store.classes import filing, joining
from handbell.store.classes.parted import parted, touch
from handbell.store.classes.put_in import STOOD_MS, WENT_ON_MS, _apart_ms
from handbell.store.classes.together import Log
from handbell.store.database.tables import runs
from handbell.store.logs.courses import At, Course
from handbell_core import timeline as t

S_US = 1_000_000
HOUR_MS = 3_600_000


def log(name, station, start_s=0, box="", **facts):
    return Log(
        run=ord(name),
        digest=name,
        box_id=box or f"box{station}",
        station=station,
        start_utc_us=1_000 * S_US + start_s * S_US,
        slot_us=600 * S_US,
        collected_utc_us=9_000 * S_US,
        put_in=name in "lm",
        **facts,
    )


def classes_of(*logs):
    found = None
    for some in itertools.permutations(logs):
        now = sorted(sorted(one.digest for one in group) for group in parted(some).classes)
        assert found in (None, now), "the order of logs changes nothing"
        found = now
    return found


A, B = log("a", 1), log("b", 2)


def test_it_goes_to_those_that_it_met_whatever_its_own_start_says():
    late = log("l", 3, start_s=7_200, meets=(("a", 0), ("b", 1)))
    assert classes_of(A, B, late) == [["a", "b", "l"]]
    assert touch(A, late) and touch(late, B)


def test_of_two_halls_it_is_the_one_with_which_it_went_on():
    other = [log(name, 1, start_s=60, box="x", pressed_ms=(5_000, 9_000)) for name in "x"]
    mine = log("a", 1, pressed_ms=(5_500, 9_300))
    late = log("l", 3, meets=(("x", 200), ("a", 180_000)))
    found = classes_of(mine, *other, late)
    assert ["l", "x"] in found or found == [["a", "l", "x"]]


def test_what_its_box_played_elsewhere_before_is_no_part_of_that_class():
    before = log("o", 3, start_s=-86, cut=True)
    late = log("l", 3, boot=2, meets=(("a", 0), ("b", 0)))
    assert classes_of(A, B, before, late) == [["a", "b", "l"], ["o"]]
    was_in = log("l", 3, boot=2, meets=(("a", 0), ("b", 0), ("o", 0)))
    assert classes_of(A, B, before, was_in) == [["a", "b", "l", "o"]]


def test_who_met_nobody_is_a_class_by_itself_and_that_is_said():
    assert classes_of(A, log("l", 3)) == [["a"], ["l"]]
    found = parted([A, log("l", 3)])
    assert [found.classes[place][0].digest for place in found.strays] == ["l"]
    assert not parted([A, log("l", 3, filed="word")]).strays


def test_what_a_coach_says_goes_before_what_was_met():
    late = log("l", 3, meets=(("a", 0),), filed="apart")
    assert ["l"] in classes_of(log("a", 1, filed="word"), late)


def test_its_boxs_own_earlier_log_says_less_than_the_boxes_that_it_met():
    false_start = [log("a", 1, cut=True), log("o", 3, cut=True)]
    again = [log("b", 1, start_s=1_260, boot=1), log("d", 2, start_s=1_260, boot=1)]
    late = log("l", 3, start_s=1_260, boot=2, meets=(("b", 0), ("d", 9), ("o", 0)))
    assert classes_of(*false_start, *again, late) == [["a", "o"], ["b", "d", "l"]]


def test_boxes_that_were_put_in_meet_each_other():
    first = log("l", 3, boot=2, meets=(("a", 0),))
    second = log("m", 1, boot=2, start_s=400, meets=(("l", 20), ("a", 0)))
    assert classes_of(A, first, second) == [["a", "l", "m"]]
    only = log("m", 4, start_s=900, meets=(("l", 20),))
    assert classes_of(A, first, only) == [["a", "l", "m"]]


def test_a_box_that_was_put_in_after_a_long_wait_keeps_nobody_out():
    """A coach said what is of the class; a box collected later goes by when the others began."""
    late = log("l", 3, start_s=2_000, filed="word")
    mine = [log("a", 1, filed="word"), log("b", 2, filed="word")]
    assert classes_of(*mine, late, log("d", 4)) == [["a", "b", "d", "l"]]


def test_a_second_box_of_a_station_is_said_when_it_was_put_in_too():
    late = log("l", 2, box="spare", meets=(("a", 0), ("b", 0)))
    found = parted([A, B, late])
    assert found.shared == [(0, 2)]


def way(*track, end_ms=None):
    ats = [At(utc_ms, class_ms, runs, 0) for utc_ms, class_ms, runs in track]
    return Course(track=ats, end_utc_ms=end_ms)


RAN = way((0, 0, True), end_ms=600_000)
STOOD = way((0, 0, True), (100_000, 100_000, False))
WENT_ON = way((0, 0, True), (100_000, 100_000, False), (500_000, 100_000, True), end_ms=900_000)


@pytest.mark.parametrize(
    ("there", "late", "apart_ms"),
    [
        (RAN, way((300_000, 300_400, True)), 400),
        (RAN, way((300_000, 303_000, True)), None),  # elsewhere
        (RAN, way((700_000, 700_000, True)), None),  # it was over by then
        (WENT_ON, way((400_000, 100_000, False), (530_000, 100_000, True)), 30_000),
        (WENT_ON, way((400_000, 100_000, False)), WENT_ON_MS + 300_000),  # nobody knows since
        (STOOD, way((400_000, 100_000, False), (530_000, 100_000, True)), WENT_ON_MS + 300_000),
        # A class of another day that ended at that gate.
        (STOOD, way((6 * HOUR_MS, 100_000, False), (6 * HOUR_MS + 9, 100_000, True)), None),
        (STOOD, way((100_001 + STOOD_MS, 100_000, False)), None),
        (WENT_ON, way((400_000, 100_000, False), (2_000_000, 100_000, True)), None),
    ],
)
def test_who_stood_is_held_against_it_by_when_both_went_on(there, late, apart_ms):
    assert _apart_ms(there, late, late.track[0]) == apart_ms


MINUTE_MS = 60_000
PRESSES = [Press(20_000), Press(31_000)]
DATA = {
    n: timeline(((Piece("Squat", 60), Piece("Row", 60)),), (n,), n, rounds=4) for n in (1, 2, 3)
}


@pytest.fixture
def store():
    with open_store("sqlite://") as opened:
        opened.put_plan(b"a plan", "Evening")
        for data in DATA.values():
            opened.put_timeline(data)
        yield opened


def collect(store, station, run, after_ms=60 * MINUTE_MS):
    at_us = (START_UTC_MS + after_ms) * 1000
    return store.ingest(run.journal, BOX_IDS[station - 1], at_us)


def stations_by_class(store):
    with store.reading() as conn:
        found = {}
        for row in conn.execute(select(runs.c.class_id, runs.c.station).order_by(runs.c.id)):
            found.setdefault(row.class_id, []).append(row.station)
    return sorted(found.values())


@pytest.mark.parametrize("off_ms", [-3, 0, 3])
def test_what_a_box_played_without_a_clock_before_it_was_put_in_is_of_that_class(store, off_ms):
    for station in (1, 2):
        collect(store, station, play(DATA[station], PRESSES))
    collect(store, 3, play(DATA[3], PRESSES, None, stop_ms=40_000, boot=1))
    start_ms = START_UTC_MS + off_ms
    collect(store, 3, play_put_in(DATA[3], PRESSES, 90_000, start_ms, boot=2))
    assert stations_by_class(store) == [[1, 2, 3, 3]]


def test_a_class_that_a_coach_dated_keeps_its_date_when_a_put_in_box_comes(store):
    for station in (1, 2):
        collect(store, station, play(DATA[station], PRESSES))
    dated_us = (START_UTC_MS - 9 * HOUR_MS) * 1000
    (class_id,) = {row.class_id for row in rows_of(store)}
    filing.set_date(store, class_id, dated_us)
    collect(store, 3, play_put_in(DATA[3], PRESSES, 90_000))
    assert {row.start_utc_us for row in rows_of(store) if row.station != 3} == {dated_us}
    assert stations_by_class(store) == [[1, 2], [3]]
    late = next(row.class_id for row in rows_of(store) if row.station == 3)
    (said,) = joining.doubts_of(store, late)
    assert "no log here tells which" in said and "--join" in said


def rows_of(store):
    with store.reading() as conn:
        return conn.execute(select(runs.c.class_id, runs.c.station, runs.c.start_utc_us)).all()


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_who_it_was_taken_to_be_with_is_filed_anew_when_it_turns_out_otherwise(store, order):
    """A box cut off at a gate is put in at the same gate of the next class."""
    squat = (Piece("Squat", 60),)
    data = {n: timeline((squat, squat), (n,), n, rounds=1, gate=True) for n in (2, 3)}
    for one in data.values():
        store.put_timeline(one)
    gate_ms = next(ms for ms, kind in spans_of(data[2]) if kind == t.GATE)
    next_ms = START_UTC_MS + 30 * MINUTE_MS
    at_ms = gate_ms + 40_000
    logs = [
        (3, play(data[3], PRESSES, boot=1).journal),  # its power fails as it stands there
        (3, play_put_in(data[3], (), at_ms, next_ms, 2, gate_ms).journal),
        (2, play(data[2], [Press(at_ms + 60_000, 0, 1_700)], next_ms).journal),
    ]
    for n in order:
        station, journal = logs[n]
        store.ingest(journal, BOX_IDS[station - 1], (next_ms + 60 * MINUTE_MS + n * 9_000) * 1000)
    assert stations_by_class(store) in ([[2, 3], [3]], [[3, 2], [3]], [[3], [2, 3]], [[3], [3, 2]])


def spans_of(data):
    reader = t.Reader(io.BytesIO(data))
    spans = [reader.span(n, t.Span()) for n in range(reader.head.spans)]
    return [(span.start_ms, span.kind) for span in spans]


def test_a_log_of_a_box_that_was_put_in_says_since_when(store):
    for station in (1, 2):
        collect(store, station, play(DATA[station], PRESSES))
    collect(store, 3, play_put_in(DATA[3], PRESSES, 90_000))
    with store.reading() as conn:
        reasons = dict(conn.execute(select(runs.c.station, runs.c.reason)).all())
    assert reasons[3] == "the box was put into the class at 1:30"
