"""``swap --bib``: own tasks for single bibs, in the plan's own form, and nothing for anybody else."""

import difflib
import json
import random
import sys

import never_harder
import pytest
from drawn_plans import some

from handbell.base.errors import HandbellError
from handbell.cli.main import main
from handbell.coach.library.entry import IMPACTS
from handbell.coach.library.shelf import load_library
from handbell.coach.swap.own import find_own, swapped_own
from handbell.coach.swap.rank import Wish
from handbell.coach.swap.sore import strained
from handbell.coach.writing.edit import OwnTask, PlanText
from handbell.plan.files import load_plan
from handbell.plan.own_tasks import done_by, everybody
from handbell.plan.values import REPS_MOST

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

LIBRARY = load_library()
PLAN = """\
title = "Own"   # ours
[[group]]
name = "Red"
bibs = [4, 6]
[[group]]
name = "Blue"
bibs = [7, 8, 9]

[[block]]
name = "One"
rounds = 2
rest_s = 15
  [[block.exercise]]   # hands
  name = 'Push-up'
  work_s = 40
  reps = 12  # all
    [[block.exercise.scaled]]
    bibs = [6, 7]  # new
    name = "Knee push-up"
    reps = 8
    note = "Since May"
  # between
  [[block.exercise]]
  name = "Plank"
  work_s = 30
  hold = true

[[block]]
  [[block.exercise]]
  name = "Burpee"
  work_s = 40
  goal = 12 # the end"""


