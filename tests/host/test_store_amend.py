"""Correcting afterwards: what counts changes, what was stays known, and undoing brings it back."""

import classes
import pytest
from sqlalchemy import select

from handbell.base.errors import UsageError
from handbell.cli.main import main
from handbell.store.database import tables
from handbell.store.people.wearers import set_wearers
from handbell.store.results import settle
from handbell.store.results.amend import Change, amend_efforts, amend_name, undo
from handbell.store.results.efforts import efforts
from handbell.store.results.places import Among, one_window, places_of
from handbell.store.results.queries import load_class
from handbell_core import journal as j
from handbell_core import timeline as t

pytest_plugins = ["store_fixtures"]

COLLECTED_US = (classes.START_UTC_MS + 3_600_000) * 1000
BLOCKS = (
    (
        classes.Piece("Ring rows", 30, t.ASK_TARGET, goal=3),
        classes.Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP),
        classes.Piece("Sit-ups", 30),
    ),
)
AT = [11_000, 12_000, 13_000, 50_000, 71_000, 72_500]  # three rows, a drop, two sit-ups


@pytest.fixture
def taken(store):
    """One box, bibs 7 and 8 of which 7 presses, one round: 3 rows made, held 10 s, 2 sit-ups."""
    data = classes.timeline(BLOCKS, (7, 8), rounds=1)
    store.put_timeline(data)
    store.ingest(
        classes.play(data, map(classes.Press, AT)).journal, classes.BOX_IDS[0], COLLECTED_US
    )
    return store


def change(what, value, why="saw it", at=5):
    return Change(what, value, "Coach", why, at)


def amend(store, what, value, bib=7, at=5, **where):
    record = load_class(store, 1)
    places = places_of(record, bib, Among(**where))
    if what in (settle.REPS, settle.HELD):
        places = one_window(record, places)
    return amend_efforts(store, record, places, change(what, value, at=at))


def result(store, window, slot=0):
    (found,) = [r for r in load_class(store, 1).results if (r.window, r.slot) == (window, slot)]
    return found


def everything(store):
    with store.reading() as conn:
        return {
            name: conn.execute(select(table).order_by(*table.primary_key)).all()
            for name, table in tables.metadata.tables.items()
        }


def test_a_count_is_amended_kept_beside_the_old_one_and_undone(taken):
    before = everything(taken)
    (made,) = amend(taken, settle.REPS, "5", exercise="sit-ups")
    now = result(taken, 3)
    assert (now.reps, now.standing, now.box_reps) == (5, "amended", 2)
    assert (now.amended.was, now.amended.who, now.amended.why) == ("2", "Coach", "saw it")
    (undone,) = undo(taken, load_class(taken, 1), made.digest[:8], "Deputy", 9)
    assert undone.undone_utc_us == 9
    after = everything(taken)
    assert [a.undone_by for a in after.pop("amendments")] == ["Deputy"]
    before.pop("amendments")
    assert after == before


def test_counting_again_keeps_what_was_amended(taken):
    amend(taken, settle.REPS, "2", exercise="Ring rows")
    amend(taken, settle.NOTHING, "yes", exercise="Sit-ups")
    before = everything(taken)
    with taken.writing() as conn:
        settle.settle_all(conn)
    assert everything(taken) == before
    assert result(taken, 1).reps == 2
    assert result(taken, 1).made_ms == -1, "two of three were not made at any time"
    assert result(taken, 3).standing == "invalid"


def test_the_same_again_changes_nothing_and_another_value_stands_on_top(taken):
    amend(taken, settle.REPS, "5", exercise="Sit-ups")
    before = everything(taken)
    (again,) = amend(taken, settle.REPS, "5", at=99, exercise="Sit-ups")
    assert everything(taken) == before
    (six,) = amend(taken, settle.REPS, "6", at=100, exercise="Sit-ups")
    assert (result(taken, 3).reps, six.was) == (6, "5")
    undo(taken, load_class(taken, 1), six.digest, "Coach", 101)
    assert result(taken, 3).reps == 5
    undo(taken, load_class(taken, 1), again.digest, "Coach", 102)
    assert (result(taken, 3).reps, result(taken, 3).standing) == (2, "agreed")
    before = everything(taken)
    undo(taken, load_class(taken, 1), again.digest, "Coach", 103)
    assert everything(taken) == before


def test_of_a_count_and_that_it_tells_nothing_the_last_word_holds(taken):
    amend(taken, settle.NOTHING, "yes", window=1, at=5)
    amend(taken, settle.REPS, "9", window=1, at=6)
    assert (result(taken, 1).standing, result(taken, 1).reps) == ("amended", 9)
    (again,) = amend(taken, settle.NOTHING, "yes", window=1, at=7)[-1:]
    assert result(taken, 1).standing == "invalid" and again.at_utc_us == 7
    amend(taken, settle.BIB, "9", window=1, at=8)
    assert (result(taken, 1).standing, result(taken, 1).bib) == ("invalid", 9)
    amend(taken, settle.REPS, "4", bib=9, window=1, at=9)
    record = load_class(taken, 1)
    undo(taken, record, record.amendments[-1].digest, "Coach", 10)
    assert (result(taken, 1).standing, result(taken, 1).bib) == ("invalid", 9)


