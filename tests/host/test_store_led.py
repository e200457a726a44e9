"""Which class a log is of that a remote led: its key says by which arming."""

import random
import struct

import classes
import pytest
from led import Piece, Press, play_led, start
from older import BACK_TO_0011
from sqlalchemy import select, text
from store_places import import_bundle

from handbell.base.errors import UsageError
from handbell.store import open_store
from handbell.store.bundles.bundle import export_bundle
from handbell.store.classes import joining
from handbell.store.classes.filing import join_classes, set_apart
from handbell.store.classes.parted import parted
from handbell.store.classes.together import MINUTE_US, Log
from handbell.store.database import tables
from handbell.store.exports.schema import Wanted
from handbell.store.logs import journals
from handbell_core import journal as j
from handbell_core.runner import PLAY

MINUTE_MS = 60_000
COLLECTED_US = classes.START_UTC_MS * 1000 + 300 * MINUTE_US
TONIGHT, LATER = b"tonights", b"laterone"
SHORT = ((Piece("Squat", 40),),)


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as opened:
        yield opened


def journal_of(station, at_ms=0, key=TONIGHT, **how):
    data = classes.timeline(SHORT, (station,), station, rounds=2, plan=b"a", rate=False)
    presses = [Press(at_ms + 12_000 + station * 300)]
    return data, play_led(data, [start(at_ms)], presses, key=key, **how).journal


def take(store, station, at_ms=0, key=TONIGHT, box=None, after_min=0, **how):
    data, journal = journal_of(station, at_ms, key, **how)
    store.put_timeline(data)
    store.put_plan(b"a", "Evening")
    box_id = classes.BOX_IDS[(box or station) - 1]
    return store.ingest(journal, box_id, COLLECTED_US + after_min * MINUTE_US).run_id


def by_hand(store, station, start_ms, box=None):
    data, _ = journal_of(station)
    store.put_timeline(data)
    run = classes.play(data, [classes.Press(12_300)], classes.START_UTC_MS + start_ms)
    return store.ingest(run.journal, classes.BOX_IDS[(box or station) - 1], COLLECTED_US).run_id


def filed(store):
    found = {}
    with store.reading() as conn:
        for run, class_id in conn.execute(select(tables.runs.c.id, tables.runs.c.class_id)):
            found.setdefault(class_id, set()).add(run)
    return sorted(map(sorted, found.values()))


def doubts(store):
    return joining.doubts(store, [run for some in filed(store) for run in some])


@pytest.mark.parametrize("late_min", [1, 7, 25, 200])
def test_boxes_of_one_arming_are_one_class_whenever_each_began(store, late_min):
    """As after a long pause, a start that was put off, or a spare that was put in late."""
    some = [take(store, 1), take(store, 2), take(store, 3, late_min * MINUTE_MS)]
    spare = take(store, 2, late_min * MINUTE_MS + 3_000, box=4, after_min=3)
    assert filed(store) == [sorted([*some, spare])]
    assert doubts(store) == [], "the key says that a spare is of it"
    store.doing(joining.file_all)
    assert len(filed(store)) == 1


def test_boxes_of_two_armings_never_are_though_they_begin_within_a_minute(store):
    """A class of a short plan is stopped, armed once more and begun again; one box missed that."""
    first = [take(store, 1), take(store, 2), take(store, 3)]
    again = [take(store, 1, 50_000, LATER, boot=2), take(store, 2, 50_000, LATER, boot=2)]
    other = take(store, 4, 50_000, LATER)
    assert filed(store) == [first, [*again, other]]
    with pytest.raises(UsageError, match="A remote was armed once for class 1 and once more"):
        join_classes(store, 2, 1)


def test_boxes_without_a_clock_come_to_the_class_of_their_key(store):
    """Also where none of it has a clock, and another class may be meant by all else."""
    none = [take(store, 1, clock=False), take(store, 2, clock=False)]
    other = [take(store, n, clock=False, key=LATER, boot=2, after_min=1) for n in (1, 2)]
    lone = take(store, 3, clock=False, key=LATER, after_min=90)
    assert filed(store) == [none, [*other, lone]]
    timed = take(store, 3, key=TONIGHT, box=5)
    assert filed(store) == [[*none, timed], [*other, lone]]
    assert doubts(store) == []


