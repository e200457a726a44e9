"""A box without a clock part that lost power in a class and was started again by hand."""

import itertools
import json
import random
import sqlite3
from contextlib import closing

import classes
import pytest
from older import BACK_TO_0009
from sqlalchemy import select

from handbell.analysis.past.history import past_classes
from handbell.base.errors import UnreadJournalError
from handbell.cli.main import main
from handbell.store import open_store
from handbell.store.classes import filing, joining
from handbell.store.classes.newest import newest
from handbell.store.database import tables
from handbell.store.results.efforts import efforts
from handbell.store.results.queries import load_class
from handbell_core import journal as j

pytest_plugins = ["store_fixtures"]

MINUTE_MS = 60_000
DAY_MS = 24 * 60 * MINUTE_MS
START_MS = classes.START_UTC_MS
EVENING_MS = START_MS + 60 * MINUTE_MS
BLOCKS = ((classes.Piece("Ring rows", 300), classes.Piece("Sit-ups", 300)),)


def take(
    store, box, start_ms, cut_ms=0, presses=4, collected_ms=EVENING_MS, plan=b"a", bib=0, **how
):
    """Take in a box's log; with ``cut_ms`` it lost power so long after its start."""
    data = classes.timeline(BLOCKS, (bib or box,), box, rounds=3, plan=plan, rate=False)
    store.put_timeline(data)
    store.put_plan(plan, "Evening")
    at_ms = [15_000 + how.get("boot", 1) * 900 + n * 7_000 for n in range(presses)]
    run = classes.play(data, [classes.Press(ms) for ms in at_ms], start_ms, **how)
    kept = sum(ms <= cut_ms for ms in run.times_ms) if cut_ms else len(run.records)
    return store.ingest(b"".join(run.records[:kept]), classes.BOX_IDS[box - 1], collected_ms * 1000)


def cut_and_restarted(store):
    """Three boxes, of which the second lost power and was started again; return its second log."""
    for box in (1, 2, 3):
        take(store, box, START_MS, cut_ms=100_000 if box == 2 else 0)
    return take(store, 2, None, presses=3, boot=2)


def reported(place, capsys):
    """Return the number of the class that a report without one is of."""
    capsys.readouterr()
    assert main(["report", "--json", "--store", place]) == 0
    return json.loads(capsys.readouterr().out)["data"]["report"]["class_id"]


def doubts(store):
    with store.reading() as conn:
        some = conn.scalars(select(tables.runs.c.id)).all()
    return joining.doubts(store, some)


def classes_of(store):
    with store.reading() as conn:
        return conn.scalars(select(tables.runs.c.class_id).order_by(tables.runs.c.id)).all()


def follow(said, place):
    """Type the command that a sentence ends with."""
    assert main([*said.rsplit("handbell ", 1)[1].split(), "--store", place]) == 0


def test_a_box_that_was_cut_off_and_started_again_is_said_with_what_to_type(store, place, capsys):
    lost = cut_and_restarted(store)
    assert classes_of(store) == [1, 1, 1, 2] and lost.class_id == 2
    (said,) = doubts(store)
    assert said == (
        "A log of box 0002 (station 2) tells no time. That box lost power in class 1 and was "
        "started again by hand later: this is most likely the rest of class 1. It is class 2 until "
        "you say which it is: handbell class 2 --join 1"
    )
    follow(said, place)
    assert classes_of(store) == [1, 1, 1, 1] and doubts(store) == []
    capsys.readouterr()
    assert main(["report", "--store", place]) == 0
    out = capsys.readouterr().out
    assert "class 1" in out and "3 boxes" in out and "no box had a clock" not in out
    assert "played by 2 boxes" not in out


def test_one_that_was_cut_off_twice_comes_to_its_class_log_by_log(store, place):
    for box in (1, 2):
        take(store, box, START_MS, cut_ms=100_000 if box == 2 else 0)
    take(store, 2, None, cut_ms=60_000, boot=2)
    take(store, 2, None, presses=3, boot=3)
    assert classes_of(store) == [1, 1, 2, 3]
    for said in doubts(store):
        assert "most likely the rest of class 1" in said
        follow(said, place)
    assert classes_of(store) == [1, 1, 1, 1]


