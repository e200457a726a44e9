"""A relay in which a tap hands over: from the plan to the report."""

import io
from types import SimpleNamespace

import classes
import pytest
from classes import Press
from sqlalchemy import select
from store_places import import_bundle

from handbell.analysis.summary import exercises_of, never_tapped, people_of
from handbell.base.errors import BoxError, PlanError
from handbell.boxes.classes.send import Load, _check
from handbell.cli.main import main
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.coach.numbers.numbers import numbers_of
from handbell.compile import build
from handbell.compile.timetable import box_rows
from handbell.paper.cards import cards_of
from handbell.plan.files import parse_plan
from handbell.report.one_class.model import class_report
from handbell.store import open_store
from handbell.store.bundles.bundle import export_bundle
from handbell.store.database import tables
from handbell.store.exports.schema import Wanted
from handbell.store.logs.recount import AGREED
from handbell.store.logs.timelines import decode
from handbell.store.results import settle
from handbell.store.results.amend import Change, amend_efforts
from handbell.store.results.efforts import efforts
from handbell.store.results.places import places_of
from handbell.store.results.queries import load_class
from handbell.store.results.totals import totals_of
from handbell_core import journal as j
from handbell_core import timeline as t

LEAD_IN_S = 10


def plan(sizes=(3,), exercises=("Sled push", "Burpee"), minutes=2, more="", own=""):
    bibs = iter(range(1, 100))
    groups = "".join(
        f'[[group]]\nname = "G{n}"\nbibs = {[next(bibs) for _ in range(size)]}\n'
        for n, size in enumerate(sizes, 1)
    )
    tasks = "".join(f'[[block.exercise]]\nname = "{e}"\nreps = 10\n' for e in exercises)
    head = f'title = "T"\nbuttons = 2\n{groups}'
    return f'{head}[[block]]\nformat = "hand-over"\nminutes = {minutes}\n{more}\n{tasks}{own}'


def in_full(own="", key="hand_over = true", exercise=""):
    return (
        'title = "T"\n[[group]]\nname = "G"\nbibs = [1, 2, 3, 4, 5]\n'
        f'[[block]]\n{key}\nrounds = 2\nrest_s = 30\n[[block.exercise]]\nname = "Run"\n'
        f"work_s = 60\n{exercise}\n{own}"
    )


def built(text):
    return build(parse_plan(text.encode()))


def legs_of(data, count, window=1):
    """Return (bib, what) of the first legs of a timeline's window."""
    reader = t.Reader(io.BytesIO(data))
    span = t.Span()
    for n in range(reader.head.spans):
        if reader.span(n, span).kind == t.WINDOW and span.window == window:
            legs = (reader.leg(span, leg) for leg in range(count))
            return [(bib, reader.text(name).decode()) for bib, name in legs]
    raise AssertionError(window)


# The plan


def test_people_take_turns_and_everybody_gets_to_everything():
    """By hand: two people, two exercises, four legs; then all begins anew."""
    (box,) = built(plan((2,))).timelines
    assert legs_of(box.data, 6) == [
        (1, "10 Sled push"),
        (2, "10 Burpee"),
        (1, "10 Burpee"),
        (2, "10 Sled push"),
        (1, "10 Sled push"),
        (2, "10 Burpee"),
    ]
    (box,) = built(plan((3,))).timelines
    pairs = legs_of(box.data, 6)
    assert len(set(pairs)) == 6 and [bib for bib, _ in pairs] == [1, 2, 3, 1, 2, 3]


def test_who_is_out_has_no_leg():
    own = "[[block.exercise.scaled]]\nbibs = [2]\nout = true\n"
    (box,) = built(in_full(own)).timelines
    assert [bib for bib, _ in legs_of(box.data, 5)] == [1, 3, 4, 5, 1]
    everybody = "[[block.exercise.scaled]]\nbibs = [1, 2, 3, 4, 5]\nout = true\n"
    (box,) = built(in_full(everybody)).timelines
    assert all(window.tap == t.TAP_NONE for window in decode(box.data).windows.values())


