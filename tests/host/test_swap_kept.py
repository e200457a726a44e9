"""What a swap must leave as it is: other swaps, what bibs were spared before, a sensible count."""

import pytest

from handbell.base.errors import HandbellError, PlanError
from handbell.cli.main import main
from handbell.coach.library.shelf import load_library
from handbell.coach.swap.own import find_own, swapped_own
from handbell.coach.swap.rank import Wish
from handbell.coach.swap.swap import find_swaps
from handbell.coach.swap.write import as_far_as_playable, swapped
from handbell.coach.writing.edit import PlanText
from handbell.plan.own_tasks import done_by

LIBRARY = load_library()


def plan(*blocks, people=2):
    bibs = ", ".join(str(n + 1) for n in range(people))
    head = f'title = "T"\n[[group]]\nname = "All"\nbibs = [{bibs}]\n'
    return PlanText((head + "".join(blocks)).encode(), "t.toml")


def block(*exercises, keys="rest_s = 20\n"):
    return f"[[block]]\n{keys}" + "".join(f"  [[block.exercise]]\n{one}" for one in exercises)


def task(name, *lines):
    return f'  name = "{name}"\n' + "".join(f"  {line}\n" for line in lines)


def own(*lines):
    return "    [[block.exercise.scaled]]\n" + "".join(f"    {line}\n" for line in lines)


EACH_MINUTE = 'format = "every-minute"\nminutes = 9\n'
BACK = Wish("sore", ("back",))


# A swap that fails the check costs only itself


def test_a_hold_in_place_of_reps_on_the_minute_gets_a_time():
    text = plan(
        block(
            task("Burpee", "reps = 8"),
            task("Sit-up", "reps = 12"),
            task("Goblet squat", "reps = 10"),
            keys=EACH_MINUTE,
        )
    )
    swaps = find_swaps(text, LIBRARY, BACK)
    _, built = swapped(text, swaps)
    assert [swap.new.name for swap in swaps] == ["Shadow boxing", "Wall plank", "Slow squat"]
    exercise = built.plan.blocks[0].exercises[1]
    least_s = swaps[1].new.hold_s[0]
    assert exercise.hold and exercise.work.values == (least_s * 1000,)
    assert f"work_s = {least_s}, the library's least, then rest" in swaps[1].said


def test_a_turn_too_short_for_the_least_hold_is_held_as_long_as_leaves_a_pause():
    keys = 'format = "every-minute"\nminutes = 4\nevery_s = 20\n'
    text = plan(block(task("Sit-up", "reps = 5"), keys=keys))
    _, built = swapped(text, find_swaps(text, LIBRARY, Wish(), "Sit-up", "Plank"))
    assert built.plan.blocks[0].exercises[0].work.values == (17_000,)


MIXED = plan(
    block(
        task("Sit-up", "reps = 12") + own("bibs = [2]", 'name = "Crunch"', "reps = 15"),
        task("Burpee", "reps = 8"),
        keys='format = "every-minute"\nminutes = 4\n',
    )
)


def test_what_fails_the_check_costs_its_own_swap_only():
    """Own reps would have to be made in the seconds of a hold, so it gets no time, and is left."""
    swaps = find_swaps(MIXED, LIBRARY, BACK)
    data, built = swapped(MIXED, swaps)
    assert [e.name for e in built.plan.blocks[0].exercises] == ["Sit-up", "Shadow boxing"]
    assert not swaps[0].moves and not swaps[0].said and swaps[1].moves and swaps[1].said
    stuck = str(swaps[0].stuck)
    assert "With Wall plank the plan would not pass the check: block 1, exercise 1" in stuck
    assert "Mend that first, or name another for it" in stuck
    assert data.count(b"Shadow boxing") == 1 and b"hold" not in data


def test_it_is_told_with_the_rest(capsys, tmp_path):
    path = tmp_path / "t.toml"
    path.write_bytes(MIXED.changed([]))
    code = main(["swap", str(path), "--because", "sore", "--where", "back", "--write"])
    out = " ".join(capsys.readouterr().out.split())
    assert code == 1 and "With Wall plank the plan would not pass the check" in out
    assert "Still in the plan: Sit-up. Leave out what nothing can replace." in out
    assert "Shadow boxing" in path.read_text(encoding="utf-8")