def test_a_class_before_the_one_in_which_a_box_was_cut_off_does_not_get_its_rest(store):
    for box in (1, 3):
        take(store, box, START_MS - 40 * MINUTE_MS)
    lost = cut_and_restarted(store)
    assert lost.class_id == 3
    assert "most likely the rest of class 2" in " ".join(doubts(store))


def later_class(store, boxes=(1, 3), start_ms=START_MS + 40 * MINUTE_MS):
    for box in boxes:
        take(store, box, start_ms)


def test_a_later_class_that_lacks_the_box_is_named_beside_the_one_that_cut_it_off(store, place):
    cut_and_restarted(store)
    later_class(store)
    assert classes_of(store) == [1, 1, 1, 2, 3, 3]
    (said,) = doubts(store)
    assert "it may be of class 1 or class 3. It is class 2 until you say which" in said
    assert main(["class", "2", "--join", "3", "--store", place]) == 0
    assert classes_of(store) == [1, 1, 1, 3, 3, 3] and doubts(store) == []


@pytest.mark.parametrize("boot", [2, 3])
def test_a_box_started_again_and_in_the_next_class_by_hand_too(store, place, capsys, boot):
    """Its rest goes to the class that cut it off, what it played next does not."""
    rest = cut_and_restarted(store)
    later_class(store)
    next_ = take(store, 2, None, presses=5, boot=boot, collected_ms=EVENING_MS)
    told = {s.split("It is class ")[1][0]: s for s in doubts(store)}
    now = classes_of(store)
    assert now[3] == rest.class_id and now[6] not in (1, now[3], now[4])
    assert f"may be of class 1 or class {now[4]}" in told[str(now[3])]
    assert f"may be of class {now[4]}, or of one that is not" in told[str(now[6])]
    assert not any("most likely" in s for s in told.values())
    assert main(["class", str(now[3]), "--join", str(now[4]), "--store", place]) == 0
    capsys.readouterr()
    assert main(["class", str(now[6]), "--join", "1", "--store", place]) == 2
    err = capsys.readouterr().err
    assert f"played class {now[4]} before" in err and "can't be of class 1" in err
    assert classes_of(store)[6] == next_.class_id


def test_a_class_before_one_with_an_earlier_log_of_the_box_is_not_offered(store):
    later_class(store, (1, 3), START_MS)
    later_class(store, (1, 2, 3))
    lost = take(store, 2, None, presses=5, boot=2, collected_ms=START_MS + 75 * MINUTE_MS)
    assert classes_of(store) == [1, 1, 2, 2, 2, 3] and lost.class_id == 3
    assert doubts(store) == []


def test_what_a_box_told_nothing_of_when_it_was_collected_is_no_rest_of_that_class(store):
    """Collected an hour and a half after the class began, which lasts half an hour."""
    at_ms = START_MS + 90 * MINUTE_MS
    for box in (1, 2, 3):
        take(store, box, START_MS, cut_ms=100_000 if box == 2 else 0, collected_ms=at_ms)
    later_class(store, (1, 3), START_MS + 400 * MINUTE_MS)
    take(store, 2, None, presses=3, boot=2, collected_ms=START_MS + 440 * MINUTE_MS)
    assert classes_of(store) == [1, 1, 1, 2, 2, 2] and doubts(store) == []


def test_two_logs_of_a_box_with_clocks_are_one_class_only_within_its_length(store, place, capsys):
    for at_ms, cut_ms in ((0, 100_000), (25 * MINUTE_MS, 200_000), (10_000 * MINUTE_MS, 0)):
        boot = 1 + (at_ms > 0) + (at_ms > 9_000 * MINUTE_MS)
        when_ms = EVENING_MS + at_ms
        take(store, 1, START_MS + at_ms, cut_ms=cut_ms, boot=boot, collected_ms=when_ms)
    assert classes_of(store) == [1, 2, 3]
    assert main(["class", "3", "--join", "1", "--store", place]) == 2
    assert "so they are two" in capsys.readouterr().err
    assert main(["class", "2", "--join", "1", "--store", place]) == 0
    assert len(set(classes_of(store))) == 2


@pytest.mark.parametrize("how", ["whole", "earlier"])
def test_two_logs_of_a_box_that_are_not_one_after_the_other_can_not_be_of_one_class(
    store, place, capsys, how
):
    take(store, 1, START_MS)
    take(store, 2, START_MS, cut_ms=0 if how == "whole" else 100_000, boot=5)
    lost = take(store, 2, None, presses=3, boot=7 if how == "whole" else 4)
    assert lost.class_id == 2
    assert not [said for said in doubts(store) if "most likely" in said]
    assert main(["class", "2", "--join", "1", "--store", place]) == 2
    assert "so they are two" in capsys.readouterr().err


