"""A log without a clock: put into a class only beyond doubt, else alone with all it may be of."""

import re

import classes
import pytest
from sqlalchemy import insert, select

from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.classes import joining
from handbell.store.classes.newest import newest
from handbell.store.database import tables

MINUTE_MS = 60_000
DAY_MS = 24 * 60 * MINUTE_MS
WEEK_MS = 7 * DAY_MS
START_MS = classes.START_UTC_MS
EVENING_MS = START_MS + 40 * MINUTE_MS
BLOCKS = ((classes.Piece("Ring rows", 300), classes.Piece("Sit-ups", 300)),)  # half an hour


@pytest.fixture
def place(tmp_path):
    return str(tmp_path / "store.sqlite")


@pytest.fixture
def store(place):
    with open_store(place) as opened:
        yield opened


def take(store, box, start_ms, collected_ms=EVENING_MS, boot=1, plan=b"a", station=None):
    """Take in a box's log; return its run. Of each start of the box other presses."""
    station = station or box
    data = classes.timeline(BLOCKS, (station,), station, rounds=3, plan=plan, rate=False)
    store.put_timeline(data)
    store.put_plan(plan, "Evening")
    at_ms = [15_000 + boot * 900 + n * 7_000 for n in range(4)]
    run = classes.play(data, [classes.Press(ms) for ms in at_ms], start_ms, boot=boot)
    collected_ms += box * 20_000  # one box after the other
    return store.ingest(run.journal, classes.BOX_IDS[box - 1], collected_ms * 1000).run_id


def all_of(store, boxes, *how, **more):
    return [take(store, box, *how, **more) for box in boxes]


def now(store):
    with store.reading() as conn:
        return dict(conn.execute(select(tables.runs.c.id, tables.runs.c.class_id)).all())


def doubts(store, runs=None):
    return joining.doubts(store, now(store) if runs is None else runs)


def alone(store, run):
    return list(now(store).values()).count(now(store)[run]) == 1


def said_of(store, run):
    """Return the sentence on a log that is alone."""
    number = now(store)[run]
    (said,) = [words for words in doubts(store, [run]) if f"It is class {number} until" in words]
    return said


@pytest.mark.parametrize("last_ms", [START_MS, None])
@pytest.mark.parametrize("days", [1, 7, 21])
def test_a_box_left_in_its_bag_does_not_give_last_week_s_log_to_today_s_class(store, last_ms, days):
    last = all_of(store, (1, 2, 4), last_ms)
    today_ms = days * DAY_MS
    today = all_of(store, (1, 2, 4), START_MS + today_ms, EVENING_MS + today_ms, boot=2)
    lost = take(store, 3, None, EVENING_MS + today_ms)
    assert alone(store, lost)
    of = now(store)
    names = {f"class {of[last[0]]}", f"class {of[today[0]]}"}
    assert names <= set(re.findall(r"class \d+", said_of(store, lost)))
    number, (over,) = newest(store)
    assert number == of[today[0]] and set(over.of) == {of[last[0]], of[today[0]]}


def test_what_its_own_order_tells_leaves_only_last_week_s_class(store, place):
    """It played another plan after it last week, with a clock."""
    last = all_of(store, (1, 2), None)
    all_of(store, (1, 2), START_MS + 50 * MINUTE_MS, EVENING_MS + 50 * MINUTE_MS, 2, b"b")
    week_ms = EVENING_MS + WEEK_MS
    all_of(store, (1, 2), START_MS + WEEK_MS, week_ms, boot=3)
    lost = take(store, 3, None, week_ms)
    take(store, 3, START_MS + 50 * MINUTE_MS, week_ms, plan=b"b")
    of = now(store)
    assert alone(store, lost)
    assert said_of(store, lost).endswith(f"handbell class {of[lost]} --join {of[last[0]]}")
    today = max(of.values())
    assert main(["class", str(of[lost]), "--join", str(today), "--store", place]) == 2
    assert main(["class", str(of[lost]), "--join", str(of[last[0]]), "--store", place]) == 0


