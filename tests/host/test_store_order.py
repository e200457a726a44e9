"""Where a class without any clock stands among the others: by the order of its boxes' logs."""

import classes
import pytest
from sqlalchemy import select

from handbell.analysis.past.history import past_classes
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.classes import joining
from handbell.store.classes.newest import newest
from handbell.store.database import tables
from handbell.store.results.group import group_rows
from handbell.store.results.queries import list_classes, load_row

MINUTE_MS = 60_000
DAY_MS = 24 * 60 * MINUTE_MS
START_MS = classes.START_UTC_MS
LATER_MS = START_MS + 60 * MINUTE_MS
EVENING_MS = START_MS + 130 * MINUTE_MS
BLOCKS = ((classes.Piece("Ring rows", 40), classes.Piece("Sit-ups", 40)),)


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as opened:
        yield opened


def take(store, box, start_ms, boot, plan=b"a", collected_ms=EVENING_MS):
    """Take in a box's log of a whole class; of each start of the box other presses."""
    data = classes.timeline(BLOCKS, (box,), box, rounds=1, plan=plan, rate=False)
    store.put_timeline(data)
    store.put_plan(plan, "Evening")
    at_ms = [15_000 + boot * 900 + (start_ms or 0) % 977 + n * 7_000 for n in range(4)]
    run = classes.play(data, [classes.Press(ms) for ms in at_ms], start_ms, boot=boot)
    return store.ingest(run.journal, classes.BOX_IDS[box], collected_ms * 1000).class_id


def in_order(store):
    """Return the classes, the oldest first, as every list has them."""
    listed = [row.id for row in list_classes(store)][::-1]
    assert [one.row.id for one in group_rows(store)] == listed
    assert [one.row.id for one in past_classes(store, listed[-1])] == listed
    assert [load_row(store, n).at_utc_us for n in listed] == [
        row.at_utc_us for row in list_classes(store)[::-1]
    ]
    return listed


@pytest.mark.parametrize("boot", [1, 2])
@pytest.mark.parametrize("plan", [b"a", b"b"])
def test_a_class_by_hand_stands_before_the_one_that_its_boxes_played_later(
    store, tmp_path, capsys, boot, plan
):
    """The first without a clock, the second armed, without a start of the boxes between or with."""
    first = [take(store, box, None, 1) for box in (1, 2)]
    second = [take(store, box, LATER_MS, boot, plan) for box in (1, 2)]
    assert (first, second) == ([1, 1], [2, 2])
    assert in_order(store) == [1, 2] and newest(store) == (2, ())
    place = ["--store", str(tmp_path / "store.sqlite")]
    assert main(["advise", *place]) == 0
    assert capsys.readouterr().out.startswith("Class 2: Evening, ")
    assert main(["bibs", "newest", "1=Eve", *place]) == 0
    assert capsys.readouterr().out.startswith("Class 2: Evening, ")


def test_classes_without_a_clock_stand_in_their_boxes_order_before_a_later_one(store):
    """The second began with a box that was collected first, and has one more than the others."""
    for n, plan in ((2, b"b"), (1, b"a")):
        for box in (2, 3)[: 3 - n]:
            take(store, box, None, n, plan, EVENING_MS + 1000 * (n == 1))
    take(store, 3, None, 2, b"b", EVENING_MS + 3000)
    take(store, 3, LATER_MS, 3, b"c", EVENING_MS + 4000)
    of = {row.plan: row.id for row in list_classes(store)}
    by_hand = {classes.plan_digest(plan).hex(): plan for plan in (b"a", b"b", b"c")}
    number = {by_hand[plan]: class_id for plan, class_id in of.items()}
    assert in_order(store) == [number[b"a"], number[b"b"], number[b"c"]]


def test_a_class_by_hand_after_one_with_a_clock_stays_where_it_was_collected(store):
    for box in (1, 2):
        take(store, box, START_MS, 1)
        take(store, box, None, 2, b"b")
    assert in_order(store) == [1, 2]
    assert load_row(store, 2).at_utc_us == EVENING_MS * 1000
    take(store, 1, START_MS + 7 * DAY_MS, 3, b"c", EVENING_MS + 7 * DAY_MS)
    assert in_order(store) == [1, 2, 3]