def test_an_older_box_is_told_of_a_window_that_counts_nothing():
    """Version 2.0 knows no flag 8: it passes over it, and over tasks that no span has."""
    (box,) = built(plan()).timelines
    assert box.data[4] == 0x12
    reader = t.Reader(io.BytesIO(box.data))
    spans = [reader.span(n, t.Span()) for n in range(reader.head.spans)]
    (window,) = [s for s in spans if s.kind == t.WINDOW]
    assert (window.tap, window.bib, window.owns) == (t.TAP_NONE, [0] * 4, 0)
    plain = built(plan(more='name = "L"').replace("hand-over", "as-many-rounds")).timelines[0]
    assert plain.data[4] == 1


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        (plan().replace('[[group]]\nname = "G1"\nbibs = [1, 2, 3]', ""), "run by groups"),
        (plan(more="rounds = 2"), "as often as they can"),
        (in_full(key="hand_over = true\nrelay = true"), "by the clock or by taps"),
        (in_full(exercise="reps = 10"), "write a leg's reps in a"),
        (in_full(exercise='tap = "tally"'), "a tap ends a leg"),
        (
            in_full("[[block.exercise.scaled]]\nbibs = [1]\nreps = 5\n"),
            "write out = true for who has none",
        ),
        (plan((25,)), "write two groups, of 24 at most"),
        (
            plan().replace("buttons = 2", 'buttons = 2\nlayout = "rotation"'),
            "a relay is for lanes",
        ),
    ],
)
def test_what_it_can_not_have_is_told(text, fault):
    with pytest.raises(PlanError) as caught:
        parse_plan(text.encode())
    assert fault in str(caught.value)


def test_each_round_begins_one_leg_further_on():
    """Else those first in the order would always have the leg more."""
    (box,) = built(in_full()).timelines
    first, second = (legs_of(box.data, 5, window) for window in (1, 2))
    assert [bib for bib, _ in first] == [1, 2, 3, 4, 5]
    assert [bib for bib, _ in second] == [2, 3, 4, 5, 1]
    parts = '[[block.exercise.part]]\nname = "A"\n[[block.exercise.part]]\nname = "B"\n'
    (box,) = built(in_full(parts).replace("2, 3, 4, 5]", "2]")).timelines
    assert [legs_of(box.data, 4, window) for window in (1, 2)] == [
        [(1, "A"), (2, "B"), (1, "B"), (2, "A")],
        [(2, "B"), (1, "B"), (2, "A"), (1, "A")],
    ]


def test_where_all_leave_it_out_nothing_is_asked():
    everybody = "[[block.exercise.scaled]]\nbibs = [1, 2, 3, 4, 5]\nout = true\n"
    made = built(in_full(everybody))
    row = next(row for row in box_rows(made.timelines[0].data) if row.kind == "window")
    assert row.what == "Rest"
    (lane, wall) = cards_of(made, load_library())
    assert "legs" not in f"{lane} {wall}".replace("'legs", "")


def test_a_leg_too_long_for_the_box_is_told():
    (said,) = [
        w for w in built(plan((2,), ("Burpee over a tall wooden box",))).warnings if "cut" in w
    ]
    assert "exercise 1" in said and "10 Burpee over a tall wooden box" in said


def test_no_way_to_tap_is_advised():
    assert not [
        w
        for w in coach_remarks(built(in_full().replace('"Run"', '"Row"')).schedule, load_library())
        if "tap" in w
    ]


def test_a_swap_leaves_its_name(tmp_path):
    file = tmp_path / "p.toml"
    file.write_text(plan((2,), ("Burpee", "Squat")))
    assert main(["swap", str(file), "Burpee", "Squat thrust", "--write"]) == 0
    assert "List of" not in file.read_text() and "Squat thrust" in file.read_text()


def test_a_person_works_for_a_share_of_the_time():
    """By hand: 2 min for two people is 1:00 of work each, for three 0:40."""
    shares = numbers_of(built(plan((2, 3))), load_library()).shares
    assert [(s.who, s.work_ms) for s in shares] == [(("G1",), 60_000), (("G2",), 40_000)]
    assert {e.unit for s in shares for e in s.exercises if e.name == "Relay"} == {"legs"}


def test_what_is_read_of_it():
    made = built(plan())
    (row,) = [row for row in made.timetable if row.kind == "window"]
    assert row.words == "Relay, a tap hands over"
    row = next(row for row in box_rows(made.timelines[0].data) if row.kind == "window")
    assert (row.what, row.bibs) == ("Relay, a tap hands over", (1, 2, 3))
    lane, wall = cards_of(made, load_library())
    assert lane.blocks[0].exercises[0].name == "2:00, one at a time, as many legs as you can"
    assert wall.tap == "One at a time; tap to hand over."
    assert not [w for w in made.warnings if "button" in w or "asked to tap" in w]


def test_a_box_that_does_not_know_it_is_named_before_anything_is_sent():
    (box,) = built(plan()).timelines
    old = SimpleNamespace(ours=True, label="Box 3", who=SimpleNamespace(plans=2, buttons=4))
    load = Load(1, "", box.digest.hex(), box.data, 2)
    with pytest.raises(BoxError, match="counts no relay by taps"):
        _check(old, load)
    old.who.plans = t.VERSION
    _check(old, load)


# After class


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as opened:
        yield opened


def at(*seconds, slot=0):
    """Presses at seconds from the window's begin."""
    return [Press(round((LEAD_IN_S + s) * 1000), slot) for s in seconds]