@pytest.mark.parametrize(("said", "held_ds"), [("125", 125), ("end", j.HELD_TO_END)])
def test_a_held_time_is_amended(taken, said, held_ds):
    amend(taken, settle.HELD, said, exercise="Front plank")
    now = result(taken, 2)
    assert (now.held_ds, now.amended.was) == (held_ds, "100")


def test_a_raised_count_makes_a_target_at_a_time_nobody_knows(taken):
    amend(taken, settle.REPS, "3", bib=8, exercise="Ring rows")
    now = result(taken, 1, slot=1)
    assert (now.reps, now.made_ms) == (3, -1)


def test_taps_go_to_another_bib_and_back(taken):
    moved = amend(taken, settle.BIB, "9")
    record = load_class(taken, 1)
    assert {r.bib for r in record.results} == {8, 9}
    assert {w.bibs[:2] for w in record.runs[0].timeline.windows.values()} == {(9, 8)}
    with taken.reading() as conn:
        assert set(conn.scalars(select(tables.taps.c.bib))) == {9}
    for one in moved:
        undo(taken, load_class(taken, 1), one.digest, "Coach", 9)
    assert {r.bib for r in load_class(taken, 1).results} == {7, 8}


@pytest.fixture
def rated(store):
    """One box, bibs 1 and 2, both of whom press and answer how hard it was."""
    ((box, data, run),) = classes.make_class(boxes=1, blocks=BLOCKS, rounds=2)
    store.put_timeline(data)
    store.ingest(run.journal, box, COLLECTED_US)
    return store


def test_an_answer_goes_with_all_that_a_bib_did_and_comes_back(rated):
    before = load_class(rated, 1).ratings
    assert set(before) == {1, 2}
    moved = amend(rated, settle.BIB, "9", bib=1, exercise="Ring rows")
    moved += amend(rated, settle.BIB, "9", bib=1, exercise="Sit-ups")
    assert load_class(rated, 1).ratings == before, "the plank was still bib 1's"
    moved += amend(rated, settle.BIB, "9", bib=1, exercise="Front plank")
    assert load_class(rated, 1).ratings == {9: before[1], 2: before[2]}
    with rated.writing() as conn:
        settle.settle_all(conn)
    assert load_class(rated, 1).ratings == {9: before[1], 2: before[2]}
    undo(rated, load_class(rated, 1), moved[0].digest, "Coach", 9)
    assert load_class(rated, 1).ratings == before


def test_two_who_stood_at_each_others_button_answered_for_themselves(rated):
    before, record = load_class(rated, 1).ratings, load_class(rated, 1)
    for bib, to in ((1, "2"), (2, "1")):
        amend_efforts(rated, record, places_of(record, bib), change(settle.BIB, to))
    assert load_class(rated, 1).ratings == {1: before[2], 2: before[1]}


def first_reps(store):
    """The reps of each bib in the round of ring rows, by bib; each row counts."""
    found = {}
    for r in load_class(store, 1).results:
        if r.window == 1:
            found.setdefault(r.bib, []).append(r.reps)
    return found


@pytest.mark.parametrize("order", [((7, 8), (8, 7)), ((8, 7), (7, 8))])
def test_two_bibs_that_changed_places_are_put_right_by_two_commands(taken, place, capsys, order):
    before = first_reps(taken)
    assert before == {7: [3], 8: [0]}
    at = ["--exercise", "Ring rows", "--why", "changed places", "--store", place]
    (bib, to), (bib_2, to_2) = order
    assert main(["amend", "newest", "--bib", str(bib), "--to-bib", str(to), *at]) == 0
    said = capsys.readouterr().out
    assert f"Bib {to} now has 2 rows in Ring rows, round 1: its own and that of bib {bib}" in said
    assert f"--bib {to} --window 1 --to-bib BIB" in said
    count = ["amend", "newest", "--bib", str(to), "--reps", "1", *at]
    assert main(count) == 2, "it is not clear which row is meant"
    assert f"Bib {to} has 2 rows in window 1" in capsys.readouterr().err
    assert main(["amend", "newest", "--bib", str(bib_2), "--to-bib", str(to_2), *at]) == 0
    said = capsys.readouterr().out
    assert "rows in" not in said
    assert first_reps(taken) == {8: [3], 7: [0]}
    record = load_class(taken, 1)
    assert [sorted(w.bibs[:2]) for w in record.runs[0].timeline.windows.values()] == [[7, 8]] * 3
    for one in record.amendments:
        undo(taken, load_class(taken, 1), one.digest, "Coach", 9)
    assert first_reps(taken) == before