@pytest.mark.parametrize("later_min", [0, 10, 45, 300])
def test_a_log_of_a_class_by_hand_does_not_go_into_the_armed_one_of_that_evening(
    store, place, later_min
):
    """Box 2 gave no answer for the second class, and is collected last."""
    evening_ms = START_MS + 90 * MINUTE_MS
    hand = all_of(store, (1, 3, 4), None, evening_ms)
    armed = all_of(store, (1, 3, 4), START_MS + 50 * MINUTE_MS, evening_ms, boot=2)
    lost = take(store, 2, None, evening_ms + later_min * MINUTE_MS)
    of = now(store)
    assert alone(store, lost)
    said = said_of(store, lost)
    assert f"class {of[hand[0]]}" in said and f"class {of[armed[0]]}" in said
    assert main(["class", str(of[lost]), "--join", str(of[hand[0]]), "--store", place]) == 0


def test_only_what_may_be_joined_is_named(store, place, capsys):
    """The first class is armed, the box plays another plan, then a class by hand."""
    evening_ms = START_MS + 150 * MINUTE_MS
    first = all_of(store, (1, 2), START_MS, evening_ms)
    all_of(store, (1, 2), START_MS + 50 * MINUTE_MS, evening_ms, plan=b"b")
    hand = all_of(store, (1, 2), None, evening_ms, boot=2)
    later_ms = evening_ms + 40 * MINUTE_MS
    take(store, 3, START_MS + 50 * MINUTE_MS, later_ms, plan=b"b")
    lost = take(store, 3, None, later_ms, boot=2)
    of = now(store)
    assert said_of(store, lost).endswith(f"handbell class {of[lost]} --join {of[hand[0]]}")
    capsys.readouterr()
    assert main(["class", str(of[lost]), "--join", str(of[first[0]]), "--store", place]) == 2
    assert "can't be of class" in capsys.readouterr().err
    assert main(["class", str(of[lost]), "--join", str(of[hand[0]]), "--store", place]) == 0


def test_two_logs_of_a_box_of_which_one_may_be_of_a_class_are_told_together(store):
    first = all_of(store, (1, 2), START_MS)
    late = [take(store, 3, None, EVENING_MS + 2 * DAY_MS, boot) for boot in (1, 2)]
    of = now(store)
    assert of[late[0]] != of[late[1]]
    (said,) = doubts(store)
    assert said.startswith(
        "Box 0003 (station 3) has 2 logs that tell no time, in their order class"
    )
    assert f"handbell class {of[late[0]]} --join CLASS" in said
    number, passed = newest(store)
    assert number == of[first[0]] and [over.to(passed) for over in passed] == ["CLASS"] * 2


@pytest.mark.parametrize("last_ms", [START_MS, None])
def test_one_box_with_more_logs_leaves_the_others_one_class(store, last_ms):
    last = all_of(store, (1, 2, 3, 4), last_ms)
    week_ms = EVENING_MS + WEEK_MS
    forgotten = take(store, 5, None, week_ms)
    today = all_of(store, (5, 1, 2, 3, 4), None, week_ms, boot=2)
    of = now(store)
    assert len({of[run] for run in today[1:]}) == 1
    assert alone(store, forgotten) and alone(store, today[0])
    (said,) = [words for words in doubts(store) if words.startswith("Box 0005")]
    assert {f"class {of[last[0]]}", f"class {of[today[1]]}"} <= set(re.findall(r"class \d+", said))
    assert newest(store)[0] == of[today[1]]