@pytest.fixture
def plan(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text(PLAN, encoding="utf-8")
    return path


def run(capsys, plan, *words):
    code = main(["swap", str(plan), *words])
    told = capsys.readouterr()
    assert "Traceback" not in told.err
    return code, " ".join(told.out.split()), told.err


def tasks(plan, bib):
    """What a bib does in each exercise: its name, and what is asked."""
    found = []
    for block in load_plan(plan).blocks:
        for exercise in block.exercises:
            task = done_by(exercise, bib)
            asked = task.reps or task.goal
            found.append((task.name, asked.values[0] if asked else "hold" if task.hold else "open"))
    return found


def test_a_sore_wrist_gets_an_own_task_and_what_nothing_replaces_is_left_out(capsys, plan):
    code, out, _ = run(
        capsys, plan, "--bib", "6", "--because", "sore", "--where", "wrist", "--write"
    )
    assert code == 0
    assert "Knee push-up for bib 6 (block 1, exercise 1): strains the wrist" in out
    assert (
        "Nothing in the library can take the place of Knee push-up here. It is a push: leave" in out
    )
    assert "Left out, with out = true: the box says Rest to bib 6" in out
    assert "Still in the plan" not in out
    assert "Pain stops the exercise, whichever it is; ask a qualified professional." in out
    assert "Pain is for a qualified health professional to judge" in out
    assert "look through warm-up and cool-down yourself" in out and "own tasks" not in out
    assert "Given up: work for the quads and chest; level 2 in place of 4" in out
    assert plan.read_text(encoding="utf-8") == (
        PLAN.replace("bibs = [6, 7]", "bibs = [7]").replace(
            "  # between\n",
            "    [[block.exercise.scaled]]\n    bibs = [6]\n    out = true\n  # between\n",
        )
        + '\n    [[block.exercise.scaled]]\n    bibs = [6]\n    name = "Shadow boxing"\n    goal = 66\n'
    )
    assert [name for name, _ in tasks(plan, 6)] == ["Rest", "Plank", "Shadow boxing"]
    assert tasks(plan, 7)[0] == ("Knee push-up", 8)
    again = ("--bib", "6", "--because", "sore", "--where", "wrist")
    assert "Nothing to swap for bib 6" in run(capsys, plan, *again)[1]


def test_what_is_only_too_hard_is_not_left_out(capsys, plan):
    plan.write_text(
        '[[block]]\n[[block.exercise]]\nname = "March in place"\nwork_s = 40\n'.join(
            ('title = "A"\n', "")
        ),
        encoding="utf-8",
    )
    code, out, _ = run(capsys, plan, "--bib", "1", "--because", "too-hard", "--write")
    assert code == 1 and "Still in the plan: March in place" in out


def test_several_bibs_are_looked_at_by_what_they_do(capsys, plan):
    """Bib 7 does knee push-ups already; each goes down from there, and reps never go up."""
    before = {bib: tasks(plan, bib) for bib in (6, 9)}
    code, _, _ = run(capsys, plan, "--bib", "4,8", "--bib", "7", "--because", "too-hard", "--write")
    assert code == 0
    for bib in (4, 8):
        assert tasks(plan, bib) == [
            ("Knee push-up", 12),
            ("Knee plank", "hold"),
            ("Squat thrust", 12),
        ]
    assert tasks(plan, 7) == [("Wall push-up", 8), ("Knee plank", "hold"), ("Squat thrust", 12)]
    assert {bib: tasks(plan, bib) for bib in (6, 9)} == before
    assert plan.read_text(encoding="utf-8").count("bibs = [4, 7, 8]") == 2


def test_one_for_another(capsys, plan):
    assert run(capsys, plan, "Burpee", "Shuttle run", "--bib", "9", "--write")[0] == 0
    assert [name for name, _ in tasks(plan, 9)] == ["Push-up", "Plank", "Shuttle run"]
    # The names may stand behind an option, and the old one is what the bib does now.
    assert run(capsys, plan, "--bib", "9", "--write", "Shuttle run", "March in place")[0] == 0
    assert tasks(plan, 9)[2][0] == "March in place" and tasks(plan, 4)[2][0] == "Burpee"
    assert plan.read_text(encoding="utf-8").count("[[block.exercise.scaled]]") == 2


def test_an_own_task_of_all_its_bibs_is_changed_where_it_stands(capsys, plan):
    assert run(capsys, plan, "Knee push-up", "Wall push-up", "--bib", "6,7", "--write")[0] == 0
    was, now = PLAN.splitlines(), plan.read_text(encoding="utf-8").splitlines()
    changed = [(a.strip(), b.strip()) for a, b in zip(was, now, strict=True) if a != b]
    assert changed == [
        ('name = "Knee push-up"', 'name = "Wall push-up"'),
        ("reps = 8", "reps = 10"),
    ]


def test_two_own_tasks_that_become_the_same_stay_two(capsys, plan):
    other = (
        '    [[block.exercise.scaled]]\n    bibs = [4]\n    name = "Knee push-up"\n    reps = 8\n'
    )
    plan.write_text(PLAN.replace("  # between\n", f"{other}  # between\n"), encoding="utf-8")
    words = ("Knee push-up", "Wall push-up", "--bib", "4,6,7", "--write")
    assert run(capsys, plan, *words)[0] == 0
    own = load_plan(plan).blocks[0].exercises[0].scaled
    assert [(o.bibs, o.name) for o in own] == [((6, 7), "Wall push-up"), ((4,), "Wall push-up")]
    # One leaves the first, which stays for the other; the second is all of its bibs'.
    words = ("Wall push-up", "Floor dip", "--bib", "4,6", "--write")
    assert run(capsys, plan, *words)[0] == 0
    own = load_plan(plan).blocks[0].exercises[0].scaled
    assert [(o.bibs, o.name) for o in own] == [
        ((7,), "Wall push-up"),
        ((4,), "Floor dip"),
        ((6,), "Floor dip"),
    ]


def test_who_has_part_of_an_own_task_leaves_it(capsys, plan):
    assert run(capsys, plan, "Knee push-up", "Wall push-up", "--bib", "7", "--write")[0] == 0
    own = load_plan(plan).blocks[0].exercises[0].scaled
    assert [(o.bibs, o.name, o.note) for o in own] == [
        ((6,), "Knee push-up", "Since May"),
        ((7,), "Wall push-up", ""),
    ]
    assert "bibs = [6]  # new" in plan.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("--bib", "5", "--because", "too-hard"), 2, "has no bib 5. It has bibs 4, 6 to 9."),
        (("--bib", "six", "Plank"), 2, '"six" is no bib'),
        (("--bib", "", "Plank"), 2, '"" is no bib'),
        (("--bib", "4,,6", "Plank"), 2, '"" is no bib'),
        (("--bib", "6"), 2, "Say what to swap"),
        (("--bib", "6", "Push-up"), 1, 'has no exercise "Push-up". It has Knee push-up, Plank'),
        (("--bib", "6", "Plank", "--block", "2"), 1, 'block 2, has no exercise "Plank"'),
        (("--bib", "6", "Plank", "Planck"), 1, '"Planck" is not in the library'),
    ],
)
def test_what_can_not_be_an_own_task_is_said(capsys, plan, words, code, said):
    got, _, err = run(capsys, plan, *words)
    assert (got, said in err) == (code, True), err
    assert plan.read_text(encoding="utf-8") == PLAN


def test_bibs_who_need_nothing_are_told(capsys, plan):
    _, out, _ = run(capsys, plan, "Push-up", "--bib", "7,8")
    assert "Nothing to swap for bib 7. Push-up for bib 8 (block 1, exercise 1)" in out
    code, out, _ = run(capsys, plan, "--bib", "4", "--without", "bench", "--json")
    told = json.loads(out)["data"]
    assert (code, told["bibs"], told["idle"], told["swaps"]) == (0, [4], [4], [])


