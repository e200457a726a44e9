"""``never_after`` where single bibs' tasks change, or an exercise has two names."""

import pytest

from handbell.cli.main import main
from handbell.coach.fit.one_step import one_step
from handbell.coach.library.shelf import load_library
from handbell.coach.swap.floor import Floor, known_in
from handbell.coach.swap.own import find_own, swapped_own
from handbell.coach.swap.rank import Wish
from handbell.coach.swap.swap import find_swaps
from handbell.coach.swap.write import swapped
from handbell.coach.writing import pairs
from handbell.coach.writing.edit import PlanText
from handbell.plan.files import parse_plan

LIBRARY = load_library()
RED = '[[group]]\nname = "Red"\nbibs = [1, 2, 3]\n'


def plan(ruled, *tasks, head=RED, more=""):
    said = f'title = "T"\nnever_after = [{ruled}]\n{head}[[block]]\nrest_s = 20\n{"".join(tasks)}'
    return PlanText((said + more).encode(), "t.toml")


def task(name, more="reps = 10\n"):
    return f'[[block.exercise]]\nname = "{name}"\nwork_s = 40\n{more}'


def own(name, bibs=(2,)):
    return f'reps = 10\n[[block.exercise.scaled]]\nbibs = {list(bibs)}\nname = "{name}"\n'


def rules(data):
    return parse_plan(data).never_after


# Own tasks

GOBLETS = (
    '["Goblet squat", "Step-up"]',
    task("Squat", own("Goblet squat")),
    task("Plank", "hold = true\n"),
    task("Step-up"),
)
SORE = ("--because", "sore", "--where", "knee")
BURPEES = ('["Burpee", "Push-up"]', task("Burpee"), task("Push-up"))


def swapped_for(there, bibs, wish=None, name=None, to=None):
    swaps = find_own(there, LIBRARY, wish or Wish(), bibs, name, to)
    return swapped_own(there, swaps)[0], swaps


def test_a_sore_wrist_gets_another_though_a_rule_names_its_own_task():
    data, (swap,) = swapped_for(
        plan(*GOBLETS), [2], Wish("sore", sore=("wrist",)), name="Goblet squat"
    )
    assert swap.moves and not swap.stuck
    new = parse_plan(data).blocks[0].exercises[0].scaled[0].name
    assert new != "Goblet squat" and rules(data) == ((new, "Step-up"),)
    assert f"never_after speaks of {new} now, in place of Goblet squat" in swap.said


def test_an_own_task_left_out_takes_its_rule_away():
    there = plan(*GOBLETS)
    (swap,) = find_own(there, LIBRARY, Wish(), [2], "Goblet squat", "Lunge")
    swap.leave("", "")
    swap.out = True
    data, _ = swapped_own(there, [swap])
    assert rules(data) == ()
    assert swap.said == ["never_after no longer speaks of Goblet squat"]


def test_a_rule_that_goes_with_what_is_left_out_is_told(tmp_path, capsys):
    path = tmp_path / "t.toml"
    path.write_bytes(plan(*GOBLETS).plan.source)
    assert main(["swap", str(path), "Goblet squat", "--bib", "2", *SORE]) == 0
    said = capsys.readouterr().out
    assert "Left out, with out = true" in said
    assert "  never_after no longer speaks of Goblet squat\n" in said


@pytest.mark.parametrize("bibs", [(2,), (1, 2, 3)])
@pytest.mark.parametrize(
    ("to", "added"), [("Squat thrust", (("Squat thrust", "Push-up"),)), ("Lunge", ())]
)
def test_a_rule_goes_with_bibs_whose_task_becomes_their_own(bibs, to, added):
    data, (swap,) = swapped_for(plan(*BURPEES), bibs, name="Burpee", to=to)
    assert rules(data) == (("Burpee", "Push-up"), *added)
    told = "never_after speaks of Squat thrust now, besides Burpee"
    assert (told in swap.said) == bool(added)


def test_own_tasks_are_followed_by_bib_not_by_place():
    """Bib 1 leaves the task that both had; it moves behind bib 3's."""
    there = plan(
        '["Goblet squat", "Step-up"], ["Half squat", "Step-up"]',
        task(
            "Squat",
            own("Goblet squat", (1, 2)) + own("Half squat", (3,)).removeprefix("reps = 10\n"),
        ),
        task("Plank", "hold = true\n"),
        task("Step-up"),
    )
    data, _ = swapped_for(there, [1], name="Goblet squat", to="Slow squat")
    assert {one for one, _ in rules(data)} == {"Goblet squat", "Slow squat", "Half squat"}