def test_a_lone_log_without_a_clock_does_not_hide_the_class_it_may_be_of(store, place, capsys):
    cut_and_restarted(store)
    assert reported(place, capsys) == 1
    for words in (["report", "2"], ["class", "2"], ["report", "--list"]):
        assert main([*words, "--store", place]) == 0
        assert "(collected; no box had a clock)" in capsys.readouterr().out
    later = EVENING_MS + 30 * 60 * MINUTE_MS
    lost = take(store, 3, None, presses=2, collected_ms=later, boot=9)
    assert reported(place, capsys) == lost.class_id, "a day later it is no part of that class"


def test_a_class_that_is_passed_over_is_named_by_report_and_advise(store, place, capsys):
    cut_and_restarted(store)
    for command in ("report", "advise"):
        capsys.readouterr()
        assert main([command, "--store", place]) == 0
        assert capsys.readouterr().out.startswith(
            "Class 2 is newer, but it is one log without a clock that may be of class 1: "
            f"handbell {command} 2 shows it, handbell class 2 --join 1 puts it there.\n"
        )
        assert main([command, "--json", "--store", place]) == 0
        (over,) = json.loads(capsys.readouterr().out)["data"]["passed_over"]
        assert (over["class_id"], over["of"]) == (2, [1])
        assert main([command, "1", "--store", place]) == 0
        assert "is newer" not in capsys.readouterr().out


def report_of(place, capsys, number=1):
    capsys.readouterr()
    assert main(["report", str(number), "--json", "--store", place]) == 0
    return json.loads(capsys.readouterr().out)["data"]["report"]


def test_whose_taps_were_all_set_aside_is_not_said_to_have_never_tapped(file, capsys):
    with open_store(file) as store:
        for box in (1, 2, 3):
            take(store, box, START_MS, presses=0 if box == 3 else 4)
        for bib in (2, 3):
            aside = ["--bib", str(bib), "--invalid", "--why", "a partner pressed"]
            assert main(["amend", "1", *aside, "--store", file]) == 0
        headline = report_of(file, capsys)["headline"]
        assert "All that Bib 2 tapped was set aside." in headline
        assert [words for words in headline if "never pressed" in words] == [
            "Bib 3 never pressed: absent? handbell bibs 1 --absent 3."
        ]
        (past,) = past_classes(store)
        assert [who.there for who in past.people] == [True, True, False]


def test_after_a_join_no_time_is_unknown_that_the_other_log_tells_of(file, capsys):
    with open_store(file) as store:
        cut_and_restarted(store)
        (odd,) = [words for words in report_of(file, capsys)["odd"] if "no end" in words]
        assert odd.endswith("of the class nothing is known.")
        assert main(["class", "2", "--join", "1", "--store", file]) == 0
        (odd,) = [words for words in report_of(file, capsys)["odd"] if "no end" in words]
        assert odd.endswith("of the class its other log tells what is known.")


@pytest.mark.parametrize("which", [0, 1])
def test_a_correction_of_a_window_that_two_logs_share_is_taken_back_in_both(file, capsys, which):
    with open_store(file) as store:
        cut_and_restarted(store)
        assert main(["class", "2", "--join", "1", "--store", file]) == 0

        def reps():
            (one,) = [e for e in efforts(load_class(store, 1)) if (e.bib, e.window) == (2, 1)]
            return one.reps

        counted = reps()
        words = ["amend", "1", "--bib", "2", "--window", "1", "--reps", "9", "--why", "I counted"]
        assert main([*words, "--store", file]) == 0
        both = load_class(store, 1).amendments
        assert (len(both), reps()) == (2, 9)
        undo = ["amend", "1", "--undo", both[which].digest[:8]]
        for _ in range(2):  # again does no harm
            assert main([*undo, "--store", file]) == 0
            assert reps() == counted != 9
        assert all(a.undone_utc_us for a in load_class(store, 1).amendments)


