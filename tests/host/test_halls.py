"""Halls in the store: logs tell them, bundles carry them, and no class has two."""

import itertools
import random

import classes
import pytest
from older import BACK_TO_0012
from sqlalchemy import select, text
from store_places import import_bundle

from handbell.base.errors import UsageError
from handbell.compile.hall import stamped
from handbell.store import open_store
from handbell.store.bundles.bundle import export_bundle
from handbell.store.classes import filing, joining
from handbell.store.database import tables
from handbell.store.exports.schema import Wanted
from handbell.store.halls.known import put_hall
from handbell.store.halls.own import Hall
from handbell.store.logs.timelines import decode
from handbell.store.results.queries import list_classes, load_class
from handbell_core import journal

pytest_plugins = ["store_fixtures"]

NORTH, SOUTH = "00000000000000aa", "00000000000000bb"
START_MS = classes.START_UTC_MS
BLOCKS = ((classes.Piece("Ring rows", 60), classes.Piece("Sit-ups", 60)),)


def made(hall, box, station, start_ms=START_MS, every_ms=4_000, **how):
    """A box's timeline and log."""
    data = classes.timeline(BLOCKS, (station,), station, rounds=2, rate=False)
    data = stamped(data, hall) if hall else data
    presses = [classes.Press(at_ms) for at_ms in range(11_000 + 130 * box, 230_000, every_ms)]
    return data, classes.play(data, presses, start_ms, **how).journal, classes.BOX_IDS[box - 1]


def take(store, one, minutes=0):
    data, log, box = one
    store.put_timeline(data)
    return store.ingest(log, box, (START_MS + (60 + minutes) * 60_000) * 1000)


def of_classes(store):
    """The halls and the boxes of each class."""
    found = {}
    with store.reading() as conn:
        for row in conn.execute(select(tables.runs).order_by(tables.runs.c.box_id)):
            halls, boxes = found.setdefault(row.class_id, (set(), []))
            halls.add(row.hall)
            boxes.append(int(row.box_id[-2:], 16))
    return sorted((sorted(map(str, halls)), boxes) for halls, boxes in found.values())


BOTH = [made(NORTH, 1, 1), made(NORTH, 2, 2), made(SOUTH, 3, 2), made(SOUTH, 4, 3)]
APART = [([NORTH], [1, 2]), ([SOUTH], [3, 4])]


def test_a_timeline_tells_the_hall_and_nothing_else_of_it_changes():
    data = classes.timeline(BLOCKS, (1,), 1)
    plain, told = decode(data), decode(stamped(data, NORTH))
    assert (plain.hall, told.hall) == (None, NORTH)
    assert told.plan == plain.plan and told.windows == plain.windows
    assert told.digest != plain.digest


def test_two_halls_of_one_plan_and_second_are_two_whatever_the_order(tmp_path):
    for n, some in enumerate(itertools.permutations(BOTH)):
        if n % 6:
            continue
        with open_store(str(tmp_path / f"{n}.sqlite")) as store:
            doubts = [take(store, one, minutes) for minutes, one in enumerate(some)]
            assert of_classes(store) == APART
            assert joining.doubts(store, [one.run_id for one in doubts]) == []


def test_they_are_two_on_a_server_too_and_named_only_where_there_are_two(store):
    for one in BOTH[:2]:
        take(store, one)
    assert [row.hall for row in list_classes(store)] == [""]
    put_hall(store, Hall(NORTH, "North"))
    for one in BOTH[2:]:
        take(store, one)
    assert of_classes(store) == APART
    assert sorted(row.hall for row in list_classes(store)) == ["North", "hall 00000000"]
    with pytest.raises(UsageError, match="is of North and class 2 of hall 00000000, so they"):
        filing.join_classes(store, 1, 2)


def test_two_boxes_of_a_station_are_one_hall_s_one_class_however_they_were_pressed(tmp_path):
    for hall, count in ((None, 2), (NORTH, 1)):
        with open_store(str(tmp_path / f"{hall}.sqlite")) as store:
            for one in (made(hall, 1, 1), made(hall, 2, 1)):
                take(store, one)
            assert len(list_classes(store)) == count


def test_a_false_start_is_a_class_of_its_own_and_a_lent_box_goes_with_its_plan(tmp_path):
    again_ms = START_MS + 3 * 60_000
    logs = [
        *(made(NORTH, box, box, stop_ms=60_000) for box in (1, 2)),
        *(made(NORTH, box, box, again_ms, boot=2) for box in (1, 2)),
        made(NORTH, 5, 2, again_ms),  # a spare
        made(SOUTH, 3, 1, again_ms),
        made(SOUTH, 6, 2, again_ms),
    ]
    for seed in range(2):
        some = random.Random(seed).sample(logs, len(logs))
        with open_store(str(tmp_path / f"{seed}.sqlite")) as store:
            for minutes, one in enumerate(some):
                take(store, one, minutes)
            assert of_classes(store) == [
                ([NORTH], [1, 2]),
                ([NORTH], [1, 2, 5]),
                ([SOUTH], [3, 6]),
            ]