def test_what_the_library_does_not_know_is_named(capsys, plan):
    plan.write_text(PLAN.replace('"Burpee"', '"Sledge of ours"'), encoding="utf-8")
    code, out, _ = run(capsys, plan, "--bib", "4", "--because", "too-hard")
    assert code == 0 and "not in the library, so not looked at: Sledge of ours" in out


CIRCUITS = """
title = "Two circuits"
layout = "rotation"
[[group]]
name = "Red"
bibs = [1, 2]
circuit = "A"
[[group]]
name = "Blue"
bibs = [3]
circuit = "B"
[[block]]
  [[block.exercise]]
  name = "Squat"
  work_s = 30
  circuit = "A"
  [[block.exercise]]
  name = "Burpee"
  work_s = 30
  circuit = "B"
"""


def test_only_what_a_bibs_group_does_is_swapped():
    text = PlanText(CIRCUITS.encode(), "circuits.toml")
    for bib, name in ((2, "Squat"), (3, "Burpee")):
        found = find_own(text, LIBRARY, Wish("too-hard"), [bib])
        assert [swap.name for swap in found] == [name]
    with pytest.raises(HandbellError, match='has no exercise "Burpee"'):
        find_own(text, LIBRARY, Wish(), [1], "Burpee")


def test_without_groups_a_bib_is_a_box():
    text = PlanText(
        b'title = "T"\nboxes = 2\n[[block]]\n[[block.exercise]]\nname = "Squat"\nwork_s = 30\n', "t"
    )
    swaps = find_own(text, LIBRARY, Wish("too-hard"), [2])
    plan = swapped_own(text, swaps)[1].plan
    assert done_by(plan.blocks[0].exercises[0], 1).name == "Squat"
    assert done_by(plan.blocks[0].exercises[0], 2).name == swaps[0].new.name
    with pytest.raises(HandbellError, match="has no bib 3"):
        find_own(text, LIBRARY, Wish("too-hard"), [3])


LISTS = """
title = "Lists"
[[block]]
format = "under-a-cap"
minutes = 5
  [[block.exercise]]
  name = "Burpee"
  reps = 8
[[block]]
format = "ladder"
from = 6
to = 2
by = 2
  [[block.exercise]]
  name = "Burpee"
  work_s = 40
[[block]]
  [[block.exercise]]
  name = "Push-up"
  work_s = 40
  tap = "tally"
  rest_s = 20
  [[block.exercise]]
  name = "Plank"
  work_s = 40
  hold = true
  tap = "none"
"""


def test_lists_have_no_own_tasks_and_all_else_goes_on(capsys, tmp_path):
    path = tmp_path / "lists.toml"
    path.write_text(LISTS.replace('tap = "tally"', ""), encoding="utf-8")
    code, out, _ = run(capsys, path, "--bib", "1", "--because", "too-hard", "--write")
    assert code == 1
    assert "Burpee in block 1 is in a list that everybody goes through, which has no own" in out
    assert "Let bib 1 leave it out there, or swap it for everybody." in out
    ladder = load_plan(path).blocks[1].exercises[0]
    assert done_by(ladder, 1).name == "Squat thrust"
    assert done_by(ladder, 1).reps.values == ladder.reps.values == (6, 4, 2)


def test_a_hold_and_reps_for_one_another():
    text = PlanText(LISTS.encode(), "lists.toml")
    blocks = swapped_own(text, find_own(text, LIBRARY, Wish(), [1], "Plank", "Crunch"))[
        1
    ].plan.blocks
    # The library's least for a crunch in 30 s, in 40 s.
    least = LIBRARY.find("Crunch").reps_30s[0] * 40 // 30
    crunch = done_by(blocks[2].exercises[1], 1)
    assert (crunch.name, crunch.hold, crunch.goal.values) == ("Crunch", False, (least,))
    (swap,) = find_own(text, LIBRARY, Wish(), [1], "Push-up", "Palm press")
    assert not swap.choices and "is tallied by everybody" in str(swap.stuck)