def test_the_newest_class_is_the_one_that_is_reported_or_it_is_asked_which(store, place, capsys):
    """A word that would change another class than the one that was just shown is refused."""
    cut_and_restarted(store)
    number, (over,) = newest(store)
    assert (number, over.class_id, over.of) == (1, 2, (1,))
    for words in (
        ["class", "newest"],
        ["class", "newest", "--join", "1"],
        ["class", "newest", "--apart", "0001"],
        ["class", "newest", "--delete", "--yes"],
        ["bibs", "newest", "1=Eve"],
        ["amend", "newest"],
        ["amend", "newest", "--bib", "1", "--window", "1", "--reps", "3", "--why", "saw it"],
        ["amend", "newest", "--undo", "0000"],
        ["roster", "--wear", "newest"],
    ):
        capsys.readouterr()
        assert main([*words, "--store", place]) == 2, words
        assert capsys.readouterr().err == (
            "The newest class is class 1 or class 2, which is one log without a clock that may be "
            "of class 1. Give the number that you mean; handbell class 2 --join 1 makes those two "
            f"one, handbell class 2 --apart {over.log[:8]} says that they are two.\n"
        )
    assert classes_of(store) == [1, 1, 1, 2] and load_class(store, 1).wearers == {}
    assert len(past_classes(store)) == 1
    for words in (["--group"], ["--athlete", "1"]):
        assert main(["report", *words, "--store", place]) == 0
        assert capsys.readouterr().out.startswith("Class 2 is newer, but it is one log")
    assert main(["class", "2", "--join", "1", "--store", place]) == 0
    assert main(["amend", "newest", "--store", place]) == 0
    assert capsys.readouterr().out.splitlines()[-2].startswith("Class 1: ")


@pytest.mark.parametrize("boxes", [(1, 3), (1, 2, 3)])
def test_a_restart_in_the_first_of_two_classes_hides_the_second_nowhere(file, capsys, boxes):
    """Of another plan, so that the lone log is not of it; all is collected in the evening."""
    with open_store(file) as store:
        cut_and_restarted(store)
        for box in boxes:
            how = {"boot": 3} if box == 2 else {}
            take(store, box, START_MS + 40 * MINUTE_MS, plan=b"b", presses=6, **how)
        number, passed = newest(store)
        assert number == 3 and len(past_classes(store)) >= 2
        assert [(one.class_id, one.of) for one in passed] == [(2, (1,))] * (boxes == (1, 3))
    capsys.readouterr()
    for words in (
        ["report"],
        ["advise"],
        ["report", "--group"],
        ["report", "--athlete", "1"],
        ["history"],
        ["history", "1"],
    ):
        assert main([*words, "--store", file]) == 0
        said = capsys.readouterr().out.startswith(
            "Class 2 is newer than class 3, but it is one log without a clock that may be of class "
            f"1: handbell {words[0].replace('history', 'report')} 2 shows it, "
            "handbell class 2 --join 1 puts it there.\n"
        )
        assert said == bool(passed)
    if passed:
        assert main(["bibs", "newest", "1=Eve", "--store", file]) == 2
        assert capsys.readouterr().err.startswith(
            "The newest class is class 3 or class 2, which is one log without a clock that may be "
            "of class 1. Give the number"
        )


def test_a_lone_log_is_said_to_be_a_class_of_its_own_and_is_doubted_no_more(file, capsys):
    with open_store(file) as store:
        cut_and_restarted(store)
        _, (over,) = newest(store)
        assert main(["bibs", "2", "2=Eve", "--store", file]) == 0
        capsys.readouterr()
        assert main(["class", "2", "--apart", over.log[:8], "--store", file]) == 0
        out = capsys.readouterr().out
        assert out.startswith("Class 2: ") and "went along" not in out
        assert classes_of(store) == [1, 1, 1, 2] and load_class(store, 2).wearers[2].name == "Eve"
        assert newest(store) == (2, ()) and doubts(store) == []
        take(store, 4, START_MS)
        assert classes_of(store) == [1, 1, 1, 2, 1]
        assert main(["class", "1", "--apart", "0002", "0003", "0001", "0004", "--store", file]) == 2
        assert main(["bibs", "2", "2=", "--store", file]) == 0
        assert main(["class", "2", "--join", "1", "--store", file]) == 0, "it may be said anew"
        assert set(classes_of(store)) == {1} and newest(store) == (1, ())