def kept(store, presses, text=None, **how):
    data = built(text or plan()).timelines[0].data
    store.put_timeline(data)
    run = classes.play(data, presses, **how)
    store.ingest(run.journal, classes.BOX_IDS[0], (classes.START_UTC_MS + 900_000) * 1000)
    return load_class(store, 1)


def test_each_person_has_their_legs(store):
    """By hand: 5 legs for three people are 2, 2 and 1."""
    record = kept(store, at(20, 45, 60, 80, 100))
    assert [(e.bib, e.reps, e.tap) for e in efforts(record)] == [
        (1, 2, t.TAP_LEG),
        (2, 2, t.TAP_LEG),
        (3, 1, t.TAP_LEG),
    ]
    assert {r.standing for r in record.results} == {AGREED}
    assert all(r.flags & j.RES_LEGS for r in record.results)


def test_legs_are_timed_from_the_hand_over_before(store):
    """By hand: bib 1 took 20 s, then 80.5 - 60 s; bib 2 took 45 - 20 s, then 100 - 80.5 s."""
    record = kept(store, at(20, 45, 60, 80.5, 100))
    assert len(efforts(record)) == 3
    r = tables.results
    wanted = select(r.c.bib, r.c.best_gap_ms, r.c.worst_gap_ms).order_by(r.c.bib)
    with store.reading() as conn:
        found = [tuple(row) for row in conn.execute(wanted)]
    assert found == [(1, 20_000, 20_500), (2, 19_500, 25_000), (3, None, None)]  # one has no spread


def test_take_backs_and_taps_too_soon_are_recounted_the_same(store):
    presses = [*at(20, 21, 45, slot=1), Press(60_000, 0, 2_000), *at(60, 62.5, 90)]
    record = kept(store, sorted(presses, key=lambda p: p.at_ms))
    assert {r.standing for r in record.results} == {AGREED}
    assert [e.reps for e in efforts(record)] == [1, 1, 1]


def test_legs_are_no_reps(store):
    record = kept(store, at(20, 45, 60))
    done = efforts(record)
    people = people_of(done, exercises_of(done, lambda _: False), {}, lambda _: False)
    assert [p.reps for p in people] == [0, 0, 0]
    assert totals_of(store, 1) == (1, 0)
    report = class_report(store, 1)
    (table,) = report.exercises
    assert table.asked == "legs of a relay; a tap handed over"
    assert [[cell.reps for cell in row.cells] for row in table.rows] == [[1], [1], [1]]


def test_legs_fade_and_go_nowhere(store):
    """How many legs one has is up to the others, too: 4, 3, 1 and 0 are no fade."""
    text = in_full("", "hand_over = true").replace("rounds = 2\nrest_s = 30", "rounds = 3")
    taps = [*at(5, 9, 13, 17, 21, 25, 29), *at(65, 69, 73), *at(130)]
    record = kept(store, taps, text)
    people = exercises_of(efforts(record), lambda _: False)[0].series
    assert {series.fade.reason for series in people} == {"legs go in turn"}
    assert all(effort.rate is None for series in people for effort in series.efforts)


def test_nobody_is_absent_whose_turn_did_not_come(store):
    """Any button hands over: that bib 3 had no leg says nothing of who was there."""
    record = kept(store, at(20, 45))
    done = efforts(record)
    people = people_of(done, exercises_of(done, lambda _: False), {}, lambda _: False)
    assert never_tapped(done, people) == []
    assert [e.reps for e in done] == [1, 1, 0]


def test_a_correction_beyond_the_fourth_place_goes_into_another_store(store, tmp_path):
    kept(store, at(20, 40, 60), plan((6,)))
    record = load_class(store, 1)
    amend_efforts(store, record, places_of(record, 6), Change(settle.REPS, "2", "Coach", "saw", 5))
    assert [e.reps for e in efforts(load_class(store, 1))] == [1, 1, 1, 0, 0, 2]
    export_bundle(store, tmp_path / "class.zip", Wanted())
    with open_store(str(tmp_path / "other.sqlite")) as other:
        import_bundle(other, tmp_path / "class.zip")
        assert [e.reps for e in efforts(load_class(other, 1))] == [1, 1, 1, 0, 0, 2]


def test_a_class_cut_off_has_the_legs_that_were_done(store):
    record = kept(store, at(20, 45, 60), stop_ms=80_000)
    assert {e.outcome.name for e in efforts(record)} == {"STOPPED"}


def test_a_starter_says_how_many_boxes_so_many_people_need(tmp_path, capsys):
    words = ["new", str(tmp_path / "n.toml"), "hand-over", "--people", "60", "--boxes", "2"]
    assert main(words) == 2
    assert "24 people at a box at most. Say --boxes 3" in capsys.readouterr().err