def test_undoing_half_of_a_change_of_places_is_warned_about(taken, place, capsys):
    at = ["--exercise", "Ring rows", "--why", "changed places", "--store", place]
    for bib, to in (("7", "8"), ("8", "7")):
        assert main(["amend", "newest", "--bib", bib, "--to-bib", to, *at]) == 0
    first = capsys.readouterr().out.splitlines()[1][:8]
    assert main(["amend", "newest", "--undo", first, "--store", place]) == 0
    assert "Bib 7 now has 2 rows in Ring rows" in capsys.readouterr().out


def test_what_was_given_to_a_bib_is_given_on_by_the_bib_of_the_plan(taken):
    amend(taken, settle.BIB, "9", exercise="Ring rows")
    record = load_class(taken, 1)
    with pytest.raises(UsageError, match=r"given to it\. Name the bib of the plan: --bib 7"):
        places_of(record, 9, as_planned=True)
    places = places_of(record, 7, Among("Ring rows"), as_planned=True)
    amend_efforts(taken, record, places, change(settle.BIB, "10", at=6))
    assert first_reps(taken) == {10: [3], 8: [0]}


def test_what_was_said_of_another_bib_at_a_button_is_not_taken_for_the_last_word(taken):
    at = {"exercise": "Sit-ups"}
    swapped = amend(taken, settle.BIB, "8", bib=7, at=1, **at)
    (record, where) = load_class(taken, 1), ("Sit-ups",)
    other = places_of(record, 8, Among(*where), as_planned=True)
    swapped += amend_efforts(taken, record, other, change(settle.BIB, "7", at=2))
    amend(taken, settle.REPS, "9", bib=8, at=3, **at)
    for one in swapped:
        undo(taken, load_class(taken, 1), one.digest, "Coach", 4)
    amend(taken, settle.REPS, "5", bib=7, at=5, **at)
    for bib, to, when in ((7, "8", 6), (8, "7", 7)):
        record = load_class(taken, 1)
        places = places_of(record, bib, Among(*where), as_planned=True)
        amend_efforts(taken, record, places, change(settle.BIB, to, at=when))
    amend(taken, settle.REPS, "9", bib=8, at=8, **at)
    assert (result(taken, 3).bib, result(taken, 3).reps) == (8, 9)


def test_a_swap_that_an_earlier_version_undid_by_halves_can_be_put_right(taken):
    """It went by the bib that is there now, so the second command took the first one back."""
    (first,) = amend(taken, settle.BIB, "8", exercise="Sit-ups")
    row = {**vars(first), "digest": "0" * 24, "bib": 8, "value": "7", "was": "8", "at_utc_us": 6}
    with taken.writing() as conn:
        conn.execute(tables.amendments.insert().values(row))
        settle.settle(conn, first.run)
    assert result(taken, 3).bib == 7
    record = load_class(taken, 1)
    places = places_of(record, 7, Among("Sit-ups"), as_planned=True)
    amend_efforts(taken, record, places, change(settle.BIB, "8", at=7))
    assert result(taken, 3).bib == 8


def test_an_answer_of_ones_own_stands_before_one_that_is_given(rated):
    before = load_class(rated, 1).ratings
    amend(rated, settle.BIB, "2", bib=1)
    assert load_class(rated, 1).ratings == {2: before[2]}


def test_windows_of_which_a_log_tells_nothing_go_to_another_bib_too(store):
    data = classes.timeline(BLOCKS, (7,), rounds=1)
    store.put_timeline(data)
    cut = classes.cut(classes.play(data, map(classes.Press, AT)), 30_000)
    store.ingest(cut, classes.BOX_IDS[0], COLLECTED_US)
    moved = amend(store, settle.BIB, "9")
    assert sorted((a.window, a.was, a.value) for a in moved) == [(n, "7", "9") for n in (1, 2, 3)]
    record = load_class(store, 1)
    assert [(r.window, r.bib) for r in record.results] == [(1, 9)], "nothing is made up"
    assert {(e.bib, e.outcome.value) for e in efforts(record)} == {(9, "done"), (9, "no record")}
    amend(store, settle.REPS, "4", bib=9, exercise="Sit-ups", at=6)
    assert (result(store, 3).bib, result(store, 3).reps) == (9, 4)
    for one in moved:
        undo(store, load_class(store, 1), one.digest, "Coach", 9)
    assert {r.bib for r in load_class(store, 1).results} == {7}