@pytest.mark.parametrize("bibs", [(), (3,)])
def test_a_swap_of_what_no_rule_names_reads_the_plan_once(monkeypatch, bibs):
    """A search tries many, and each would be read twice."""
    there = plan(*GOBLETS, task("Dead bug"))
    monkeypatch.setattr(pairs, "parse_plan", lambda *_: pytest.fail("read again"))
    if bibs:
        data, _ = swapped_for(there, bibs, name="Dead bug", to="Bridge")
    else:
        data, _ = swapped(there, find_swaps(there, LIBRARY, Wish(), "Dead bug", "Bridge"))
    assert rules(data) == there.plan.never_after


# Other names of the same


PRESS_UPS = (
    '["Press-up", "Burpee"]',
    task("Press-up"),
    task("Plank", "hold = true\n"),
    task("Burpee"),
    task("Squat"),
    task("Knee push-up"),
    task("Dead bug"),
)


def written(data):
    """What the plan says is done, and what for bib 2."""
    exercises = parse_plan(data).blocks[0].exercises
    return [e.name for e in exercises], [own.name for e in exercises for own in e.scaled]


@pytest.mark.parametrize("to", ["Push-up", "Press-up", "pushups"])
def test_a_swap_calls_an_exercise_as_the_plan_does(to):
    there = plan(*PRESS_UPS)
    swaps = find_swaps(there, LIBRARY, Wish(), "Knee push-up", to)
    data, _ = swapped(there, swaps)
    assert written(data)[0].count("Press-up") == 2
    data, _ = swapped_for(there, [2], name="Knee push-up", to=to)
    assert written(data)[1] == ["Press-up"]


def test_a_step_calls_an_exercise_as_the_plan_does():
    made = one_step(plan(*PRESS_UPS), LIBRARY, "harder", ("windows",))
    assert "Press-up" in written(made.data)[0] and "Push-up" not in written(made.data)[0]


def test_the_name_that_a_rule_has_is_taken_before_others():
    there = plan('["Press-up", "Burpee"]', task("Push-up"), *PRESS_UPS[1:])
    swaps = find_swaps(there, LIBRARY, Wish(), "Knee push-up", "Push-up")
    assert swaps[0].new.name == "Press-up"


def test_a_rule_forbids_an_exercise_by_any_of_its_names():
    there = plan(PRESS_UPS[0], *PRESS_UPS[1:3], task("Knee push-up"), task("Burpee"))
    for name in ("Press-up", "Push-up"):
        rule = PlanText(there.plan.source.replace(b"Press-up", name.encode()), "t.toml")
        (found,) = find_swaps(rule, LIBRARY, Wish("too-easy"), "Knee push-up")
        (choice,) = (c for c in found.choices if c.entry.id == "push-up")
        assert "never_after rules it out beside Burpee" in choice.why
        made = one_step(rule, LIBRARY, "harder", ("windows",))
        assert written(made.data)[0][2] != choice.entry.name


def test_a_rule_holds_for_what_was_chosen_meanwhile_by_another_name():
    """Both are swapped at once; the second stands beside what the first has become."""
    there = plan(
        '["Press-up", "Burpee"]',
        task("Press-up"),
        task("Plank", "hold = true\n"),
        task("Burpee"),
        task("Dead bug"),
    )
    known = known_in(there.exercises, LIBRARY)
    floor = Floor(there, known)
    known[0, 1] = LIBRARY.find("Push-up")
    assert floor.around([there.exercises[2]]).beside(LIBRARY.find("Burpee")) == "Press-up"


@pytest.mark.parametrize(("to", "kept"), [("Knee push-up", True), ("Lunge", False)])
def test_a_rule_goes_within_a_pattern_by_whichever_name_it_has(to, kept):
    """Press-up and Push-up are one swap, called by the first."""
    there = plan('["Push-up", "Burpee"]', *PRESS_UPS[1:4], task("Push-up"))
    (swap,) = swaps = find_swaps(there, LIBRARY, Wish(), "Press-up", to)
    data, _ = swapped(there, swaps)
    assert rules(data) == (((to, "Burpee"),) if kept else ())
    assert any("Push-up" in words and "never_after" in words for words in swap.said)


# A step for single bibs


@pytest.mark.parametrize(("pair", "is_ruled_out"), [("Plank", True), ("Dead bug", False)])
def test_a_step_for_single_bibs_takes_nothing_that_a_rule_forbids(pair, is_ruled_out):
    wall_sit = 'hold = true\n[[block.exercise.scaled]]\nbibs = [2]\nname = "Squat"\nhold = false\n'
    there = plan(
        f'["{pair}", "Half squat"]',
        task("Plank", "hold = true\n"),
        task("Wall sit", f"{wall_sit}goal = 10\n"),
        task("Lunge"),
        task("Half squat"),
        task("Lunge"),
        task("Dead bug"),
    )
    made = one_step(there, LIBRARY, "easier", ("windows",))
    assert (parse_plan(made.data).blocks[0].exercises[1].scaled[0].name != "Half squat") == (
        is_ruled_out
    )