def test_what_cannot_be_written_costs_its_own_swap_only():
    def write(swaps):
        if any(swap.name == "Sit-up" for swap in swaps):
            raise HandbellError("exercise 1 can't be changed", "Change it by hand")
        return b"", None

    swaps = find_swaps(MIXED, LIBRARY, BACK)
    as_far_as_playable(swaps, write)
    assert not swaps[0].moves and swaps[1].moves
    assert str(swaps[0].stuck) == "exercise 1 can't be changed. Change it by hand."


def test_a_bib_rests_where_its_swap_would_fail_the_check():
    def write(swaps):
        if any(swap.choices and swap.name == "Sit-up" for swap in swaps):
            raise PlanError("t.toml", ["block 1: no"])
        return b"", None

    swaps = find_own(MIXED, LIBRARY, BACK, [2])
    swaps[0].choices = list(swaps[1].choices)
    swaps[0].out, swaps[0].name = False, "Sit-up"
    assert as_far_as_playable(swaps, write) == (b"", None)
    assert swaps[0].out and "With Shadow boxing the plan would not pass" in str(swaps[0].stuck)
    assert swaps[1].choices and not swaps[1].out


def test_nobody_holds_for_a_whole_minute_that_others_end_with_their_reps():
    text = plan(block(task("Sit-up", "reps = 12"), keys=EACH_MINUTE))
    swaps = find_own(text, LIBRARY, BACK, [1])
    _, built = swapped_own(text, swaps)
    done = done_by(built.plan.blocks[0].exercises[0], 1)
    assert not done.hold and (done.is_left_out or swaps[0].choices)
    (named,) = find_own(text, LIBRARY, Wish(), [1], "Sit-up", "Plank")
    assert "Plank is a hold, and Sit-up has the whole turn, too long to hold" in str(named.stuck)


def test_one_that_is_named_and_fails_is_an_error(capsys, tmp_path):
    path = tmp_path / "t.toml"
    path.write_bytes(MIXED.changed([]))
    code = main(["swap", str(path), "Sit-up", "Plank", "--write"])
    told = capsys.readouterr()
    assert code == 1 and "With Plank the plan would not pass the check" in told.err + told.out
    assert "Plank" not in path.read_text(encoding="utf-8")


# What bibs were spared


def rows(*more):
    row = task("Row in straps", "work_s = 30", "reps = 10", 'tap = "finish"') + "".join(more)
    return plan(block(row, task("Step-up", "work_s = 30")))


def test_a_second_sore_part_does_not_give_back_what_the_first_one_spared():
    text = rows(own("bibs = [1]", 'name = "Lying pull-down"'))
    (swap,) = find_own(text, LIBRARY, BACK, [1])
    assert "Row in straps" not in [choice.entry.name for choice in swap.choices]
    assert (
        "Row in straps"
        in [c.entry.name for c in find_own(text, LIBRARY, Wish("too-easy"), [1])[0].choices]
        or LIBRARY.find("Row in straps").level <= LIBRARY.find("Lying pull-down").level
    )
    (named,) = find_own(text, LIBRARY, BACK, [1], "Lying pull-down", "Row in straps")
    assert named.new.name == "Row in straps"  # who names it gets it


def test_where_only_that_is_left_they_rest_and_it_is_said_why():
    text = rows(own("bibs = [1]", 'name = "Lying pull-down"'))
    straps = Wish("sore", ("back",), kit=frozenset({"suspensionstrap"}))
    (swap, _) = find_own(text, LIBRARY, straps, [1])  # no step is there either
    assert swap.out and not swap.choices
    assert "Nothing but Row in straps can take the place of Lying pull-down here" in str(swap.stuck)
    assert "they were given another for that before" in str(swap.stuck)


def test_an_easier_task_may_go_back_up_to_what_everybody_does():
    push = task("Push-up", "work_s = 30", "reps = 10") + own("bibs = [1]", 'name = "Knee push-up"')
    (swap,) = find_own(plan(block(push)), LIBRARY, Wish("too-easy"), [1])
    assert swap.new.name == "Push-up"


def test_kit_that_anybody_uses_is_not_new_to_the_plan():
    row = task("Band row", "work_s = 30") + own("bibs = [1]", 'name = "Lying pull-down"')
    band = own("bibs = [2]", 'name = "Curl"')
    text = plan(block(row, task("Bent-over W raise", "work_s = 30") + band))
    (swap, *_) = find_own(text, LIBRARY, BACK, [1])
    said = {choice.entry.name: " ".join(choice.why) for choice in swap.choices}
    assert "new to this plan" not in said["Band pull-down"]
    assert "new to this plan" in said["Dead hang"]


