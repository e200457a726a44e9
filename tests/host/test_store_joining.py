"""Which class a run falls into: by plan and start, and what happens without a clock."""

import classes
from sqlalchemy import select

from handbell.store import tables

pytest_plugins = ["store_fixtures"]

MINUTE_MS = 60_000
START_MS = classes.START_UTC_MS
BLOCKS = ((classes.Piece("Ring rows", 300), classes.Piece("Sit-ups", 300)),)


def take(store, station, start_ms, collected_ms, box=None, blocks=BLOCKS, plan=b"a", **how):
    data = classes.timeline(blocks, (station,), station, rounds=3, plan=plan)
    # One press at its own moment keeps two runs without a clock from having the same bytes.
    presses = [classes.Press(11_000 + 7 * (collected_ms % 997) + how.pop("mark", 0))]
    run = classes.play(data, presses, start_ms, **how)
    store.put_timeline(data)
    box_id = classes.BOX_IDS[(box or station) - 1]
    return store.ingest(run.journal, box_id, collected_ms * 1000)


def test_starts_a_little_apart_are_one_class(store):
    later = START_MS + 60 * MINUTE_MS
    one = take(store, 1, START_MS, later)
    two = take(store, 2, START_MS + 19 * MINUTE_MS, later)
    three = take(store, 3, START_MS + 40 * MINUTE_MS, later)
    assert one.class_id == two.class_id != three.class_id


def test_a_short_plan_played_again_soon_is_another_class(store):
    short = ((classes.Piece("Ring rows", 30),),)
    first = [take(store, s, START_MS, START_MS, blocks=short).class_id for s in (1, 2)]
    again = START_MS + 5 * MINUTE_MS
    second = [take(store, s, again, again, blocks=short).class_id for s in (1, 2)]
    assert first[0] == first[1] != second[0] == second[1]


def test_another_plan_is_another_class(store):
    one = take(store, 1, START_MS, START_MS, plan=b"a")
    two = take(store, 2, START_MS, START_MS, plan=b"b")
    assert one.class_id != two.class_id


def test_six_classes_collected_together_box_by_box_fall_into_place(store):
    starts = [START_MS + n * 60 * MINUTE_MS for n in range(6)]
    evening = starts[-1] + 60 * MINUTE_MS
    got = {}
    for station in (1, 2, 3):
        for n, start in enumerate(starts):
            clock = None if station == 2 and n >= 3 else start  # box 2 lost its clock at noon
            got[station, n] = take(store, station, clock, evening, mark=n).class_id
    for n in range(6):
        assert len({got[s, n] for s in (1, 2, 3)}) == 1
    assert len(set(got.values())) == 6


def test_a_box_without_a_clock_that_comes_first_lends_its_class_to_the_others(store):
    lost = take(store, 1, None, START_MS + 40 * MINUTE_MS)
    good = take(store, 2, START_MS, START_MS + 41 * MINUTE_MS)
    assert lost.class_id == good.class_id
    with store.reading() as conn:
        one = conn.execute(select(tables.classes)).one()
        runs = conn.execute(select(tables.runs).order_by(tables.runs.c.id)).all()
    assert one.start_utc_us == START_MS * 1000
    assert [r.clock for r in runs] == ["lost", "ok"]


def test_a_box_without_a_clock_joins_the_newest_class_of_the_last_twelve_hours(store):
    morning = take(store, 1, START_MS, START_MS + 40 * MINUTE_MS)
    noon_ms = START_MS + 300 * MINUTE_MS
    noon = take(store, 1, noon_ms, noon_ms + 40 * MINUTE_MS)
    lost = take(store, 2, None, noon_ms + 120 * MINUTE_MS)
    assert lost.class_id == noon.class_id != morning.class_id


def test_after_twelve_hours_a_lost_clock_makes_a_class_of_its_own(store):
    old = take(store, 1, START_MS, START_MS)
    lost = take(store, 2, None, START_MS + 13 * 60 * MINUTE_MS)
    assert lost.class_id != old.class_id


def test_a_spare_box_that_takes_over_a_station_is_in_the_same_class(store):
    first = take(store, 1, START_MS, START_MS, stop_ms=60_000)
    spare = take(store, 1, START_MS + 4 * MINUTE_MS, START_MS + 1, box=9)
    assert spare.class_id == first.class_id


def test_a_run_that_never_started_is_kept_and_belongs_to_no_class(store):
    taken = take(store, 1, START_MS, START_MS, never_starts=True)
    assert taken.class_id is None and taken.new
    with store.reading() as conn:
        assert conn.execute(select(tables.classes)).all() == []
