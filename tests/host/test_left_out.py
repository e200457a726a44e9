"""Who leaves an exercise out: rest on the box, on paper, in the numbers and in the report."""

import pytest
from made_own_tasks import CLASS, GROUPS, class_of, exercise, rotation
from made_plans import toml

from handbell.base.errors import PlanError
from handbell.cli.main import main
from handbell.coach.fit.targets import owers_of
from handbell.coach.library.files import read_entries
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import Library
from handbell.coach.numbers.numbers import numbers_of
from handbell.compile import build
from handbell.compile.timetable import box_rows
from handbell.paper.cards import cards_of
from handbell.plan.files import parse_plan
from handbell.plan.remarks import remarks
from handbell.report.words import asked_of
from handbell.store.logs.timelines import decode
from handbell_core import timeline as t

LIBRARY = Library(*read_entries(None))
OUT = {"bibs": [1], "out": True, "note": "Wrist"}
PUSH = exercise("Push-up", [OUT], reps=12, tap="finish")
ROW = exercise("Row", reps=10)


def test_its_box_says_rest_asks_for_nothing_and_takes_no_taps():
    built = class_of([PUSH, ROW])
    mine = decode(built.timelines[0].data).windows[1].of(1)
    assert (mine.name, mine.ask, mine.tap, mine.goal) == ("Rest", t.ASK_NONE, t.TAP_NONE, 0)
    assert decode(built.timelines[0].data).windows[1].of(2).goal == 12
    told = [row for row in box_rows(built.timelines[0].data) if row.kind == "window"]
    assert [(o.bibs, o.what) for o in told[0].own] == [((1,), "Rest")]


def test_paper_says_it_in_a_word():
    walls = [
        card
        for card in cards_of(rotation([PUSH, ROW, exercise("Squat")]), LIBRARY)
        if card.name == "Push-up"
    ]
    assert {(o.bibs, o.what) for card in walls for o in card.own} == {((1,), "Rest")}


def test_in_the_numbers_it_is_rest():
    shares = {who: s for s in numbers_of(class_of([PUSH, ROW]), LIBRARY).shares for who in s.who}
    mine, theirs = shares["New (bib 1)"], shares["New (bib 2)"]
    assert (mine.work_ms, theirs.work_ms) == (60_000, 120_000)
    assert mine.rest_ms - theirs.rest_ms == 60_000
    assert [e.name for e in mine.exercises] == ["Row"] and mine.asked_reps == 20


def test_nothing_is_said_of_it_and_nobody_owes_for_it():
    built = class_of([PUSH, ROW])
    assert not [r for r in coach_remarks(built.schedule, LIBRARY) if "Rest" in r]
    assert [own for own, _ in owers_of(built.plan.blocks[0].exercises[0], None)] == [None]
    assert asked_of(t.ASK_NONE, t.TAP_NONE, []) == "rest, left out"


@pytest.mark.parametrize("more", [{"name": "Plank"}, {"reps": 3}, {"hold": True}, {"tap": "none"}])
def test_who_leaves_it_out_is_asked_for_nothing_else(more):
    plan = {**CLASS, "group": GROUPS, "block": [{"exercise": [exercise("Row", [OUT | more])]}]}
    with pytest.raises(PlanError) as told:
        parse_plan(toml(plan).encode())
    assert "scaled 1, out: who leaves it out is asked for nothing" in str(told.value)


def test_where_others_tally_somebody_may_leave_it_out():
    tallied = exercise("Push-up", [OUT], tap="tally", rest_s=20)
    window = decode(class_of([tallied, ROW]).timelines[0].data).windows[1]
    assert (window.of(1).tap, window.of(2).tap) == (t.TAP_NONE, t.TAP_TALLY)


def test_who_leaves_everything_out_has_no_numbers_but_rest(tmp_path, capsys):
    plan = tmp_path / "own.toml"
    everything = [exercise("Push-up", [OUT]), exercise("Row", [OUT])]
    plan.write_text(toml({**CLASS, "block": [{"exercise": everything}]}), encoding="utf-8")
    assert main(["check", str(plan), "--numbers"]) == 0
    lines = capsys.readouterr().out.splitlines()
    at = lines.index("For New (bib 1):")
    assert lines[at + 1].split() == ["Work,", "rest", "none,", "1:00"]
    assert not lines[at + 2].startswith("  Density")


EVERYBODY = (1, 2, 3, 4, 5, 6, 7)


def plan_of(exercises, **block):
    table = {"rest_s": 15, **block, "exercise": exercises}
    return parse_plan(toml({"title": "T", "group": GROUPS, "block": [table]}).encode())


def empty(plan):
    return [r for r in remarks(plan) if "nobody" in r]


@pytest.mark.parametrize(
    ("bibs", "told"),
    [
        ([1], '"Sled push" out, and in its leg there nobody of "'),
        (EVERYBODY[:2], "in their legs there nobody of "),
        (EVERYBODY[::2], "in their legs there nobody of their groups works"),
    ],
)
def test_a_leg_of_a_relay_in_which_nobody_works_is_told(bibs, told):
    sled = exercise("Sled push", [{"bibs": list(bibs), "out": True}])
    (remark,) = empty(plan_of([sled, exercise("Squat")], relay=True, rounds=2))
    assert remark.startswith("block 1, exercise 1: bib") and told in remark
    assert empty(plan_of([sled, exercise("Squat")], rounds=2)) == [], "others work there"


@pytest.mark.parametrize("relay", [False, True])
def test_what_everybody_leaves_out_is_told_and_gets_no_advice(relay):
    sled = exercise("Sled push", [{"bibs": list(EVERYBODY), "out": True}])
    plan = plan_of([sled, exercise("Squat")], relay=relay)
    (remark,) = empty(plan)
    assert remark.startswith('block 1, exercise 1: everybody leaves "Sled push" out, so nobody ')
    notes = coach_remarks(build(plan).schedule, LIBRARY)
    assert not [n for n in notes if "Sled push" in n and "hard to tap" in n]


def test_who_is_there_still_gets_advice_on_taps():
    sled = exercise("Sled push", [{"bibs": list(EVERYBODY[1:]), "out": True}])
    notes = coach_remarks(build(plan_of([sled])).schedule, LIBRARY)
    assert [n for n in notes if "Sled push" in n and "hard to tap" in n]