def test_advise_says_which_class_it_is_and_when_it_was(store, place, capsys):
    of_another_plan(store)
    assert main(["advise", "--store", place]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Class 2: Evening, ") and "(collected; no box had a clock)" in out


def test_two_classes_of_other_boxes_are_not_joined_when_one_was_over_by_then(store, place, capsys):
    for box, at_ms in ((1, 0), (2, 25 * MINUTE_MS), (3, 7 * 24 * 60 * MINUTE_MS)):
        take(store, box, START_MS + at_ms, collected_ms=EVENING_MS + at_ms)
    assert classes_of(store) == [1, 2, 3]
    assert main(["class", "3", "--join", "1", "--store", place]) == 2
    err = capsys.readouterr().err
    assert "Class 1 was over before the last box of class 3 began, 10080 min after" in err
    assert main(["class", "2", "--join", "1", "--store", place]) == 0
    assert len(set(classes_of(store))) == 2


def of_another_plan(store):
    """Two boxes with a clock, then in the evening a third one of another plan, without."""
    for box in (1, 2):
        take(store, box, START_MS)
    at_ms = START_MS + 11 * 60 * MINUTE_MS
    return take(store, 3, None, collected_ms=at_ms, plan=b"b", bib=1)


def test_a_lone_log_of_another_plan_is_the_newest_class_for_every_command(store, place, capsys):
    lost = of_another_plan(store)
    assert lost.class_id == 2 and doubts(store) == []
    assert reported(place, capsys) == 2
    date = "Class 2: Evening, "
    for words in (
        ["bibs", "newest", "1=Eve"],
        ["amend", "newest", "--bib", "1", "--window", "1", "--reps", "3", "--why", "saw it"],
        ["amend", "newest"],
    ):
        assert main([*words, "--store", place]) == 0
        assert capsys.readouterr().out.startswith(date), words
    assert load_class(store, 1).wearers == {} and load_class(store, 1).amendments == []
    assert main(["roster", "--wear", "newest", "--store", place]) == 0
    assert capsys.readouterr().out.startswith(date)
    assert main(["class", "newest", "--delete", "--yes", "--store", place]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Class 2 is gone") and "Evening, " in out and " 20" in out
    assert classes_of(store) == [1, 1]


def test_what_was_counted_before_and_after_the_cut_is_both_in_the_class(store, place):
    cut_and_restarted(store)
    follow(doubts(store)[0], place)
    told = [r for r in load_class(store, 1).results if r.bib == 2 and r.flags & j.RES_ASKED]
    assert {r.run for r in told} == {2, 4}
    assert sum(max(r.reps, 0) for r in told) == 7


def test_a_log_after_one_that_may_be_the_rest_is_not_put_into_a_class_as_if_that_were_known(store):
    """Its rest may stand for either of two classes, so the next log's place is open, too."""
    cut_and_restarted(store)
    later_class(store, (1, 3))
    later_class(store, (1, 3), START_MS + 80 * MINUTE_MS)
    at_ms = START_MS + 110 * MINUTE_MS
    next_ = take(store, 2, None, presses=5, boot=2, collected_ms=at_ms)
    now = classes_of(store)
    assert now.count(next_.class_id) == 1
    (said,) = [s for s in doubts(store) if f"It is class {next_.class_id} until" in s]
    assert f"may be of class {now[4]} or class {now[6]}" in said


def without_any_clock(store, boxes=(1, 2, 3), cut=(2,), **how):
    for box in boxes:
        take(store, box, None, cut_ms=100_000 if box in cut else 0, **how)


def test_where_no_box_has_a_clock_the_rest_goes_to_the_only_class_and_it_is_said(store, place):
    without_any_clock(store)
    rest = take(store, 2, None, presses=3, boot=2)
    assert classes_of(store) == [1, 1, 1, 1]
    (said,) = doubts(store)
    assert said.startswith("No box tells the time of class 1. Box 0002 (station 2) lost power")
    follow(said, place)
    assert classes_of(store)[:3] == [1, 1, 1] and classes_of(store)[3] == rest.class_id + 1
    assert doubts(store) == []


def test_with_no_clock_the_rest_is_found_beside_two_classes_too(store):
    """The other boxes tell of two, and box 2's logs are two only if one is a rest."""
    without_any_clock(store)
    take(store, 2, None, presses=3, boot=2)
    without_any_clock(store, cut=(), boot=3, presses=5)
    now = classes_of(store)
    assert now[:4] == [1] * 4 and len(set(now[4:])) == 1 and now[4] != 1
    assert sum("its later log" in said for said in doubts(store)) == 1


def test_with_no_clock_what_may_be_a_rest_or_the_next_class_is_left_alone_and_said(store, place):
    without_any_clock(store)
    later = take(store, 2, None, presses=3, boot=2)
    without_any_clock(store, (1, 3), (), boot=3, presses=5)
    now = classes_of(store)
    assert now[0] == now[2] and now[4] == now[5] and len(set(now)) == 4
    (said,) = [s for s in doubts(store) if f"It is class {now[3]} until" in s]
    assert f"may be of class {now[0]} or class {now[4]}. It is" in said
    assert main(["class", str(now[1]), "--join", str(now[0]), "--store", place]) == 0
    now = classes_of(store)
    assert now.count(now[3]) == 1, "it is as open as before"
    (said,) = (s for s in doubts(store) if "A log of box" in s)
    assert f"may be of class {now[0]} or class {now[4]}. It is class {now[3]} until" in said
    assert later.run_id == 4


@pytest.mark.parametrize("boxes", [(2,), (1, 2, 3)])
def test_with_no_clock_all_cut_and_started_again_may_be_one_class_and_it_is_said(
    store, place, boxes
):
    without_any_clock(store, boxes, boxes)
    without_any_clock(store, boxes, (), boot=2, presses=3)
    assert len(set(classes_of(store))) == 2
    (said,) = doubts(store)
    assert "class 2 may be the rest of class 1" in said
    follow(said, place)
    assert set(classes_of(store)) == {1} and doubts(store) == []


def test_with_no_clock_a_box_that_comes_later_joins_what_a_coach_joined(store, place):
    without_any_clock(store)
    take(store, 2, None, presses=3, boot=2)
    take(store, 5, None, presses=2)
    assert len(set(classes_of(store))) == 1


def test_the_second_of_two_logs_without_a_clock_may_be_the_rest_of_the_first(store):
    """A box that never had a clock, cut off and started again; two classes with one lack it."""
    later_class(store, (1, 3), START_MS)
    later_class(store, (1, 3))
    take(store, 2, None, cut_ms=100_000, collected_ms=EVENING_MS + 20 * MINUTE_MS)
    take(store, 2, None, presses=3, boot=2, collected_ms=EVENING_MS + 20 * MINUTE_MS)
    now = classes_of(store)
    assert now.count(now[4]) == now.count(now[5]) == 1
    assert all("may be of class 1 or class 2" in said for said in doubts(store))


def test_beside_a_class_without_any_clock_no_log_without_one_is_put_into_another_for_certain(store):
    """Boxes 1 and 2 lost their clocks after the class; box 3 never had one and played once."""
    for box in (1, 2):
        take(store, box, START_MS)
    alone = take(store, 3, None, presses=2)
    assert classes_of(store) == [1, 1, 1] and alone.class_id == 1
    for box in (1, 2):
        take(store, box, None, boot=2)
    now = classes_of(store)
    assert now[3] == now[4] != now[0] and now.count(now[2]) == 1
    said, of_others = doubts(store)
    assert "of box 0003 (station 3) tells no time: it may be of class 1" in said
    assert of_others.startswith(f"No box tells the time of class {now[3]}: its logs were put")


def test_where_no_box_has_a_clock_what_only_the_order_tells_is_not_taken_for_certain(file):
    """Three classes, and each box missed another one: it looks like two."""
    with open_store(file) as store:
        for box in (1, 2, 3):
            for n in range(2):
                take(store, box, None, presses=2 + n)
        assert len(set(classes_of(store))) == 2
        said = doubts(store)
        assert [words.split(":")[0] for words in said] == [
            "No box tells the time of class 1",
            "No box tells the time of class 2",
        ]
        assert said[0].endswith("if one is of another class: handbell class 1 --apart BOX")
        lone = take(store, 1, None, collected_ms=EVENING_MS + DAY_MS)
        assert joining.doubts(store, [lone.run_id]) == [], "of one box there is nothing to say"


def damaged(store, box, start_ms, record=None, **how):
    """Take in a box's log that ran to its end and has one damaged record, else in the middle."""
    data = classes.timeline(BLOCKS, (box,), box, rounds=3, plan=b"a", rate=False)
    store.put_timeline(data)
    store.put_plan(b"a", "Evening")
    log = bytearray(classes.play(data, [classes.Press(20_000)], start_ms, **how).journal)
    records = len(log) // j.RECORD_SIZE
    log[(records // 2 if record is None else records + record) * j.RECORD_SIZE + 9] ^= 0x55
    return store.ingest(bytes(log), classes.BOX_IDS[box - 1], EVENING_MS * 1000)


def test_a_damaged_record_in_a_log_with_an_end_is_no_cut(store, place, capsys):
    take(store, 1, START_MS)
    assert damaged(store, 2, START_MS).class_id == 1
    take(store, 3, START_MS)
    later = take(store, 2, None, presses=3, boot=2)
    assert later.class_id == 2
    assert not [s for s in doubts(store) if "lost power" in s]
    assert main(["class", "2", "--join", "1", "--store", place]) != 0
    assert "so they are two" in capsys.readouterr().err


@pytest.mark.parametrize("start_ms", [START_MS, None])
def test_of_a_log_whose_end_is_damaged_it_is_not_said_that_the_box_lost_power(file, start_ms):
    with open_store(file) as store:
        take(store, 1, start_ms)
        damaged(store, 2, start_ms, record=-1)
        take(store, 3, start_ms)
        take(store, 2, None, presses=3, boot=2)
        (said,) = doubts(store)
        assert "lost power, or the end of its log is damaged," in said


def test_with_no_clock_the_log_after_one_with_a_damaged_record_is_no_rest(store):
    take(store, 1, None)
    damaged(store, 2, None)
    take(store, 3, None)
    take(store, 2, None, presses=3, boot=2)
    _, first, _, later = classes_of(store)
    assert first != later
    assert not [s for s in doubts(store) if "lost power" in s]


def unread_part(store, place, capsys, start_ms=None, **how):
    """Take in a log of box 2 whose first record is damaged, and say that it is of class 1."""
    data = classes.timeline(BLOCKS, (2,), 2, rounds=3, plan=b"a", rate=False)
    log = bytearray(classes.play(data, [classes.Press(20_000)], start_ms, **how).journal)
    log[4] ^= 0x55
    digest = classes.digest_of(bytes(log))
    try:
        store.ingest(bytes(log), classes.BOX_IDS[1], EVENING_MS * 1000)
        assert main(["unread", "--back", digest[:8], "--store", place]) == 0
    except UnreadJournalError:
        pass
    capsys.readouterr()
    return main(["unread", digest[:8], "--of", "1", "--store", place])


def test_an_unread_log_that_is_the_rest_may_be_said_to_be_of_its_class(store, place, capsys):
    for box in (1, 2, 3):
        take(store, box, START_MS, cut_ms=100_000 if box == 2 else 0)
    assert unread_part(store, place, capsys, boot=2) == 0
    assert classes_of(store) == [1, 1, 1, 1]


@pytest.mark.parametrize(("cut_ms", "boot"), [(0, 2), (100_000, 1)])
def test_an_unread_log_of_a_box_that_was_not_cut_before_it_is_refused(
    store, place, capsys, cut_ms, boot
):
    for box in (1, 2, 3):
        take(store, box, START_MS, cut_ms=cut_ms if box == 2 else 0)
    assert unread_part(store, place, capsys, boot=boot) != 0
    assert "Class 1 has a log of box 0002, station 2" in capsys.readouterr().err


@pytest.fixture
def file(tmp_path):
    return str(tmp_path / "store.sqlite")


def as_filed_before(place, of, version="0007"):
    """Make of a store one of an earlier version, its logs in the classes that its rules gave."""
    with closing(sqlite3.connect(place)) as db, db:
        (known,) = db.execute("SELECT max(id) FROM classes").fetchone()
        for number in range(known + 1, max(of) + 1):
            columns = "plan, start_utc_us, started_by, collected_utc_us"
            db.execute(
                f"INSERT INTO classes (id, {columns}) SELECT ?, {columns} FROM classes LIMIT 1",
                (number,),
            )
        for run, number in enumerate(of, 1):
            db.execute("UPDATE runs SET class_id = ? WHERE id = ?", (number, run))
        db.execute("DELETE FROM classes WHERE id NOT IN (SELECT class_id FROM runs)")
        if version == tables.VERSION:
            return
        for words in BACK_TO_0009:
            db.execute(words)
        db.execute("UPDATE alembic_version SET version_num = ?", (version,))


def no_clock_and_one_cut(store):
    for box in (1, 2, 3):
        take(store, box, None, cut_ms=100_000 if box == 2 else 0)
    take(store, 2, None, presses=3, boot=2)


def test_an_older_store_is_filed_by_the_rules_of_now_and_what_went_is_said(file, capsys):
    with open_store(file) as store:
        no_clock_and_one_cut(store)
        assert classes_of(store) == [1, 1, 1, 1]
    as_filed_before(file, [3, 1, 4, 2])
    capsys.readouterr()
    assert main(["store", "check", "--store", file]) == 0
    out, err = capsys.readouterr()
    assert f"{file} is sound. 4 classes, 4 logs" in out, "those that it has now"
    assert "an older handbell (its version 0007, here 0016), and was left as it is." in out
    assert "The next command that opens it brings it up to date, keeps a copy beside it" in out
    assert err == "" and "brought up" not in out and "copy.sqlite" not in out
    assert main(["class", "newest", "--store", file, "--json"]) == 0
    out, err = capsys.readouterr()
    assert json.loads(out)["data"]["class_id"] in (1, 2, 3, 4)
    assert err.count("in class 1 now, by the rules") == 3
    assert err.startswith("The store was brought up to date, and logs in it filed anew. The store")
    assert "store-before-0016-" in err and ".sqlite.\n" in err
    with open_store(file) as store:
        assert classes_of(store) == [1, 1, 1, 1]
        (said,) = doubts(store)
        assert said.startswith("No box tells the time of class 1. Box 0002")
        taken = take(store, 4, None, collected_ms=EVENING_MS + MINUTE_MS)
        assert (taken.differ, classes_of(store)) == ([], [1] * 5)
    assert main(["class", "newest", "--store", file]) == 0
    assert capsys.readouterr().err == "", "it is said once"


def test_what_two_evenings_have_of_one_class_by_older_rules_is_parted(file):
    with open_store(file) as store:
        for n in range(2):
            take(store, 1, START_MS + n * DAY_MS, collected_ms=EVENING_MS + n * DAY_MS)
        take(store, 2, START_MS + DAY_MS, collected_ms=EVENING_MS + DAY_MS)
    as_filed_before(file, [1, 1, 2])
    with open_store(file) as store:
        assert classes_of(store) == [1, 2, 2]
        with store.reading() as conn:
            starts = conn.scalars(select(tables.classes.c.start_utc_us)).all()
        assert starts == [START_MS * 1000, (START_MS + DAY_MS) * 1000]


@pytest.mark.parametrize("seed", range(2))
def test_an_older_store_comes_to_the_classes_that_a_new_one_would_have(file, seed):
    """Random evenings of three boxes, their logs scattered over classes, then brought up to date."""
    rng = random.Random(seed)
    with open_store(file) as store:
        for n, box in itertools.product(range(2), (1, 2, 3)):
            start_ms = rng.choice([None, START_MS + n * 40 * MINUTE_MS])
            cut_ms = rng.choice([0, 0, 100_000])
            take(store, box, start_ms, cut_ms, presses=2 + rng.randrange(9), boot=1 + n)
        rules = classes_of(store)
    as_filed_before(file, [rng.choice(rules) for _ in rules])
    with open_store(file) as store:
        now = classes_of(store)
        assert len(set(zip(rules, now, strict=True))) == len(set(rules)) == len(set(now))
        with store.writing() as conn:
            assert joining.file_all(conn) == []
            assert set(conn.scalars(select(tables.classes.c.id))) == set(now)


@pytest.mark.parametrize("of", [[3, 1, 4, 2], [1, 1, 2, 2], [1, 2, 1, 2]])
def test_no_class_is_named_that_the_store_has_otherwise(file, of):
    """As after an import from a store of other rules: nothing is said of what is not so here."""
    with open_store(file) as store:
        no_clock_and_one_cut(store)
    as_filed_before(file, of, tables.VERSION)
    with open_store(file) as store:
        assert doubts(store) == []


def test_logs_that_only_a_third_held_together_are_parted_when_it_goes(store, place):
    """Each was collected within half an hour of the one between, not of the other."""
    for n in range(3):
        take(store, n + 1, None, collected_ms=EVENING_MS + n * 20 * MINUTE_MS)
    assert classes_of(store) == [1, 1, 1]
    with store.writing() as conn:
        filing.take_out(conn, 2)
    assert len(set(classes_of(store))) == 2
