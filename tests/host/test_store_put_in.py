"""Where the log of a box goes that a host put into a class that was on."""

import itertools

import pytest

from handbell.store.classes.parted import parted, touch
from handbell.store.classes.put_in import STOOD_MS, WENT_ON_MS, _apart_ms
from handbell.store.classes.together import Log
from handbell.store.logs.courses import At, Course

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


def test_who_met_nobody_is_filed_as_any_other_and_what_a_coach_says_goes_first():
    assert classes_of(A, log("l", 3)) == [["a", "l"]]
    late = log("l", 3, meets=(("a", 0),), filed="apart")
    assert ["l"] in classes_of(log("a", 1, filed="word"), late)


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