def test_boxes_of_which_one_played_before_and_one_after_a_class_were_in_two(store):
    for box, boots in ((1, (1, 2)), (2, (2, 1))):
        take(store, box, None, boots[0])
        take(store, box, LATER_MS, boots[1], b"b")
    assert in_order(store) == [1, 2, 3]


def test_a_time_holds_the_classes_that_stand_in_it(store):
    take(store, 1, None, 1)
    take(store, 1, LATER_MS, 2, b"b")
    later_us = LATER_MS * 1000
    assert [one.row.id for one in group_rows(store, later_us)] == [2]
    assert [one.row.id for one in group_rows(store, None, later_us - 1)] == [1]


def doubts(store):
    with store.reading() as conn:
        return joining.doubts(store, conn.scalars(select(tables.runs.c.id)).all())


def a_week_then_two_of_three(store):
    """Three boxes in one week; in the next the third, without a clock, is collected a day late."""
    week_ms = 7 * DAY_MS
    for box in (1, 2, 3):
        take(store, box, START_MS, 1)
    for box in (1, 2):
        take(store, box, START_MS + week_ms, 2, collected_ms=EVENING_MS + week_ms)
    return EVENING_MS + week_ms + DAY_MS


def test_a_box_without_a_clock_that_is_collected_a_day_late_is_doubted(store, tmp_path, capsys):
    late_ms = a_week_then_two_of_three(store)
    assert take(store, 3, None, 2, collected_ms=late_ms) == 3
    assert doubts(store) == [
        "A log of box 0004 (station 3) tells no time: it may be of class 2, or of one that is not "
        "in the store. It is class 3 until you say which it is: handbell class 3 --join 2"
    ]
    number, (over,) = newest(store)
    assert (number, over.class_id, over.of) == (2, 3, (2,))
    place = ["--store", str(tmp_path / "store.sqlite")]
    assert main(["report", *place]) == 0
    assert capsys.readouterr().out.startswith("Class 3 is newer, but it is one log without a clock")
    assert main(["class", "3", "--join", "2", *place]) == 0
    assert doubts(store) == [] and newest(store) == (2, ())


@pytest.mark.parametrize("why", ["collected since", "later", "other plan"])
def test_a_log_that_is_collected_late_is_not_doubted_where_nothing_tells_its_class(store, why):
    late_ms = a_week_then_two_of_three(store)
    again_ms = START_MS + 7 * DAY_MS + 60 * MINUTE_MS
    if why == "collected since":
        take(store, 3, None, 3, b"b", late_ms - 300 * MINUTE_MS)
    elif why == "later":  # the box played another class between, which began after that was over
        take(store, 3, again_ms, 3, b"b", late_ms)
    plan = b"c" if why == "other plan" else b"a"
    number = take(store, 3, None, 4, plan, late_ms)
    assert newest(store) == (number, ()) and doubts(store) == []


@pytest.mark.parametrize("days", [2, 7, 8, 14])
def test_a_log_left_on_its_box_draws_no_later_class_into_its_own(store, days):
    """Box 1 was forgotten; its log came in first among those of a class by hand weeks later."""
    for box in (2, 3, 4):
        take(store, box, START_MS, 1)
    now_ms = EVENING_MS + days * DAY_MS
    assert take(store, 1, START_MS, 1, collected_ms=now_ms) == 1
    for box in (2, 3, 4):
        take(store, box, None, 2, collected_ms=now_ms + 20_000 * box)
    found = {}
    with store.reading() as conn:
        for row in conn.execute(select(tables.runs.c.class_id, tables.runs.c.station)):
            found.setdefault(row.class_id, []).append(row.station)
    stations = sorted(map(sorted, found.values()))
    assert stations == [[1, 2, 3, 4], [2, 3, 4]], "nobody is twice in a class"
