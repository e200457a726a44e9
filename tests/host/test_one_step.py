"""``fit --easier`` and ``--harder``: a whole plan one step on, and nothing else in its file."""

import json
import re

import pytest
from drawn_plans import drawn
from made_plans import EXAMPLES

from handbell.cli.main import main
from handbell.coach.fit.one_step import one_step
from handbell.coach.library.entry import IMPACTS
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import load_library
from handbell.coach.numbers.numbers import numbers_of
from handbell.coach.writing.edit import PlanText
from handbell.compile import build
from handbell.plan.files import load_plan
from handbell.plan.own_tasks import done_by

LIBRARY = load_library()
THREE = EXAMPLES["three-block"]
GROUPS = '[[group]]\nname = "A"\nbibs = [1, 2]\n[[group]]\nname = "B"\nbibs = [7, 8]\n'
PLAN = """
title = "Ours"   # since spring
{top}
[[block]]
{block}
    [[block.exercise]]
    name = '{name}'  # by hand
    work_s = {work}
    {asks}
"""


def stepped(
    tmp_path,
    name,
    asks="",
    block="rounds = 2\nrest_s = 10",
    work="40",
    top="",
    way="easier",
    more=(),
):
    """Return a plan's only exercise before and after, its block, and the file's text."""
    path = tmp_path / "class.toml"
    words = {"name": name, "asks": asks, "block": block, "work": work, "top": top}
    path.write_text(PLAN.format(**words), encoding="utf-8")
    before = load_plan(path)
    assert main(["fit", str(path), f"--{way}", "--write", *more]) == 0
    after, text = load_plan(path), path.read_text(encoding="utf-8")
    return before.blocks[0].exercises[0], after.blocks[0].exercises[0], after.blocks[0], text


def facts(capsys, *words):
    assert main(["fit", *map(str, words), "--json"]) == 0
    return json.loads(capsys.readouterr().out)["data"]


def test_the_three_block_plan_one_step_easier(capsys):
    """Three blocks of 9 windows, the last of each without a rest: 15 s in all."""
    told = facts(capsys, THREE, "--easier")
    assert (told["before"]["slot_ms"], told["after"]["slot_ms"]) == (940_000, 925_000)
    assert (told["before"]["work_ms"], told["after"]["work_ms"]) == (810_000, 675_000)
    first = told["blocks"][0]
    assert [(m["level"], m["was"], m["to"]) for m in first["moves"]] == [
        ("windows", [30_000], [25_000]),
        ("rests", [0], [5_000]),
    ]
    assert [(t["name"], t["to"], t["was"], t["now"]) for t in first["tasks"]] == [
        ("Squat jump", "Squat to tiptoe", [], []),
        ("Push-up", "Raised push-up", [10], [8]),
        ("Sit-up", "Crunch", [10], [8]),
    ]
    assert told["written"] is None