def test_two_boxes_that_are_collected_a_day_late_are_said_and_hide_no_class(store, place, capsys):
    first = all_of(store, (1, 2, 3), START_MS)
    late = all_of(store, (4, 5), None, EVENING_MS + DAY_MS)
    of = now(store)
    assert of[late[0]] == of[late[1]] != of[first[0]]
    assert any(f"handbell class {of[late[0]]} --join {of[first[0]]}" in s for s in doubts(store))
    number, (over,) = newest(store)
    assert (number, over.of, over.log) == (of[first[0]], (number,), "")
    assert main(["report", "--store", place]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Class 2 is newer, but it is some boxes without a clock that may be of")
    assert main(["bibs", "newest", "1=Eve", "--store", place]) == 2
    assert "--apart" not in capsys.readouterr().err
    assert main(["class", str(of[late[0]]), "--join", str(number), "--store", place]) == 0
    assert set(now(store).values()) == {number} and newest(store) == (number, ())


def test_halves_of_a_class_by_hand_that_are_collected_an_hour_apart_may_be_one(store, place):
    all_of(store, (1, 2), None)
    all_of(store, (3, 4), None, EVENING_MS + 60 * MINUTE_MS)
    assert len(set(now(store).values())) == 2
    (said,) = [words for words in doubts(store) if "may be one" in words]
    assert said.endswith("handbell class 2 --join 1")
    assert main(["class", "2", "--join", "1", "--store", place]) == 0
    assert len(set(now(store).values())) == 1
    assert not [words for words in doubts(store) if "may be one" in words]


def test_of_lone_logs_that_may_be_each_other_s_class_the_newest_is_shown(store):
    take(store, 1, START_MS - WEEK_MS, EVENING_MS - WEEK_MS)
    take(store, 2, START_MS - WEEK_MS, EVENING_MS - WEEK_MS)
    take(store, 1, None, boot=2)
    take(store, 2, None, EVENING_MS + 50 * MINUTE_MS, boot=2)
    assert len(set(now(store).values())) == 3
    assert newest(store)[0] == 3


def test_several_boxes_without_a_clock_may_have_been_a_class_by_hand(store):
    """Or they were in the armed one, which lacks them all."""
    armed = all_of(store, (1, 2, 3), START_MS)
    hand = all_of(store, (4, 5), None)
    of = now(store)
    assert of[hand[0]] == of[hand[1]] != of[armed[0]]
    assert any(f"handbell class {of[hand[0]]} --join {of[armed[0]]}" in s for s in doubts(store))


def order_notes(store):
    return all(words.startswith("No box tells the time of class") for words in doubts(store))


@pytest.mark.parametrize("how", ["one by hand", "three by hand", "each its own evening"])
def test_what_all_boxes_played_by_hand_stays_together(store, how):
    weeks = 3 if how == "each its own evening" else 1
    count = 3 if how == "three by hand" else 1
    for n in range(weeks * count):
        at_ms = EVENING_MS + (n * WEEK_MS if weeks > 1 else 0)
        all_of(store, (1, 2, 3, 4), None, at_ms, boot=1 + n)
    found = list(now(store).values())
    assert sorted(map(found.count, set(found))) == [4] * (weeks * count)
    assert order_notes(store) and newest(store) == (max(found), ())


def test_one_box_without_a_clock_goes_into_its_armed_class_without_a_word(store):
    for n in range(3):
        for box in (1, 2, 3, 4):
            start_ms = None if box == 2 and n else START_MS + n * WEEK_MS
            take(store, box, start_ms, EVENING_MS + n * WEEK_MS, boot=1 + n)
    assert sorted(now(store).values()) == [1] * 4 + [2] * 4 + [3] * 4 and doubts(store) == []


def test_a_clock_lost_between_a_class_by_hand_and_an_armed_one_changes_nothing(store):
    evening_ms = START_MS + 90 * MINUTE_MS
    for boot, start_ms in ((1, None), (2, START_MS + 50 * MINUTE_MS)):
        for box in (1, 2, 3):
            take(store, box, None if box == 2 else start_ms, evening_ms, boot=boot)
    found = list(now(store).values())
    assert found[:3] == found[:1] * 3 and found[3:] == found[3:4] * 3 and order_notes(store)


def test_a_log_of_another_plan_that_comes_later_changes_where_one_may_be(store):
    """Only the second tells that the box was there to be collected between."""
    last = all_of(store, (1, 2), START_MS)
    today = all_of(store, (1, 2), START_MS + WEEK_MS, EVENING_MS + WEEK_MS, boot=2)
    lost = take(store, 3, None, EVENING_MS + WEEK_MS, boot=2)
    assert alone(store, lost)
    take(store, 3, START_MS - DAY_MS, EVENING_MS + MINUTE_MS, plan=b"b")
    of = now(store)
    assert of[lost] == of[today[0]] != of[last[0]] and doubts(store) == []


def test_doubts_are_told_by_class_and_report_too(store, place, capsys):
    all_of(store, (1, 2), START_MS)
    take(store, 3, None, EVENING_MS + 2 * DAY_MS)
    for words in (["class", "1"], ["class", "2"], ["report", "1"], ["report", "2"]):
        capsys.readouterr()
        assert main([*words, "--store", place]) == 0
        assert "it may be of class 1, or of one that is not in the store" in capsys.readouterr().out


def collected(store, box, boot, at_ms):
    """A box was collected in such a start of it: its clock is measured before its logs come."""
    row = {"box_id": classes.BOX_IDS[box - 1], "boot": boot, "box_us": 1, "utc_us": at_ms * 1000}
    with store.writing() as conn:
        row |= {"bound_us": 500, "ahead_us": 0, "what": "collect"}
        conn.execute(insert(tables.contacts).values(**row))


def an_evening_of_which_a_log_stays_behind(store):
    """Two classes; of box 3, started again between, only the first log comes: the link was lost."""
    later_ms, at_ms = START_MS + 60 * MINUTE_MS, START_MS + 120 * MINUTE_MS
    for n, start_ms in enumerate((START_MS, later_ms), 1):
        all_of(store, (1, 2), start_ms, at_ms, boot=n)
    collected(store, 3, 3, at_ms + 59_000)  # and switched on again to be collected
    take(store, 3, START_MS, at_ms, boot=1)
    return at_ms


def test_a_collecting_that_broke_off_between_two_logs_shuts_no_class_out(store, place):
    at_ms = an_evening_of_which_a_log_stays_behind(store)
    rest = take(store, 3, None, at_ms + 90 * MINUTE_MS, boot=2)
    if alone(store, rest):
        assert "may be of class 2" in doubts(store, [rest])[0]
        assert main(["class", str(now(store)[rest]), "--join", "2", "--store", place]) == 0
    assert now(store)[rest] == 2


def test_nor_does_it_give_its_log_to_a_later_class_without_a_word(store, place):
    """A week later the box, started again, gives the rest; the class of that day lacks it."""
    an_evening_of_which_a_log_stays_behind(store)
    all_of(store, (1, 2), START_MS + WEEK_MS, EVENING_MS + WEEK_MS, boot=3)
    rest = take(store, 3, None, EVENING_MS + WEEK_MS, boot=2)
    if alone(store, rest):
        assert "class 2" in doubts(store, [rest])[0]
        assert main(["class", str(now(store)[rest]), "--join", "2", "--store", place]) == 0
    assert now(store)[rest] == 2


@pytest.mark.parametrize("boot", [1, 2])
def test_what_a_box_played_after_its_collecting_is_of_no_class_before(store, boot):
    """Box 3 was off in class 2, and all was collected; then, perhaps left on, it is played alone."""
    at_ms = START_MS + 120 * MINUTE_MS
    all_of(store, (1, 2, 3), START_MS, at_ms, boot=1)
    all_of(store, (1, 2), START_MS + 60 * MINUTE_MS, at_ms, boot=2)
    collected(store, 3, 1, at_ms + 59_000)
    lone = take(store, 3, None, at_ms + 100 * MINUTE_MS, boot=boot)
    assert alone(store, lone) and doubts(store, [lone]) == []


@pytest.mark.parametrize("boot", [0, 1])
def test_a_box_whose_starts_begin_anew_stays_in_its_class(store, boot):
    """Its flash was erased between two weeks: start 1 is no earlier one than start 32."""
    for week in range(2):
        all_of(
            store, (1, 2, 3), START_MS + week * WEEK_MS, EVENING_MS + week * WEEK_MS, boot=31 + week
        )
        collected(store, 3, 31 + week, EVENING_MS + week * WEEK_MS + 59_000)
    all_of(store, (1, 2), START_MS + 2 * WEEK_MS, EVENING_MS + 2 * WEEK_MS, boot=33)
    collected(store, 3, boot, EVENING_MS + 2 * WEEK_MS + 59_000)
    last = take(store, 3, None, EVENING_MS + 2 * WEEK_MS, boot=boot)
    assert now(store)[last] == 3 and doubts(store, [last]) == []


def test_each_collecting_tells_the_doubts_of_its_own_classes(store):
    """By hand each week, collected in two goes, and nobody ever says whether it was one."""
    told = []
    for week in range(4):
        evening_ms = EVENING_MS + week * WEEK_MS
        all_of(store, (1, 2), None, evening_ms, boot=week + 1)
        told.append(
            doubts(store, all_of(store, (3, 4), None, evening_ms + DAY_MS // 2, boot=week + 1))
        )
    assert len(told[1]) == len(told[2]) == len(told[3])
    mine = f"class {max(now(store).values())}"
    assert all(mine in said for said in told[3])