def test_a_log_without_a_hall_asks_and_a_coach_s_word_joins_it(store):
    for one in BOTH[:2]:
        take(store, one)
    plain = take(store, made(None, 7, 3))
    assert plain.class_id == 2
    (doubt,) = joining.doubts(store, [plain.run_id])
    assert "one of them tells no hall" in doubt and "handbell class 2 --join 1" in doubt
    filing.join_classes(store, 2, 1)
    assert len(list_classes(store)) == 1
    take(store, BOTH[2])
    take(store, made(NORTH, 8, 4))
    assert of_classes(store) == [(["None", NORTH][::-1], [1, 2, 7, 8]), ([SOUTH], [3])]


def test_two_computers_of_one_hall_that_never_said_so_are_told_what_to_do(store):
    take(store, made(NORTH, 1, 1))
    lone = take(store, made(SOUTH, 2, 2))
    (doubt,) = joining.doubts(store, [lone.run_id])
    assert "Classes 1 and 2" in doubt and "handbell hall --join FILE" in doubt


def test_a_further_log_without_a_hall_asks_though_one_was_joined_to_it(store):
    take(store, made(NORTH, 1, 1))
    filing.join_classes(store, take(store, made(None, 2, 2)).class_id, 1)
    more = take(store, made(None, 3, 3))
    (doubt,) = joining.doubts(store, [more.run_id])
    assert f"handbell class {more.class_id} --join 1" in doubt


# Bundles


def bundles(folder):
    """A bundle of each hall's class and of a second laptop's part of the first one, with names."""
    halls = {"north": (NORTH, BOTH[:2]), "south": (SOUTH, BOTH[2:])}
    halls["second"] = (NORTH, [made(NORTH, 9, 4, START_MS + 800)])
    for name, (hall, logs) in halls.items():
        with open_store(str(folder / f"{name}.sqlite")) as theirs:
            theirs.put_plan(classes.PLAN_TEXT, "Two blocks")
            put_hall(theirs, Hall(hall, {"second": ""}.get(name, name.title())))
            for one in logs:
                take(theirs, one)
            export_bundle(theirs, folder / f"{name}.zip", Wanted(names=True))
    return [folder / f"{name}.zip" for name in halls]


def test_bundles_of_two_halls_keep_apart_and_two_of_one_come_together(tmp_path):
    for n, some in enumerate(itertools.permutations(bundles(tmp_path))):
        if n % 2:
            continue
        with open_store(str(tmp_path / f"all-{n}.sqlite")) as store:
            for path in (*some, *some):
                done = import_bundle(store, path)
            assert of_classes(store) == [([NORTH], [1, 2, 9]), ([SOUTH], [3, 4])]
            assert done.runs_new == 0 and done.apart == {} and done.doubts == []
            assert sorted(row.hall for row in list_classes(store)) == ["North", "South"]


def test_a_bundle_without_names_tells_the_number_alone(tmp_path):
    with open_store(str(tmp_path / "a.sqlite")) as store:
        put_hall(store, Hall(NORTH, "North"))
        take(store, BOTH[0])
        export_bundle(store, tmp_path / "a.zip", Wanted(names=False))
    assert b"North" not in (tmp_path / "a.zip").read_bytes()
    with open_store(str(tmp_path / "b.sqlite")) as store:
        import_bundle(store, tmp_path / "a.zip")
        take(store, BOTH[2])
        assert sorted(row.hall for row in list_classes(store)) == ["hall 00000000"] * 2


def test_a_class_of_another_hall_comes_whole_where_a_box_of_it_had_no_clock(tmp_path):
    with open_store(str(tmp_path / "a.sqlite")) as theirs:
        for one in (*BOTH[2:], made(SOUTH, 5, 4, None)):
            take(theirs, one)
        assert len(list_classes(theirs)) == 1
        export_bundle(theirs, tmp_path / "a.zip", Wanted(names=False))
    with open_store(str(tmp_path / "b.sqlite")) as store:
        for one in BOTH[:2]:
            take(store, one)
        import_bundle(store, tmp_path / "a.zip")
        assert of_classes(store) == [([NORTH], [1, 2]), ([SOUTH], [3, 4, 5])]


# Older stores, damaged logs


def test_an_older_store_gets_the_halls_from_its_timelines(tmp_path):
    path = str(tmp_path / "store.sqlite")
    with open_store(path) as store:
        for one in BOTH:
            take(store, one)
        with store.writing() as conn:
            conn.execute(text("UPDATE runs SET class_id = 1"))
            conn.execute(text("DELETE FROM classes WHERE id > 1"))
            for words in (*BACK_TO_0012, "UPDATE alembic_version SET version_num = '0012'"):
                conn.execute(text(words))
    with open_store(path) as store:
        assert of_classes(store) == APART


def test_a_damaged_log_is_of_the_hall_whose_class_began_with_it(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as store:
        for one in (made(None, 2, 1, START_MS - 86_400_000), made(SOUTH, 3, 1, START_MS)):
            take(store, one)
        data, log, box = made(NORTH, 1, 1, START_MS + 7_200_000)
        store.put_timeline(data)
        take(store, made(NORTH, 5, 2, START_MS + 7_200_000))
        broken = bytes(journal.RECORD_SIZE) + log[journal.RECORD_SIZE :]
        taken = take(store, (data, broken, box))
        assert load_class(store, taken.class_id).row.boxes == 2
        assert of_classes(store)[0] == ([NORTH], [1, 5])