def test_two_who_changed_places_where_one_of_the_boxes_broke_off(store, place, capsys):
    """Bibs 1 and 2 at the first box, 3 and 4 at the second; 1 and 3 changed places."""
    for n, (box, data, run) in enumerate(classes.make_class(boxes=2, blocks=BLOCKS, rounds=2)):
        store.put_timeline(data)
        journal = classes.cut(run, 60_000) if n == 0 else run.journal
        store.ingest(journal, box, COLLECTED_US)
    at = ["--why", "changed places", "--store", place]
    assert main(["amend", "1", "--bib", "3", "--to-bib", "1", *at]) == 0
    capsys.readouterr()
    assert main(["amend", "1", "--bib", "1", "--window", "5", "--reps", "4", *at]) == 2
    assert "Bib 1 has 2 rows in window 5" in capsys.readouterr().err
    assert main(["amend", "1", "--bib", "1", "--to-bib", "3", *at]) == 0
    assert "rows in" not in capsys.readouterr().out
    each = {}
    for e in efforts(load_class(store, 1)):
        each.setdefault(e.bib, []).append(e.outcome.value)
    assert [len(some) for some in each.values()] == [6] * 4
    assert set(each[1]) == {"done"} and "no record" in each[3]


def test_a_window_the_log_tells_nothing_of_takes_a_count(store):
    data = classes.timeline(BLOCKS, (7,), rounds=1)
    store.put_timeline(data)
    cut = classes.cut(classes.play(data, map(classes.Press, AT)), 30_000)
    store.ingest(cut, classes.BOX_IDS[0], COLLECTED_US)
    amend(store, settle.REPS, "4", exercise="Sit-ups")
    now = result(store, 3)
    assert (now.reps, now.box_reps, now.standing, now.amended.was) == (4, None, "amended", "")


def test_a_name_is_amended_and_what_was_said_comes_back(taken):
    set_wearers(taken, 1, {7: "Mina"})
    (made,) = amend_name(taken, load_class(taken, 1), 7, change(settle.NAME, " Otto\u202e "))
    record = load_class(taken, 1)
    assert (record.wearers[7].name, record.amended_names[7].was) == ("Otto", "Mina")
    with pytest.raises(UsageError, match=r"was amended\. Amend it again, or undo"):
        set_wearers(taken, 1, {7: "Ada"})
    set_wearers(taken, 1, {7: "Otto"}, [7])
    assert load_class(taken, 1).wearers[7].absent
    undo(taken, load_class(taken, 1), made.digest, "Coach", 9)
    worn = load_class(taken, 1).wearers[7]
    assert (worn.name, worn.absent) == ("Mina", True)


def test_a_name_of_nobody_goes_away_when_undone(taken):
    (made,) = amend_name(taken, load_class(taken, 1), 8, change(settle.NAME, "Otto"))
    undo(taken, load_class(taken, 1), made.digest, "Coach", 9)
    assert load_class(taken, 1).wearers == {}


@pytest.mark.parametrize(
    ("what", "value", "where", "why"),
    [
        (settle.REPS, "5", {}, r"has 3 such windows: Ring rows round 1 \(window 1\)"),
        (settle.REPS, "5", {"exercise": "Burpee"}, "It has Ring rows round 1, Front plank"),
        (settle.REPS, "5", {"exercise": "Front plank"}, "is a position to hold"),
        (settle.HELD, "5", {"exercise": "Sit-ups"}, "is no position to hold"),
        (settle.HELD, "301", {"exercise": "Front plank"}, "lasts 30 s"),
        (settle.REPS, "-1", {"exercise": "Sit-ups"}, "no count of reps"),
        (settle.BIB, "0", {}, "0 is no bib"),
        (settle.REPS, "5", {"bib": 3}, r"Bib 3 has no window .* bibs of that class are 7, 8"),
    ],
)
def test_what_can_not_be_is_refused(taken, what, value, where, why):
    before = everything(taken)
    with pytest.raises(UsageError, match=why):
        amend(taken, what, value, **where)
    assert everything(taken) == before


def test_the_command_says_what_it_did_lists_and_undoes(taken, place, capsys):
    where = ["--store", place]
    at = ["amend", "newest", "--bib", "7", "--exercise", "Sit-ups"]
    assert main([*at, "--reps", "4", *where]) == 2
    assert "An amendment needs a reason" in capsys.readouterr().err
    assert main([*at, "--reps", "4", "--why", "saw [b]two[/b] more", *where]) == 0
    said = capsys.readouterr().out
    assert "bib 7, Sit-ups, round 1: 4 reps, was 2: saw [b]two[/b] more" in said
    assert main(["amend", "newest", *where]) == 0
    assert capsys.readouterr().out == said
    assert main(["amend", "newest", "--undo", said.splitlines()[1][:8], *where]) == 0
    assert "(undone " in capsys.readouterr().out
    assert result(taken, 3).reps == 2
    assert main(["amend", "newest", "--undo", "zz", *where]) == 2