def test_a_box_that_waited_for_a_remote_and_was_started_by_hand_is_of_no_arming():
    def began_by(cause):
        payload = struct.pack("<BBHq", PLAY, cause, 0, classes.START_UTC_MS)
        records = [j.run_record(bytes(12), 1, True), j.record(j.HEEDS, 0, 0, 0, TONIGHT)]
        return journals.read(b"".join([*records, j.record(j.STATE, 0, 0, 0, payload)])).led_key

    assert began_by(j.BY_WORD) == TONIGHT.hex() and began_by(j.BY_HAND) is None


def test_a_class_set_apart_stays_so_and_can_be_joined_again(store):
    some = [take(store, 1), take(store, 2), take(store, 3, 40 * MINUTE_MS)]
    number = set_apart(store, 1, [classes.BOX_IDS[2]])
    assert filed(store) == [some[:2], some[2:]]
    more = take(store, 4)
    assert filed(store) == [[*some[:2], more], some[2:]], "to the part that most of them are in"
    join_classes(store, number, 1)
    assert filed(store) == [[*some, more]]


def test_a_box_started_by_hand_beside_comes_to_it_though_a_spare_was_late(store):
    some = [take(store, 1), take(store, 2, 25 * MINUTE_MS)]
    hand = by_hand(store, 3, 10_000)
    late = by_hand(store, 5, 30 * MINUTE_MS)
    assert filed(store) == [[*some, hand], [late]]


@pytest.mark.parametrize("ours_first", [True, False])
def test_boxes_of_one_arming_that_others_collected_come_with_their_bundle(
    store, tmp_path, ours_first
):
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        for station, late_min in ((2, 0), (3, 30)):
            take(theirs, station, late_min * MINUTE_MS)
        file = tmp_path / "class.zip"
        export_bundle(theirs, file, Wanted())
    if ours_first:
        take(store, 1)
    import_bundle(store, file)
    if not ours_first:
        take(store, 1)
    assert filed(store) == [[1, 2, 3]]


@pytest.mark.parametrize("joined_there", [False, True])
def test_a_bundle_s_class_stays_whole_as_an_own_box_of_its_arming_comes_in(
    store, tmp_path, joined_there
):
    """One of its boxes has no key: it was started by hand beside."""
    with open_store(str(tmp_path / "theirs.sqlite")) as theirs:
        some = [take(theirs, 1), take(theirs, 2), by_hand(theirs, 3, 10_000)]
        if joined_there:
            join_classes(theirs, set_apart(theirs, 1, [classes.BOX_IDS[2]]), 1)
        assert filed(theirs) == [some]
        file = tmp_path / "class.zip"
        export_bundle(theirs, file, Wanted())
    import_bundle(store, file)
    own = take(store, 4)
    assert filed(store) == [[*some, own]]
    store.doing(joining.file_all)
    assert filed(store) == [[*some, own]]


def test_any_order_of_logs_gives_the_same_classes():
    def log(n, station, start_min, key, box=None):
        start_us = None if start_min is None else start_min * MINUTE_US
        facts = {"key": key, "boot": n, "since_us": 0}
        box = box or station
        return Log(n, f"{n:03}", str(box), station, start_us, 2 * MINUTE_US, COLLECTED_US, **facts)

    logs = [log(1, 1, 0, "a"), log(2, 2, 0, "a"), log(3, 3, None, "a"), log(4, 2, 30, "a", 9)]
    logs += [log(5, 1, 1, "b"), log(6, 2, 30, "b"), log(7, 3, None, "b"), log(8, 4, 0, None)]
    rng = random.Random(1)
    for _ in range(20):
        rng.shuffle(logs)
        found = sorted(sorted(log.run for log in some) for some in parted(logs).classes)
        assert found == [[1, 2, 3, 4, 8], [5, 6, 7]]


def test_a_store_of_before_gets_the_keys_from_its_logs(tmp_path):
    path = str(tmp_path / "store.sqlite")
    with open_store(path) as store:
        some = [take(store, 1), take(store, 2, 25 * MINUTE_MS)]
        with store.writing() as conn:
            for words in (
                *BACK_TO_0011,
                "INSERT INTO classes SELECT 2, plan, start_utc_us, started_by, collected_utc_us "
                "FROM classes",
                "UPDATE runs SET class_id = id",
                "UPDATE alembic_version SET version_num = '0011'",
            ):
                conn.execute(text(words))
    with open_store(path) as store:
        assert filed(store) == [some]
