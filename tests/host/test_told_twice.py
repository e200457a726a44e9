"""A box that lost power and was started again: two logs tell of one window."""

import json

import classes
import pytest
from classes import Piece, Press
from sqlalchemy import select, text

from handbell.cli.main import main
from handbell.report import class_report
from handbell.report.page import page
from handbell.store import open_store
from handbell.store.classes.filing import join_classes
from handbell.store.database import tables
from handbell.store.results.efforts import Outcome, efforts
from handbell.store.results.group import group_rows
from handbell.store.results.queries import load_class
from handbell_core import timeline as t

BOX = classes.BOX_IDS[1]
COLLECTED_US = (classes.START_UTC_MS + 60 * 60_000) * 1000
BLOCKS = ((Piece("Ring rows", 60), Piece("Sit-ups", 60)),)
PLANK = ((Piece("Front plank", 60, t.ASK_HOLD, t.TAP_DROP),),)
CUT_MS = 50_000


@pytest.fixture
def place(tmp_path):
    return str(tmp_path / "store.sqlite")


@pytest.fixture
def store(place):
    with open_store(place) as opened:
        yield opened


def restarted(store, first_s, second_s, blocks=BLOCKS, again=BOX, start_ms=None):
    """A box cut off in its first window, and a log of a later start; seconds are of presses."""
    data = classes.timeline(blocks, (2,), 2, rounds=2, rate=False)
    other = classes.timeline(blocks, (1,), 1, rounds=2, rate=False)
    for one in (data, other):
        store.put_timeline(one)
    store.ingest(classes.play(other, [Press(15_000)]).journal, classes.BOX_IDS[0], COLLECTED_US)
    run = classes.play(data, [Press(s * 1000) for s in first_s])
    kept = sum(ms <= CUT_MS for ms in run.times_ms)
    store.ingest(b"".join(run.records[:kept]), BOX, COLLECTED_US)
    more = classes.play(data, [Press(s * 1000) for s in second_s], start_ms, boot=2)
    class_id = store.ingest(more.journal, again, COLLECTED_US).class_id
    if class_id != 1:
        join_classes(store, class_id, 1)
    return load_class(store, 1)


def first_of_bib_2(record):
    return next(e for e in efforts(record) if e.bib == 2)


def odd(store, record):
    return [s for s in class_report(store, record.row.id).odd if "two logs" in s or "boxes" in s]


def test_a_window_counted_before_the_cut_is_not_lost_to_one_that_nobody_touched(store):
    record = restarted(store, (15, 20, 25, 30), (75, 80))
    first = first_of_bib_2(record)
    assert (first.outcome, first.reps) == (Outcome.CUT, 4)
    second = [e for e in efforts(record) if e.bib == 2][1]
    assert (second.outcome, second.reps) == (Outcome.DONE, 2)


@pytest.mark.parametrize(("again_s", "reps"), [((15, 20, 25), 4), ((15, 20, 25, 30, 35), 5)])
def test_of_two_counts_the_greater_is_taken_never_the_sum(store, again_s, reps):
    assert first_of_bib_2(restarted(store, (15, 20, 25, 30), again_s)).reps == reps


def test_of_two_equal_counts_the_one_of_a_whole_window_is_taken(store):
    first = first_of_bib_2(restarted(store, (15, 20), (15, 20)))
    assert (first.outcome, first.reps) == (Outcome.DONE, 2)


def test_a_position_let_go_is_not_lost_to_one_that_nobody_touched(store):
    first = first_of_bib_2(restarted(store, (30,), (), PLANK))
    assert first.drop_ms == 30_000 and first.made is None


def test_months_count_what_the_class_counts(store):
    restarted(store, (15, 20, 25, 30), (75, 80))
    (one,) = group_rows(store)
    (mine,) = [p for p in one.people if p.bib == 2]
    assert {e.name: e.reps for e in mine.exercises} == {"Ring rows": 4, "Sit-ups": 2}


def test_the_report_says_which_of_two_counts_is_taken(store, place, capsys):
    record = restarted(store, (15, 20, 25, 30), (15, 20, 25, 75))
    (said,) = odd(store, record)
    assert said == (
        "Station 2: two logs of box 0002 tell of the same windows. The fuller count is taken, "
        "never the sum: Bib 2, Ring rows, round 1: 4 or more, not 3. If you know better: "
        "handbell amend 1 --bib 2"
    )
    assert "4 or more, not 3" in page(class_report(store, 1))
    assert main(["report", "1", "--json", "--store", place]) == 0
    assert said in json.loads(capsys.readouterr().out)["data"]["report"]["odd"]
    amend = ["amend", "1", "--bib", "2", "--window", "1", "--reps", "7", "--why", "both"]
    assert main([*amend, "--store", place]) == 0
    again = load_class(store, 1)
    assert first_of_bib_2(again).reps == 7 and odd(store, again) == []


def test_a_spare_s_count_that_is_not_taken_is_said_too(store):
    start_ms = classes.START_UTC_MS
    record = restarted(store, (15, 20, 25, 30), (52, 55, 58), BLOCKS, classes.BOX_IDS[6], start_ms)
    (said,) = [s for s in odd(store, record) if "tell of the same windows" in s]
    assert said.startswith("Station 2: boxes 0002 and 0007 tell of the same windows")
    assert "4 or more, not 3" in said


def test_a_spare_that_nobody_touched_in_a_window_is_not_spoken_of(store):
    start_ms = classes.START_UTC_MS
    record = restarted(store, (15, 20), (75, 80), BLOCKS, classes.BOX_IDS[6], start_ms)
    assert not [s for s in odd(store, record) if "tell of the same windows" in s]


def test_many_windows_are_told_in_one_sentence(store):
    names = "Ring rows", "Sit-ups", "Squat", "Lunge"
    blocks = (tuple(Piece(name, 6) for name in names),)
    many = tuple(11 + n * 2 for n in range(19))
    fewer = tuple(12 + n * 6 for n in range(6))
    record = restarted(store, many, fewer, blocks)
    (said,) = odd(store, record)
    assert said.count("not 1") == 3 and "; 4 more. If" in said


def test_a_store_of_before_is_added_up_again(store, place):
    restarted(store, (15, 20, 25, 30), (75, 80))
    with store.reading() as conn:
        sums = conn.execute(select(tables.sums)).all()
    with store.writing() as conn:
        conn.execute(text("UPDATE sums SET reps = 0"))
        conn.execute(text("UPDATE alembic_version SET version_num = '0006'"))
    with open_store(place) as again, again.reading() as conn:
        assert conn.execute(select(tables.sums)).all() == sums