# Who leaves it out


LEFT_OUT = rows(own("bibs = [1]", "out = true"))


def test_what_a_bib_leaves_out_is_said():
    with pytest.raises(HandbellError) as caught:
        find_own(LEFT_OUT, LIBRARY, Wish("too-hard"), [1], "Row in straps")
    said = str(caught.value)
    assert "t.toml has Row in straps left out for bib 1 (out = true)" in said
    assert "Name behind it what they do instead, or Row in straps again" in said
    assert find_own(LEFT_OUT, LIBRARY, Wish("sore", ("wrist",)), [1]) == []
    with pytest.raises(HandbellError, match="It has Step-up"):
        find_own(LEFT_OUT, LIBRARY, Wish(), [1], "Burpee", "Squat thrust")


@pytest.mark.parametrize("new", ["Lying W raise", "Row in straps"])
def test_who_leaves_it_out_comes_back_with_what_is_named(new):
    swaps = find_own(LEFT_OUT, LIBRARY, Wish(), [1], "Row in straps", new)
    data, built = swapped_own(LEFT_OUT, swaps)
    exercise = built.plan.blocks[0].exercises[0]
    assert done_by(exercise, 1).name == new and done_by(exercise, 1).reps is not None
    assert done_by(exercise, 2).name == "Row in straps"
    assert b"out = true" not in data and data.count(b"scaled") == 1


def test_where_one_does_it_and_another_not_only_the_one_is_asked_for():
    both = find_own(LEFT_OUT, LIBRARY, Wish(), [1, 2], "Row in straps", "Lying W raise")
    assert [(swap.view.bibs, swap.was_out) for swap in both] == [((1,), True), ((2,), False)]
    one = find_own(LEFT_OUT, LIBRARY, Wish("too-hard"), [1, 2], "Row in straps")
    assert [swap.view.bibs for swap in one] == [(2,)]


# How much of it


def burpees(reps):
    return plan(
        block(task("Burpee", "work_s = 30", f"reps = {reps}"), keys="rounds = 2\nrest_s = 9\n")
    )


@pytest.mark.parametrize(("reps", "became"), [("8", (50,)), ("[8, 4]", (50, 32)), ("3", (24,))])
def test_what_goes_by_much_faster_is_more_than_over_at_once(reps, became):
    """In proportion, both hands alike, but no more than the library's least, 50 in 30 s.

    8 x 70 / 8.5 = 65.9, 4 x 70 / 8.5 = 32.9, 3 x 70 / 8.5 = 24.7: by hand.
    """
    text = burpees(reps)
    swaps = find_own(text, LIBRARY, Wish("sore", ("ankle",)), [1])
    _, built = swapped_own(text, swaps)
    done = done_by(built.plan.blocks[0].exercises[0], 1)
    assert (done.name, done.reps.values) == ("Shadow boxing", became)
    told = any("no more than the library's least" in words for words in swaps[0].said)
    assert told is (became[0] == 50)


def test_what_goes_by_as_fast_is_no_more_than_before():
    text = plan(block(task("Push-up", "work_s = 30", "reps = 10")))
    swaps = find_own(text, LIBRARY, Wish("too-hard"), [1])
    _, built = swapped_own(text, swaps)
    assert done_by(built.plan.blocks[0].exercises[0], 1).reps.values == (10,)
    assert "no more reps than before" in swaps[0].said


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ('format = "as-many-rounds"\nminutes = 7\n', False),
        ('format = "under-a-cap"\nminutes = 7\nrounds = 3\n', False),
        ('format = "ladder"\nfrom = 6\nto = 2\nby = 2\nrest_s = 20\n', True),
    ],
)
def test_only_a_ladder_says_that_its_reps_stay(keys, told):
    line = "work_s = 40" if told else "reps = 5"
    text = plan(block(task("Burpee", line), keys=keys))
    swaps = find_swaps(text, LIBRARY, Wish("sore", ("ankle",)))
    swapped(text, swaps)
    assert ("the ladder's reps and times stay as they are" in swaps[0].said) is told
    assert any("reps 5 become 42" in words for words in swaps[0].said) is not told