# For whom it stands there


@pytest.mark.parametrize(("bib", "is_ruled_out"), [(1, True), (2, False)])
def test_what_others_do_beside_it_is_no_matter(bib, is_ruled_out):
    there = plan('["Burpee", "Knee push-up"]', *MARCHES)
    (found,) = find_own(there, LIBRARY, Wish("too-hard"), [bib], "Push-up")
    (knee,) = (c for c in found.choices if c.entry.name == "Knee push-up")
    assert any("never_after" in words for words in knee.why) == is_ruled_out


MARCHES = (
    task("Burpee", own("March in place")),
    task("Push-up"),
    task("Plank", "hold = true\n"),
    task("Knee push-up"),
    task("Dead bug"),
)


def test_what_is_left_out_stands_beside_the_same():
    left = "[[block.exercise.scaled]]\nbibs = [2]\nout = true\n"
    there = plan('["Burpee", "Lunge"]', task("Burpee"), task("Push-up", left), task("Lunge"))
    (found,) = find_own(there, LIBRARY, Wish(), [2], "Push-up", "Lunge")
    assert "never_after rules it out beside Burpee" in found.choices[0].why


LANES = "".join(f'[[group]]\nname = "{n}"\nbibs = [{n}]\n' for n in (1, 2))


@pytest.mark.parametrize(("bib", "is_ruled_out"), [(1, False), (2, True)])
def test_what_is_left_out_stands_beside_what_the_same_lane_does(bib, is_ruled_out):
    """Only the second lane has the burpee before it."""
    left = f"[[block.exercise.scaled]]\nbibs = [{bib}]\nout = true\n"
    there = plan(
        '["Burpee", "Push-up"]',
        "order = [[1, 2, 3, 4], [3, 2, 1, 4]]\n",
        task("Squat"),
        task("Plank", left),
        task("Burpee"),
        task("Push-up"),
        head=LANES,
    )
    (found,) = find_own(there, LIBRARY, Wish(), [bib], "Plank", "Push-up")
    why = found.choices[0].why
    assert ("never_after rules it out beside Burpee" in why) == is_ruled_out


@pytest.mark.parametrize(("second", "is_ruled_out"), [("Lunge", True), ("Plank", False)])
@pytest.mark.parametrize("bibs", [(), (2,)])
def test_two_neighbours_that_become_the_same_are_beside_each_other(second, is_ruled_out, bibs):
    tasks = (task("Lunge"), task(second), task("Bridge"), task("Push-up"), task("Squat"))
    there = plan('["Squat", "Squat"]', *tasks, task("Dead bug"))
    if bibs:
        (found,) = find_own(there, LIBRARY, Wish(), bibs, "Lunge", "Squat")
    else:
        (found,) = find_swaps(there, LIBRARY, Wish(), "Lunge", "Squat")
    assert ("never_after rules it out beside Squat" in found.choices[0].why) == is_ruled_out


@pytest.mark.parametrize(("bibs", "is_ruled_out"), [((2,), False), ((1,), True)])
def test_a_swap_for_everybody_minds_those_who_do_as_is_written(bibs, is_ruled_out):
    """The burpee is before what a bib does there; only its own task there is another or not."""
    there = plan(
        '["Burpee", "Knee push-up"]',
        task("Dead bug", own("Burpee")),
        task("Push-up", own("Lunge", bibs)),
        *MARCHES[2:],
    )
    (found,) = find_swaps(there, LIBRARY, Wish("too-hard"), "Push-up")
    (knee,) = (c for c in found.choices if c.entry.name == "Knee push-up")
    assert any("never_after" in words for words in knee.why) == is_ruled_out


@pytest.mark.parametrize(("bibs", "is_taken"), [((2,), True), ((1,), False)])
def test_a_step_for_single_bibs_minds_what_they_do(bibs, is_taken):
    wall_sit = 'hold = true\n[[block.exercise.scaled]]\nbibs = [2]\nname = "Squat"\nhold = false\n'
    there = plan(
        '["Burpee", "Half squat"]',
        task("Burpee", own("March in place", bibs)),
        task("Wall sit", f"{wall_sit}goal = 10\n"),
        task("Lunge"),
        task("Half squat"),
        task("Dead bug"),
    )
    made = one_step(there, LIBRARY, "easier", ("windows",))
    (mine,) = parse_plan(made.data).blocks[0].exercises[1].scaled
    assert (mine.name == "Half squat") == is_taken