INLINE = """\
title = "Inline"
boxes = 2
[[block]]
exercise = [ {name="Push-up",work_s=30,reps=10}, { name = "Burpee", work_s = 20 } ] # both
[[block]]
    [[ block . "exercise" ]]
      name = "Squat jump"
      work_s = 30
      scaled = [{ bibs = [1], name = "Squat" }]
      [block.exercise.tap]
      every = 2
# the end
"""


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_odd_layouts_stay_as_they_are(ends):
    source = INLINE.replace("\n", ends).encode()
    text = PlanText(source, "inline.toml")
    swaps = find_own(text, LIBRARY, Wish("too-hard"), [2])
    after = swapped_own(text, swaps)[0].decode()
    assert after.count("\n") == after.count(ends)
    lines = after.split(ends)
    assert lines[:3] == INLINE.split("\n")[:3] and lines[-2] == "# the end"
    assert '{name="Push-up",work_s=30,reps=10' in after and after.count("# both") == 1
    made = tomllib.loads(after)["block"]
    assert [own["bibs"] for own in made[0]["exercise"][0]["scaled"]] == [[2]]
    assert [own["bibs"] for own in made[1]["exercise"][0]["scaled"]] == [[1], [2]]
    assert made[1]["exercise"][0]["tap"] == {"every": 2}


def test_a_new_table_stands_behind_the_last_key_with_the_indents_around_it():
    source = (
        'title = "T"\r\n[[block]]\r\n\t[[block.exercise]]\r\n\t\tname = "A"\r\n\t\twork_s = 9 # w'
    )
    text = PlanText(source.encode(), "t")
    own = [OwnTask(("block", 0, "exercise", 0), {"bibs": [1], "tap": {"every": 2}, "goal": [3]})]
    assert text.changed([], own).decode() == source + (
        "\r\n\t\t[[block.exercise.scaled]]\r\n\t\t\tbibs = [1]\r\n\t\t\ttap = { every = 2 }"
        "\r\n\t\t\tgoal = [3]\r\n"
    )


@pytest.mark.parametrize("because", ["sore", "too-hard"])
def test_nobody_else_is_touched_and_the_bib_is_spared(because):
    """For drawn plans: other bibs' windows, and every line of the file, are as they were."""
    swapped = 0
    for name, source in some(25, 5):
        dice = random.Random(name)
        text = PlanText(source.encode(), name)
        bib, part = dice.choice(everybody(text.plan)), dice.choice(("wrist", "knee", "back"))
        wish = Wish(because, (part,) if because == "sore" else ())
        swaps = find_own(text, LIBRARY, wish, [bib])
        if not any(swap.choices for swap in swaps):
            continue
        swapped += 1
        after = swapped_own(text, swaps)[0]
        was, now = never_harder.rows(source.encode()), never_harder.rows(after)
        stuck = {swap.name for swap in swaps if swap.stuck}
        assert {k: r for k, r in was.items() if k[4] != bib} == {
            k: r for k, r in now.items() if k[4] != bib
        }
        for key, row in now.items():
            old, new = LIBRARY.find(was[key].name), LIBRARY.find(row.name)
            if row.name == "Rest":
                assert because == "sore" and row.owed == 0 and was[key].name in stuck
                continue
            if key[4] != bib or old is new or key[3]:
                continue
            assert new.level <= old.level and IMPACTS.index(new.impact) <= IMPACTS.index(old.impact)
            most = was[key].owed
            if new.reps_30s and sum(new.reps_30s) >= 3 * sum(old.reps_30s or (REPS_MOST,)):
                # So much faster that the old reps say little: the library's least.
                most = max(most, new.reps_30s[0] * row.work_ms // 30_000)
            assert row.owed <= most or was[key].hold or not was[key].owed
            assert because != "sore" or not strained(new, [part])
        if because == "sore":
            kept = {r.name for k, r in now.items() if k[4] == bib and k[3] == 0}
            bad = {n for n in kept if LIBRARY.find(n) and strained(LIBRARY.find(n), [part])}
            assert bad <= stuck
        diff = difflib.unified_diff(
            source.splitlines(), after.decode().splitlines(), n=0, lineterm=""
        )
        lost = [line[1:] for line in [*diff][2:] if line.startswith("-")]
        assert {line.split(" = ")[0] for line in lost} <= {
            "bibs",
            "name",
            "reps",
            "goal",
            "tap",
            "hold",
        }
    assert swapped >= 10


def test_a_second_sore_part_does_not_undo_the_first_unsaid(capsys, plan):
    """The plan doesn't keep why somebody has an own task, so the coach is told to name both."""
    sore = ("--bib", "8", "--because", "sore", "--write", "--where")
    _, out, _ = run(capsys, plan, *sore, "back")
    assert "chosen for single bibs before" not in out
    own = LIBRARY.find(tasks(plan, 8)[2][0])
    assert own.name != "Burpee" and strained(own, ["wrist"]) == []
    run(capsys, plan, "Burpee", "Squat thrust", "--bib", "9", "--write")
    _, out, _ = run(capsys, plan, "--bib", "9", "--because", "sore", "--where", "wrist")
    assert "Squat thrust: chosen for single bibs before, and the plan doesn't say why" in out
    assert '--where "back, wrist"' in out
