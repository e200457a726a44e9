"""``never_after`` where single bibs' tasks change, or an exercise has two names."""

import pytest

from handbell.coach.library.shelf import load_library
from handbell.coach.swap.own import find_own, swapped_own
from handbell.coach.swap.rank import Wish
from handbell.coach.writing.edit import PlanText
from handbell.plan.files import parse_plan

LIBRARY = load_library()
RED = '[[group]]\nname = "Red"\nbibs = [1, 2, 3]\n'


def plan(pairs, *tasks, head=RED, more=""):
    said = f'title = "T"\nnever_after = [{pairs}]\n{head}[[block]]\nrest_s = 20\n{"".join(tasks)}'
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
