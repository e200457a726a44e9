"""Which class a run falls into: by plan and start, and what happens without a clock."""

import itertools
import random

import classes
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import select
from worn import worn_names

from handbell.base.errors import UsageError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.classes import filing, joining
from handbell.store.classes.parted import parted, touch
from handbell.store.classes.together import Log
from handbell.store.database import tables
from handbell.store.people.wearers import set_wearers
from handbell.store.results.amend import Change, amend_name, undo
from handbell.store.results.queries import load_class

pytest_plugins = ["store_fixtures"]

MINUTE_MS = 60_000
MINUTE_US = MINUTE_MS * 1000
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


def now(store):
    """The class of each run, by the run's number."""
    with store.reading() as conn:
        return dict(conn.execute(select(tables.runs.c.id, tables.runs.c.class_id)).all())


def together(store, *taken):
    """Whether these runs are one class as things stand."""
    found = now(store)
    return len({found[one.run_id] for one in taken}) == 1


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
            got[station, n] = take(store, station, clock, evening, mark=n)
    for n in range(6):
        assert together(store, *(got[s, n] for s in (1, 2, 3)))
    assert len(set(now(store).values())) == 6
    assert joining.doubts(store, now(store)) == []


def test_a_box_without_a_clock_that_comes_first_lends_its_class_to_the_others(store):
    lost = take(store, 1, None, START_MS + 40 * MINUTE_MS)
    good = take(store, 2, START_MS, START_MS + 41 * MINUTE_MS)
    assert lost.class_id == good.class_id
    with store.reading() as conn:
        one = conn.execute(select(tables.classes)).one()
        runs = conn.execute(select(tables.runs).order_by(tables.runs.c.id)).all()
    assert one.start_utc_us == START_MS * 1000
    assert [r.clock for r in runs] == ["lost", "ok"]


def test_a_box_without_a_clock_that_may_be_of_two_classes_is_of_neither_and_that_is_said(store):
    morning = take(store, 1, START_MS, START_MS + 40 * MINUTE_MS)
    noon_ms = START_MS + 300 * MINUTE_MS
    noon = take(store, 1, noon_ms, noon_ms + 40 * MINUTE_MS)
    lost = take(store, 2, None, noon_ms + 120 * MINUTE_MS)
    assert len(set(now(store).values())) == 3
    (said,) = joining.doubts(store, [lost.run_id])
    assert f"may be of class {morning.class_id} or class {noon.class_id}" in said
    assert f"handbell class {lost.class_id} --join CLASS" in said
    # The other log of that box settles it.
    take(store, 2, START_MS, START_MS + 40 * MINUTE_MS)
    assert together(store, lost, noon)
    assert joining.doubts(store, [lost.run_id]) == []


def test_a_box_gave_all_that_it_had_when_it_was_collected_before(store):
    take(store, 1, START_MS, START_MS + 40 * MINUTE_MS)
    noon_ms = START_MS + 300 * MINUTE_MS
    noon = take(store, 1, noon_ms, noon_ms + 40 * MINUTE_MS)
    take(store, 2, START_MS - 90 * MINUTE_MS, START_MS + 60 * MINUTE_MS)  # box 2 missed the first
    lost = take(store, 2, None, noon_ms + 40 * MINUTE_MS)
    assert together(store, lost, noon)


def test_a_box_without_a_clock_that_missed_the_first_class_is_not_taken_into_it(store):
    evening = START_MS + 240 * MINUTE_MS
    for n, start in enumerate((START_MS, START_MS + 60 * MINUTE_MS)):
        for station in (1, 2):
            take(store, station, start, evening, mark=n)
    lost = take(store, 3, None, evening)
    assert len(set(now(store).values())) == 3
    (said,) = joining.doubts(store, now(store))
    assert "may be of class 1 or class 2" in said and "box 0003 (station 3)" in said
    assert list(now(store)).index(lost.run_id) == 4