def test_what_people_read_of_a_step(capsys):
    assert main(["fit", str(THREE), "--easier"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("Three blocks, one step easier: 15:40 becomes 15:25\nBlock 1, Legs\n")
    assert "  windows: 25 s, before 30 s\n  rest: 5 s, before 0 s\n" in out
    assert re.search(r"Push-up +now Raised push-up; reps 8, before 10", out)
    assert "lever: A more upright body makes it easier." in out
    assert "handbell fit with --minutes 15:40 makes the new plan as long as this one" in out
    assert out.count("screening questionnaire") == 1
    assert main(["fit", str(THREE), "--harder"]) == 0
    assert "harder is for people who made all of this with rest to spare" in capsys.readouterr().out


def test_where_the_ladder_has_nothing_a_fifth_less_is_asked_and_the_lever_noted(tmp_path):
    """Of 20 in 40 s, 35 s make 17.5, and a fifth less is 14."""
    _, after, block, text = stepped(tmp_path, "Row", "reps = 20 # slowly")
    assert (after.name, after.reps.values, after.work.values) == ("Row", (14,), (35_000,))
    assert block.rest_ms == 15_000
    assert after.note == "A more upright body makes it easier."
    assert "    reps = 14 # slowly\n" in text and "# since spring" in text
    _, after, _, _ = stepped(tmp_path, "Row", 'reps = 20\nnote = "Straps long"')
    assert after.note == "Straps long"


@pytest.mark.parametrize(
    ("block", "work", "top", "more"),
    [
        ("rest_s = 10", "20", "", ()),  # shorter than 20 s is no window
        ("rest_s = 10", "40", "", ("--keep", "windows")),
        ("rest_s = 10", "40", "", ("--keep", "rests")),
        ("rest_s = 10", "40", '[fit]\nkeep = ["windows"]', ()),
        ("rest_s = 10", "40", "[fit]\nwork_s = [40, 60]", ()),
        ("rounds = 2\nrest_s = 10", "40", "[fit]\nrest_s = [0, 12]", ()),
        ("rounds = 2\nround_rest_s = 0\nrest_s = 10", "40", "", ()),  # written as none
    ],
)
def test_times_that_stay(tmp_path, block, work, top, more):
    before, after, _, _ = stepped(tmp_path, "Row", "reps = 10", block, work, top, more=more)
    assert after.work == before.work
    assert after.reps.values == (8,)


def test_own_tasks_go_down_their_own_ladder(tmp_path):
    """Of 8 in 40 s, 35 s make 7; nothing is below a push-up without new kit: 10 x 7/8 x 4/5."""
    asks = (
        "reps = 10\n    [[block.exercise.scaled]]\n    bibs = [7] # Sam's\n"
        '    name = "Knee push-up"\n    reps = 8\n'
        "    [[block.exercise.scaled]]\n    bibs = [8]\n    reps = 5\n"
    )
    _, after, _, text = stepped(tmp_path, "Push-up", asks, top=GROUPS)
    assert (done_by(after, 1).name, done_by(after, 1).reps.values) == ("Push-up", (7,))
    assert (done_by(after, 7).name, done_by(after, 7).reps.values) == ("Wall push-up", (7,))
    assert (done_by(after, 8).name, done_by(after, 8).reps.values) == ("Push-up", (3,))
    assert "# Sam's" in text


def test_harder_leaves_own_tasks_as_they_are(tmp_path):
    asks = (
        "reps = 8\n    [[block.exercise.scaled]]\n    bibs = [7]\n    reps = 5\n"
        "    [[block.exercise.scaled]]\n    bibs = [8]\n    tap = { every = 2 }\n"
        '    [[block.exercise.scaled]]\n    bibs = [2]\n    name = "Knee push-up"\n'
    )
    before, after, block, _ = stepped(
        tmp_path, "Push-up", asks, "rounds = 2\nrest_s = 20", top=GROUPS, way="harder"
    )
    assert after.name == "Narrow push-up" and after.reps.values[0] < 8
    assert (after.work.values, block.rest_ms) == ((45_000,), 15_000)
    for bib in (2, 7, 8):
        was, now = done_by(before, bib), done_by(after, bib)
        assert (now.name, now.reps, now.tap) == (was.name, was.reps, was.tap)


def test_harder_brings_no_new_kit_skill_or_landing():
    for n in range(10):
        source = PlanText(drawn(f"harder-{n}").encode(), "drawn.toml")
        there = {e for e in (LIBRARY.find(p.values["name"]) for p in source.exercises) if e}
        kit = {name_key(need[0]) for e in there for need in e.kit} | {"wall"}
        for block in one_step(source, LIBRARY, "harder").blocks:
            assert not block.stuck
            for task in block.tasks:
                old, new = LIBRARY.find(task.name), LIBRARY.find(task.to)
                if old is not new:
                    assert new in LIBRARY.harder(old) and not new.skill
                    assert IMPACTS.index(new.impact) <= IMPACTS.index(old.impact)
                    assert all({name_key(i) for i in need} & kit for need in new.kit)
                elif task.was and old and old.reps_30s:
                    assert all(b >= a for a, b in zip(task.was, task.now, strict=True))


LADDER = """
title = "Forms"
[[block]]
format = "ladder"
from = 10
to = 2
by = 2
  [[block.exercise]]
  name = "Burpee"
  work_s = 40
[[block]]
format = "as-many-rounds"
minutes = 5
goal = 4
  [[block.exercise]]
  name = "Sit-up"
  reps = 10
  [[block.exercise]]
  name = "Row"
  reps = 10
"""


def test_short_forms_keep_their_times_and_a_ladder_its_reps(tmp_path):
    path = tmp_path / "class.toml"
    path.write_text(LADDER, encoding="utf-8")
    before = load_plan(path).blocks
    assert main(["fit", str(path), "--easier", "--write"]) == 0
    after = load_plan(path).blocks
    for old, new in zip(before, after, strict=True):
        assert [e.work for e in new.exercises] == [e.work for e in old.exercises]
    assert after[0].exercises[0].name == "Squat thrust"
    assert after[0].exercises[0].reps == before[0].exercises[0].reps
    assert [(p.name, p.reps) for p in after[1].exercises[0].parts] == [("Crunch", 10), ("Row", 8)]
    assert after[1].exercises[0].goal == before[1].exercises[0].goal


def test_the_rounds_of_a_list_shrink_with_its_window(tmp_path):
    """Of 8 rounds in 40 s, 35 s hold 7."""
    parts = (
        'goal = 8\n    [[block.exercise.part]]\n    name = "Sit-up"\n    reps = 3\n'
        '    [[block.exercise.part]]\n    name = "Row"\n    reps = 1\n'
    )
    _, after, _, _ = stepped(tmp_path, "Both", parts)
    assert (after.goal.values, after.work.values) == ((7,), (35_000,))
    assert [(part.name, part.reps) for part in after.parts] == [("Crunch", 3), ("Row", 1)]


def test_a_pair_goes_along_the_ladder(tmp_path, capsys):
    top = 'never_after = [["Push-up", "Sit-up"]]'
    more = '\n    [[block.exercise]]\n    name = "Sit-up"\n    work_s = 40\n'
    *_, text = stepped(tmp_path, "Push-up", more, top=top)
    assert 'never_after = [["Push-up", "Crunch"]]' in text
    assert "never_after speaks of Crunch now, in place of Sit-up" in capsys.readouterr().out


def landings(path):
    (share,) = numbers_of(build(load_plan(path)), LIBRARY).shares
    return share.landings


@pytest.mark.parametrize("ways", [1, 4])
def test_quicker_rounds_bring_no_more_landings(tmp_path, ways):
    """Fewer steps between are quicker, so the runs of the list come round more often."""
    path, out = tmp_path / "x.toml", tmp_path / "y.toml"
    path.write_text(
        'title = "T"\n[[block]]\nname = "Long"\nformat = "as-many-rounds"\nminutes = 8\n'
        f'[[block.exercise]]\nname = "Shuttle run"\nreps = {ways}\n'
        '[[block.exercise]]\nname = "March in place"\nreps = 7\n',
        encoding="utf-8",
    )
    assert main(["fit", str(path), "--easier", "--out", str(out)]) == 0
    assert landings(out).most <= landings(path).most + 1e-6
    assert landings(out).least <= landings(path).least + 1e-6


def test_an_own_task_that_has_everybodys_goal_says_that_it_falls(tmp_path, capsys):
    own = "goal = 20\n[[block.exercise.scaled]]\nbibs = [8]\nname = 'Knee push-up'"
    stepped(tmp_path, "Push-up", own, top=GROUPS)
    out = capsys.readouterr().out
    (line,) = (line for line in out.splitlines() if "(bib 8)" in line)
    assert "goal" in line and "before 20" in line and "stays" not in line


def test_an_unknown_exercise_gets_fewer_reps_and_is_named(tmp_path, capsys):
    _, after, _, _ = stepped(tmp_path, "Sledge of ours", "reps = 20")
    assert after.reps.values == (14,)
    assert "not in the library, so only reps are changed: Sledge of ours" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--easier", "--minutes", "20"), "--easier goes without --minutes and --first-timers"),
        (("--harder", "--first-timers"), "--harder goes without"),
        (("--easier", "--harder"), "not allowed with"),
        (("--easier", "--keep", "naps"), "There is no naps to keep"),
    ],
)
def test_what_does_not_go_together_is_said(capsys, words, said):
    assert main(["fit", str(THREE), *words]) == 2
    assert said in capsys.readouterr().err


def test_a_second_step_is_a_step_on(tmp_path):
    path = tmp_path / "class.toml"
    path.write_bytes(THREE.read_bytes())
    names = []
    for _ in range(3):
        assert main(["fit", str(path), "--easier", "--write"]) == 0
        names.append(load_plan(path).blocks[0].exercises[0].name)
    levels = [LIBRARY.find(name).level for name in ["Squat jump", *names]]
    assert levels == sorted(levels, reverse=True) and levels[-1] < levels[0]


@pytest.mark.parametrize("reps", [9, 11, 13, 17, 30])
@pytest.mark.parametrize("name", [e.name for e in LIBRARY.entries.values() if e.reps_30s][::6])
def test_easier_asks_what_most_make_and_as_much_of_each_side(tmp_path, capsys, name, reps):
    """30 reps are more than most make of nearly all of them in 40 s."""
    was, now, *_ = stepped(tmp_path, name, f"reps = {reps}")
    entry, asked = LIBRARY.find(now.name), now.reps.at(1)
    if asked == was.reps.at(1):
        return  # nothing could be less
    assert asked * 30_000 <= entry.reps_30s[1] * min(now.work.values)
    assert asked % 2 == 0 or entry.sides == "both" or asked == 1


@pytest.mark.parametrize(
    ("name", "way", "tap", "becomes"),
    [
        ("Burpee", "easier", "", "Squat thrust"),
        ("Burpee", "easier", "tap = { every = 2 }", "Squat thrust"),
        ("Burpee", "harder", "", "Burpee long jump"),
    ],
)
def test_what_is_hard_to_tap_rep_by_rep_is_tapped_once(tmp_path, capsys, name, way, tap, becomes):
    _, now, _, _ = stepped(tmp_path, name, f"reps = 8\n{tap}", way=way)
    assert (now.name, now.tap.rule) == (becomes, "finish")
    said = " ".join(capsys.readouterr().out.split())  # however it is wrapped
    assert "one tap now, when all reps are made" in said
    assert main(["check", str(tmp_path / "class.toml")]) == 0
    assert "hard to tap" not in capsys.readouterr().out


def test_without_a_target_or_where_one_tap_was_enough_taps_stay(tmp_path):
    for asks, rule in (("goal = 8", "each"), ("reps = 8\ntap = 'finish'", "finish"), ("", "each")):
        assert stepped(tmp_path, "Burpee", asks)[1].tap.rule == rule


@pytest.mark.parametrize(("way", "rule"), [("easier", "finish"), ("harder", "each")])
def test_own_tasks_are_tapped_as_suits_what_they_are(tmp_path, way, rule):
    own = "[[block.exercise.scaled]]\nbibs = [8]\nname = 'Burpee'\nreps = 6"
    before, now, _, _ = stepped(tmp_path, "Burpee", f"reps = 8\n{own}", top=GROUPS, way=way)
    assert done_by(now, 1).tap.rule == "finish"
    assert done_by(now, 8).tap.rule == rule
    if way == "harder":
        assert done_by(now, 8) == done_by(before, 8).model_copy(
            update={"tap_as": done_by(now, 8).tap_as}
        )