def false_start(folder, order):
    """Three boxes, a false start, and a new one four minutes later that box 3 alone missed not."""
    logs = [(1, 0), (2, 0), (1, 4), (2, 4), (3, 4)]
    with open_store(str(folder)) as store:
        for n in order:
            station, minutes = logs[n]
            start = START_MS + minutes * MINUTE_MS
            stop = 90_000 if not minutes else None
            take(store, station, start, START_MS + 3_600_000, stop_ms=stop)
        with store.reading() as conn:
            rows = conn.execute(select(tables.runs)).all()
    found = {}
    for row in rows:
        minutes = (row.start_utc_us // 1000 - START_MS) // MINUTE_MS
        found.setdefault(row.class_id, set()).add((row.station, minutes))
    return sorted(map(sorted, found.values()))


def test_after_a_false_start_every_order_of_collecting_gives_the_same_classes(tmp_path):
    orders = random.Random(3).sample(list(itertools.permutations(range(5))), 24)
    for n, order in enumerate([(4, 0, 2, 1, 3), *orders]):
        found = false_start(tmp_path / f"{n}.sqlite", order)
        assert found == [[(1, 0), (2, 0)], [(1, 4), (2, 4), (3, 4)]], order


def test_names_go_along_when_a_log_turns_out_to_be_of_another_class(store):
    first = take(store, 1, START_MS, START_MS + 3_600_000, stop_ms=90_000)
    other = take(store, 3, START_MS + 4 * MINUTE_MS, START_MS + 3_600_000)
    assert together(store, first, other)
    set_wearers(store, 1, {1: "Ada", 3: "Otto"})
    take(store, 1, START_MS + 4 * MINUTE_MS, START_MS + 3_600_000)
    assert not together(store, first, other)
    assert sorted((number, name) for number, _, name in worn_names(store)) == sorted(
        [(now(store)[first.run_id], "Ada"), (now(store)[other.run_id], "Otto")]
    )


def pressing(station, start_ms, box, minutes=range(12), late_ms=0, collected_min=None, **how):
    """Take in a box that is pressed once a minute."""

    def press(store):
        data = classes.timeline(BLOCKS, (station,), station, rounds=3, plan=b"a")
        store.put_timeline(data)
        at = [classes.Press(15_000 + late_ms + box + m * MINUTE_MS) for m in minutes]
        run = classes.play(data, at, start_ms, **how)
        box_id = classes.BOX_IDS[box - 1]
        after_ms = box * 40_000 if collected_min is None else collected_min * MINUTE_MS
        return store.ingest(run.journal, box_id, (START_MS + 3_600_000 + round(after_ms)) * 1000)

    return press


HALLS = [pressing(s, START_MS, s) for s in (1, 2, 3)]
HALLS += [pressing(s, START_MS + 5 * MINUTE_MS, s + 10) for s in (1, 2, 3)]


def test_two_halls_on_one_server_stay_two_classes_and_that_is_said(store):
    taken = {n: HALLS[n](store) for n in (0, 5, 1, 3, 4, 2)}
    assert together(store, *(taken[n] for n in (0, 1, 2)))
    assert together(store, *(taken[n] for n in (3, 4, 5)))
    assert len(set(now(store).values())) == 2
    (said,) = joining.doubts(store, now(store))
    assert "two boxes of station 1 were pressed at the same time" in said


def test_two_halls_that_begin_at_the_same_moment_are_told_apart_by_who_collects(store):
    taken = [pressing(s, START_MS, box)(store) for s, box in ((1, 1), (2, 2), (1, 21), (2, 22))]
    assert together(store, *taken[:2]) and together(store, *taken[2:])
    assert len(set(now(store).values())) == 2


def test_a_spare_pressed_after_the_box_it_replaces_is_in_the_same_class(store):
    first = pressing(1, START_MS, 1, range(4))(store)
    spare = pressing(1, START_MS, 9, range(4, 12))(store)
    assert together(store, first, spare)
    # Both ran to the end: it may be a box left hanging beside its spare, or another hall's.
    (said,) = joining.doubts(store, now(store))
    assert "taken for a box and its spare" in said


def test_halls_that_never_share_a_stretch_are_said(store):
    first = pressing(1, START_MS, 1, range(3))(store)
    other = pressing(1, START_MS, 11, range(3, 6))(store)
    assert together(store, first, other)
    (said,) = joining.doubts(store, now(store))
    assert f"handbell class {first.class_id} --apart" in said


def test_a_late_press_on_the_box_that_a_spare_replaced_makes_no_second_hall(store):
    first = pressing(1, START_MS, 1, [0, 1, 2, 9])(store)
    spare = pressing(1, START_MS, 9, range(2, 12))(store)
    assert together(store, first, spare)
    (said,) = joining.doubts(store, now(store))
    assert "has logs of two boxes of station 1" in said
    assert f"handbell class {first.class_id} --apart" in said


@pytest.mark.parametrize("windows", [4, 6])
def test_halls_whose_people_press_once_a_window_fast_and_slow_are_two(store, windows):
    fast = [pressing(s, START_MS, s, range(windows))(store) for s in (1, 2)]
    slow = [pressing(s, START_MS, s + 10, range(windows), 30_000)(store) for s in (1, 2)]
    assert together(store, *fast) and together(store, *slow)
    assert not together(store, fast[0], slow[0])
    assert "they are taken for two halls" in " ".join(joining.doubts(store, now(store)))


def test_two_boxes_of_a_station_with_too_few_presses_for_halls_are_said(store):
    taken = [pressing(1, START_MS, 1, range(2))(store)]
    taken += [pressing(1, START_MS, 11, range(2), 30_000)(store)]
    assert together(store, *taken)
    (said,) = joining.doubts(store, now(store))
    assert "has logs of two boxes of station 1" in said
    filing.set_apart(store, taken[0].class_id, [classes.BOX_IDS[10][-4:]])
    assert joining.doubts(store, now(store)) == []


def told(name, station, *pressed_s, start_s=0, collected_s=0, whole=True):
    """A log as parting sees it, named by its hall and station."""
    return Log(
        run=0,
        digest=name,
        box_id=name,
        station=station,
        start_utc_us=None if start_s is None else START_MS * 1000 + start_s * 1_000_000,
        slot_us=20 * MINUTE_US,
        collected_utc_us=START_MS * 1000 + (3600 + collected_s) * 1_000_000,
        whole=whole,
        pressed_ms=tuple(s * 1000 for some in pressed_s for s in some),
    )


def names(found):
    """The logs of each class, and of the doubts the stations."""
    halls = {station for _, _, station in found.halls}
    return (
        sorted(sorted(log.digest for log in group) for group in found.classes),
        halls,
        {station for _, station in found.shared},
    )


ALL_S = range(5, 600, 10)


@pytest.mark.parametrize(
    ("old", "spare"),
    [
        ([range(0, 300, 10), range(600, 900, 10)], [range(305, 600, 10), range(905, 1190, 10)]),
        # Tried three times and found wanting, each time pressed once, then it takes over.
        ([range(0, 600, 10)], [[5, 65, 95], range(605, 1190, 10)]),
        # Three times, for a minute each.
        (
            [range(0, 100, 10), range(165, 300, 10), range(365, 500, 10), range(565, 700, 10)],
            [range(105, 160, 10), range(305, 360, 10), range(505, 560, 10), range(705, 900, 10)],
        ),
        # Tried three times by one while others go on at the old box.
        ([range(0, 600, 4)], [[101, 105, 109, 201, 205, 209, 301, 305, 309], range(601, 900, 4)]),
        ([range(0, 150, 10), [360, 585]], [range(170, 1190, 10)]),
    ],
)
def test_a_spare_that_takes_turns_with_the_box_it_replaces_is_one_class_and_said(old, spare):
    found = parted([told("old", 1, *old), told("spare", 1, *spare)])
    assert names(found) == ([["old", "spare"]], set(), {1})


@pytest.mark.parametrize(
    ("one", "other", "later_s"),
    [
        ([range(0, 1190, 10)], [range(3, 1190, 7)], 0),
        ([range(20, 240, 60)], [range(45, 240, 60)], 0),  # a finish in each of four windows
        # The other hall works where this one rests.
        ([range(w, w + 30, 3) for w in range(0, 600, 60)],) * 2 + (30,),
        # One hall gives up at half time.
        ([range(0, 300, 10)], [range(5, 1190, 10)], 0),
    ],
)
def test_boxes_pressed_without_regard_to_each_other_are_two_halls(one, other, later_s):
    found = parted([told("A", 1, *one), told("B", 1, *other, start_s=later_s)])
    assert names(found) == ([["A"], ["B"]], {1}, set())


@pytest.mark.parametrize(
    ("order", "classes_"),
    [
        (("A1", "A2", "B1", "B2"), [["A1", "A2"], ["B1", "B2"]]),
        (("A1", "B1", "A2", "B2"), None),
        (("A1", "B2", "A2", "B1"), None),
        (("B1", "A1", "A2", "B2"), None),
    ],
)
@pytest.mark.parametrize("whole", [True, False])
def test_a_box_that_is_pressed_seldom_is_not_put_beside_another_of_its_station(
    order, classes_, whole
):
    """Station 1 is pressed once a class, station 2 all the time; both halls begin at once."""
    pressed = {"A1": [[410]], "B1": [[200]], "A2": [range(0, 590, 3)], "B2": [range(1, 590, 7)]}
    logs = [
        told(n, int(n[1]), *pressed[n], collected_s=at * 20, whole=whole or n != "B1")
        for at, n in enumerate(order)
    ]
    found = parted(logs)
    # Which two are together may be open; that is said, and no class has a station twice.
    assert [sorted(n[1] for n in some) for some in names(found)[0]] == [["1", "2"]] * 2
    assert names(found)[1:] == ({2}, set())
    if classes_:
        assert names(found)[0] == classes_


@pytest.mark.parametrize("seldom", [{"A1": 100, "B1": 400}, {}])
@pytest.mark.parametrize("at_s", [(0, 20, 45, 60, 80, 100), (0, 10, 35, 45, 70, 80)])
def test_halls_collected_one_after_the_other_are_not_mixed_by_the_nearest_collecting(at_s, seldom):
    logs = [
        told(n, int(n[1]), [seldom[n]] if n in seldom else ALL_S, collected_s=at)
        for n, at in zip(("A1", "A2", "A3", "B1", "B2", "B3"), at_s, strict=True)
    ]
    assert names(parted(logs))[0] == [["A1", "A2", "A3"], ["B1", "B2", "B3"]]


@pytest.mark.parametrize("missing", ["A1", "A2", "B1", "B3"])
@pytest.mark.parametrize("late_s", [300, 3600, 14 * 3600, 7 * 86_400])
def test_a_box_forgotten_until_later_comes_to_the_hall_that_lacks_it_and_moves_no_other(
    missing, late_s
):
    at_s = {"A1": 0, "A2": 5, "A3": 10, "B1": 125, "B2": 130, "B3": 135}
    at_s[missing] = 135 + late_s
    logs = [told(n, int(n[1]), ALL_S, collected_s=at) for n, at in at_s.items()]
    assert names(parted(logs))[0] == [["A1", "A2", "A3"], ["B1", "B2", "B3"]]


def test_a_log_that_goes_to_another_class_after_that_was_named_is_said_once(store):
    def take_at(station, box, minutes):
        return pressing(station, START_MS, box, collected_min=minutes)(store)

    mine = [take_at(s, s, s / 10) for s in (1, 2)]
    theirs = [take_at(s, s + 10, 5 + s / 10) for s in (2, 3)]
    spare = take_at(1, 21, 15)  # of the hall that lacks station 1, as far as is known
    one, other = (now(store)[some[0].run_id] for some in (mine, theirs))
    assert now(store)[spare.run_id] == other
    set_wearers(store, one, {1: "Uma", 2: "Vic"})
    set_wearers(store, other, {1: "Zed", 2: "Ada"})
    late = take_at(1, 11, 5)
    assert together(store, late, *theirs) and not together(store, spare, *theirs)
    (said,) = late.differ
    assert f"box 0015 (station 1) that was in class {other}" in said
    new = now(store)[spare.run_id]
    assert said.endswith(f"If that is wrong: handbell class {new} --join {other}"), "it is alone"
    assert [one.differ for one in (*mine, *theirs)] == [[]] * 4, "one evening, nothing named"


@pytest.mark.parametrize("pause_s", [60, 130, 300])
def test_halls_that_lack_a_box_each_and_were_collected_with_a_pause_are_not_divided(pause_s):
    halls = (("A1", "A2"), ("B2", "B3"), ("C1", "C3"))
    logs = [
        told(name, int(name[1]), ALL_S, collected_s=h * pause_s + 6 * n)
        for h, hall in enumerate(halls)
        for n, name in enumerate(hall)
    ]
    assert names(parted(logs))[0] == [list(hall) for hall in halls]


def test_a_spare_stays_in_the_class_that_began_with_it_though_another_lacks_its_station():
    logs = [
        told("A1", 1, range(0, 200, 10)),
        told("A1 spare", 1, range(205, 590, 10)),
        told("A2", 2, ALL_S),
        told("B2", 2, ALL_S, start_s=300),
    ]
    assert names(parted(logs)) == ([["A1", "A1 spare", "A2"], ["B2"]], {2}, {1})


@pytest.mark.parametrize(
    ("whole", "start_s"), [((False, True), 0), ((False, False), 0), ((True, True), 60)]
)
def test_two_boxes_of_a_station_in_a_class_are_said_whatever_became_of_their_logs(whole, start_s):
    logs = [
        told("A1", 1, [100], whole=whole[0]),
        told("B1", 1, [400], start_s=start_s, whole=whole[1]),
    ]
    assert names(parted(logs)) == ([["A1", "B1"]], set(), {1})


def test_a_box_without_a_clock_beside_another_of_its_station_is_said():
    logs = [told("A1", 1, [100], whole=False), told("B1", 1, [400], start_s=None)]
    assert names(parted(logs)) == ([["A1", "B1"]], set(), {1})


def test_halls_whose_boxes_were_mixed_up_are_put_right_by_joining_and_parting(store):
    minutes = {1: [3], 11: [6], 2: range(12), 12: range(12)}  # station 1 is pressed seldom
    at = {1: 1, 12: 2, 2: 3, 11: 4}  # collected in that order
    taken = {}
    for box in at:
        data = classes.timeline(BLOCKS, (box % 10,), box % 10, rounds=3, plan=b"a")
        store.put_timeline(data)
        presses = [classes.Press(15_000 + box + m * MINUTE_MS) for m in minutes[box]]
        run = classes.play(data, presses, START_MS)
        collected_us = (START_MS + 3_600_000 + at[box] * 20_000) * 1000
        taken[box] = store.ingest(run.journal, classes.BOX_IDS[box - 1], collected_us)
    assert together(store, taken[1], taken[12]) and together(store, taken[2], taken[11])
    (said,) = joining.doubts(store, now(store))
    one, other = sorted(set(now(store).values()))
    assert f"see by handbell class {one} and handbell class {other}" in said
    both = filing.join_classes(store, other, one)
    filing.set_apart(store, both, [classes.BOX_IDS[box - 1][-4:] for box in (11, 12)])
    assert together(store, taken[1], taken[2]) and together(store, taken[11], taken[12])
    assert len(set(now(store).values())) == 2 and joining.doubts(store, now(store)) == []


def test_classes_of_a_short_plan_one_after_the_other_do_not_hang_together():
    def log(minutes):
        start = START_MS * 1000 + minutes * MINUTE_US
        return Log(minutes, f"{minutes}", "1", 1, start, 4 * MINUTE_US, start)

    assert touch(log(0), log(3)) and not touch(log(0), log(5))


@st.composite
def days(draw):
    """Logs of a plan on one day: some starts, some boxes at each, some without a clock, spares."""
    starts = sorted(draw(st.sets(st.integers(0, 90), min_size=1, max_size=4)))
    logs = []
    for box in range(1, draw(st.integers(1, 5)) + 1):
        for n, start in enumerate(starts):
            if not draw(st.booleans()):
                continue
            late = draw(st.sampled_from([0, 0, 1, 3]))
            minutes = draw(st.sampled_from([range(0), range(1, 10), range(11, 20)]))
            logs.append(
                Log(
                    run=0,
                    digest=f"{len(logs):024x}",
                    box_id=f"{box}",
                    station=draw(st.sampled_from([box, 1])),
                    start_utc_us=draw(st.sampled_from([None, *[(start + late) * MINUTE_US] * 3])),
                    slot_us=45 * MINUTE_US,
                    collected_utc_us=draw(st.sampled_from([120, 121, 600])) * MINUTE_US,
                    whole=draw(st.booleans()),
                    pressed_ms=tuple(m * MINUTE_MS for m in minutes),
                    boot=n,
                )
            )
    return logs, draw(st.permutations(logs))


@settings(max_examples=400, deadline=None)
@given(days())
def test_the_order_of_logs_changes_nothing_and_every_log_is_in_one_class(day):
    logs, other_order = day

    def kept(found):
        return (
            [sorted(log.digest for log in group) for group in found.classes],
            found.unsure,
            found.halls,
            found.shared,
        )

    found = parted(logs)
    assert kept(found) == kept(parted(other_order))
    assert sorted(log.digest for group in found.classes for log in group) == [
        log.digest for log in logs
    ]
    for group in found.classes:
        places = [(log.box_id, log.station) for log in group]
        assert len(places) == len(set(places)), "a box takes part once at a station"


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


def worn(store):
    """The name of each bib of each class."""
    found = {}
    for class_id, bib, name in worn_names(store):
        found.setdefault(class_id, {})[bib] = name
    return found


def two_halls(store):
    """Two halls with the bibs 1 to 3 each, on other boxes; return the number of each class."""
    mine = [pressing(s, START_MS, s)(store) for s in (1, 2, 3)]
    yours = [pressing(s, START_MS + 5 * MINUTE_MS, s + 10)(store) for s in (1, 2, 3)]
    one, other = (now(store)[some[0].run_id] for some in (mine, yours))
    return one, other, [box[-4:] for box in classes.BOX_IDS[10:13]]


def test_joined_and_parted_again_each_hall_has_the_names_that_were_said_of_it(store):
    one, other, their_boxes = two_halls(store)
    set_wearers(store, one, {1: "Uma"})
    set_wearers(store, other, {2: "Zed", 3: "Ada"})
    both = filing.join_classes(store, other, one)
    assert worn(store) == {both: {1: "Uma", 2: "Zed", 3: "Ada"}}
    set_wearers(store, both, {3: "Vic"})  # of this one it is said now, of both
    parted_off = filing.set_apart(store, both, their_boxes)
    assert worn(store) == {both: {1: "Uma", 3: "Vic"}, parted_off: {2: "Zed", 3: "Vic"}}


def test_a_name_said_before_other_logs_came_is_not_theirs(store, place, capsys):
    mine = [pressing(s, START_MS, s, range(2))(store) for s in (1, 2)]
    set_wearers(store, 1, {1: "Uma", 2: "Zed"})
    theirs = [pressing(s, START_MS, s + 10, range(2), 30_000)(store) for s in (1, 2)]
    assert together(store, *mine, *theirs)
    set_wearers(store, 1, {2: "Vic"})  # of this one it is said now, of all boxes
    boxes = [box[-4:] for box in classes.BOX_IDS[10:12]]
    assert main(["class", "1", "--apart", *boxes, "--store", place]) == 0
    assert "These names went along: 2=Vic. " in capsys.readouterr().out
    one, other = (now(store)[some[0].run_id] for some in (mine, theirs))
    assert worn(store) == {one: {1: "Uma", 2: "Vic"}, other: {2: "Vic"}}


def test_a_name_that_gives_way_as_two_classes_become_one_is_said(store):
    def take_pair(station, start_ms, minutes):
        data = classes.timeline(BLOCKS, (1, 2), station, rounds=3)
        store.put_timeline(data)
        run = classes.play(data, [classes.Press(11_000 + minutes)], start_ms)
        at_us = (START_MS + minutes * MINUTE_MS) * 1000
        return store.ingest(run.journal, classes.BOX_IDS[station], at_us)

    later_ms = START_MS + 40 * MINUTE_MS
    for start_ms in (START_MS, later_ms):
        set_wearers(store, take_pair(1, start_ms, 90).class_id, {1: "Uma", 2: "Zed"})
    lost = take_pair(2, None, 91)
    set_wearers(store, lost.class_id, {1: "Vic", 2: "Zed"})
    moved, said = take_pair(2, later_ms, 92).differ  # so the other was of the first class
    assert "A log of box 0003 (station 2) that was in class 3 is in class 1 now" in moved
    assert now(store)[lost.run_id] == 1 and worn(store)[1] == {1: "Uma", 2: "Zed"}
    assert said.startswith("Bib 1 of class 1 is Uma and stays so") and "Vic was said" in said


def test_two_classes_that_name_a_bib_differently_are_not_joined_before_that_is_settled(store):
    one, other, _ = two_halls(store)
    set_wearers(store, one, {1: "Uma", 2: "Vic"})
    set_wearers(store, other, {1: "Uma", 2: "Zed"}, [2])
    before = worn(store)
    with pytest.raises(
        UsageError, match=f"Bib 2 is Zed .absent. in class {other} and Vic in class"
    ):
        filing.join_classes(store, other, one)
    assert worn(store) == before
    set_wearers(store, one, {2: "Zed"}, [2])
    both = filing.join_classes(store, other, one)
    assert worn(store) == {both: {1: "Uma", 2: "Zed"}}


def test_a_name_that_two_bibs_have_when_classes_are_joined_is_told(store):
    one, other = (
        take(store, s, START_MS + 25 * s * MINUTE_MS, START_MS + 90 * MINUTE_MS).class_id
        for s in (1, 2)
    )
    set_wearers(store, one, {1: "Uma"})
    set_wearers(store, other, {2: "uma"})
    said = []
    both = filing.join_classes(store, other, one, said)
    assert worn(store) == {both: {1: "Uma", 2: "Uma"}}
    assert [line for line in said if line.startswith(f'"Uma" is bib 1 and bib 2 of class {both}')]


def test_a_class_set_apart_keeps_the_names_of_bibs_that_went_from_box_to_box(store):
    for station in (1, 2):
        data = classes.timeline(BLOCKS, (1, 2), station, rounds=3)
        store.put_timeline(data)
        run = classes.play(data, [classes.Press(11_000 + station)], START_MS)
        store.ingest(run.journal, classes.BOX_IDS[station], (START_MS + 3_600_000) * 1000)
    set_wearers(store, 1, {1: "Gwen", 2: "Hal"})
    amend_name(store, load_class(store, 1), 1, Change("name", "Otto", "Coach", "swapped", 5))
    parted_off = filing.set_apart(store, 1, ["1"])
    assert worn(store) == {1: {1: "Otto", 2: "Hal"}, parted_off: {1: "Otto", 2: "Hal"}}
    assert load_class(store, 1).amended_names == {}
    assert set(load_class(store, parted_off).amended_names) == {1}
    both = filing.join_classes(store, parted_off, 1)
    record = load_class(store, both)
    undo(store, record, record.amended_names[1].digest, "Coach", 9)
    assert worn(store) == {both: {1: "Gwen", 2: "Hal"}}


def test_a_name_that_was_amended_comes_back_after_parting_and_joining(store):
    for station, start_ms in ((1, START_MS), (2, START_MS + 25 * MINUTE_MS)):
        data = classes.timeline(BLOCKS, (1, 2), station, rounds=3)
        store.put_timeline(data)
        run = classes.play(data, [classes.Press(11_000 + station)], start_ms)
        store.ingest(run.journal, classes.BOX_IDS[station], (START_MS + 5_400_000) * 1000)
    set_wearers(store, 2, {2: "Bo"})
    both = filing.join_classes(store, 2, 1)
    amend_name(store, load_class(store, both), 2, Change("name", "Otto", "Coach", "swapped", 5))
    parted_off = filing.set_apart(store, both, ["2"])
    assert worn(store) == {both: {2: "Otto"}, parted_off: {2: "Otto"}}
    both = filing.join_classes(store, parted_off, both)
    record = load_class(store, both)
    undo(store, record, record.amended_names[2].digest, "Coach", 9)
    assert worn(store) == {both: {2: "Bo"}}


def two_halls_taken_for_one(store, windows=range(1)):
    """Two halls pressed too seldom to tell them apart, of one start; parted and named."""
    for box, minutes in ((1, 1.0), (2, 1.1), (11, 4.0), (12, 4.1)):
        later_ms = 30_000 if box > 10 else 0
        pressing(box % 10, START_MS, box, windows, later_ms, collected_min=minutes)(store)
    other = filing.set_apart(store, 1, [box[-4:] for box in classes.BOX_IDS[10:12]])
    set_wearers(store, 1, {1: "Uma", 2: "Vic"})
    set_wearers(store, other, {1: "Zed", 2: "Ada"})
    return other


def boxes_by_class(store):
    with store.reading() as conn:
        found = {}
        for row in conn.execute(select(tables.runs).order_by(tables.runs.c.box_id)):
            found.setdefault(row.class_id, []).append(int(row.box_id[-2:], 16))
        return found


@pytest.mark.parametrize("first", ["mine", "theirs"])
def test_after_a_class_was_parted_a_further_box_comes_to_the_hall_it_was_collected_with(
    store, first
):
    other = two_halls_taken_for_one(store)
    boxes = {"mine": (3, 1.2), "theirs": (13, 4.2)}
    for whose in sorted(boxes, key=lambda one: one != first):
        box, minutes = boxes[whose]
        pressing(3, START_MS, box, range(1), 900 * box, collected_min=minutes)(store)
    assert boxes_by_class(store) == {1: [1, 2, 3], other: [11, 12, 13]}
    assert worn(store) == {1: {1: "Uma", 2: "Vic"}, other: {1: "Zed", 2: "Ada"}}


def test_a_further_box_that_may_be_of_either_half_of_a_parted_class_is_said(store):
    other = two_halls_taken_for_one(store)
    taken = pressing(3, START_MS, 13, range(1), 900, collected_min=4.2)(store)
    (said,) = joining.doubts(store, [taken.run_id])
    assert f"A log of box 000d (station 3) is in class {other}, but it may be of class 1" in said
    assert f"handbell class {other} --apart 000d" in said
    number = filing.set_apart(store, other, ["000d"])
    filing.join_classes(store, number, 1)
    assert boxes_by_class(store) == {1: [1, 2, 13], other: [11, 12]}
    assert joining.doubts(store, now(store)) == []


def test_a_further_box_whose_start_tells_the_half_is_not_doubted(store):
    for box, start_ms in ((1, 0), (2, 0), (11, 60_000), (12, 60_000)):
        pressing(box % 10, START_MS + start_ms, box, range(1), 0)(store)
    other = filing.set_apart(store, 1, [box[-4:] for box in classes.BOX_IDS[10:12]])
    taken = pressing(3, START_MS + 60_000, 13, range(1), collected_min=90)(store)
    assert boxes_by_class(store) == {1: [1, 2], other: [11, 12, 13]}
    assert joining.doubts(store, [taken.run_id]) == []


def test_what_hung_on_a_class_that_is_deleted_is_filed_anew_and_said(store, place, capsys):
    take(store, 1, START_MS, START_MS + 20 * MINUTE_MS)
    later = START_MS + 300 * MINUTE_MS
    other = take(store, 1, later, later)
    lost = take(store, 2, None, later + MINUTE_MS)
    assert now(store)[lost.run_id] not in (1, other.class_id), "it may be of either"
    assert main(["class", "1", "--delete", "--yes", "--store", place]) == 0
    assert together(store, lost, other)
    said = " ".join(capsys.readouterr().out.split())
    assert f"that was in class {lost.class_id} is in class {other.class_id} now" in said
    assert f"handbell class {other.class_id} --apart 0002" in said
    both = [one.run_id for one in (lost, other)]
    assert joining.doubts(store, both) == []


def test_another_log_that_goes_along_as_two_classes_are_joined_is_said(store, place, capsys):
    one = take(store, 1, START_MS, START_MS + 60 * MINUTE_MS)
    take(store, 2, START_MS + 25 * MINUTE_MS, START_MS + 60 * MINUTE_MS)
    lost = take(store, 3, None, START_MS + 61 * MINUTE_MS)
    assert len(set(now(store).values())) == 3, "it may be of either"
    assert main(["class", "2", "--join", "1", "--store", place]) == 0
    assert together(store, one, lost)
    said = " ".join(capsys.readouterr().out.split())
    assert said.count("A log of box") == 1
    assert f"A log of box 0003 (station 3) that was in class {lost.class_id} is in class" in said
