"""``never_after`` through what changes a plan: order, fit and swap keep it, or say what they did."""

import random
from itertools import pairwise, permutations

import pytest

from handbell.cli.main import main
from handbell.coach.fit.fit import Fitted, Misfit, fit
from handbell.coach.fit.one_step import one_step
from handbell.coach.library.apart import breaches
from handbell.coach.library.shelf import load_library
from handbell.coach.order.kit import changes, orders
from handbell.coach.swap.rank import Wish
from handbell.coach.swap.swap import find_swaps
from handbell.coach.swap.write import swapped
from handbell.coach.writing.edit import PlanText
from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell.work.planning.one_step import step_plan
from handbell.work.planning.order import order
from handbell.work.planning.swap import Reasons, swap

LIBRARY = load_library()
RED = '[[group]]\nname = "Red"\nbibs = [1, 2]\n'
SLOT_MS = 660_000


def plan(pairs, *blocks, head=RED):
    return PlanText(text(pairs, *blocks, head=head), "t.toml")


def text(pairs, *blocks, head=RED):
    return f'title = "T"\nnever_after = [{pairs}]\n{head}{"".join(blocks)}'.encode()


def block(*tasks, keys="rest_s = 15\n"):
    return f"[[block]]\n{keys}" + "".join(tasks)


def task(name, more="work_s = 40\n"):
    return f'[[block.exercise]]\nname = "{name}"\n{more}'


def rules(data):
    return parse_plan(data).never_after


ROUNDS = block(
    task("Row in straps", "reps = 10\n"),
    task("Burpee long jump", "reps = 5\n"),
    keys='name = "Rounds"\nformat = "as-many-rounds"\nminutes = 8\nbreak_s = 60\n',
)

# What a rule speaks of


@pytest.mark.parametrize("way", ["easier", "harder"])
def test_a_step_leaves_a_rule_of_names_that_stay(way):
    """A list's own name is no exercise, and stays."""
    made = one_step(plan('["Rounds", "Plank"]', ROUNDS, block(task("Plank"))), LIBRARY, way)
    assert rules(made.data) == (("Rounds", "Plank"),) and made.said == ()


def test_a_swap_leaves_a_rule_of_names_that_stay():
    pairs = '["Rounds", "Squat"], ["Row in straps", "Lunge"]'
    there = plan(pairs, ROUNDS, block(task("Push-up"), task("Squat"), task("Lunge")))
    (found,) = swaps = find_swaps(there, LIBRARY, Wish(), "Push-up", "Knee push-up")
    data, _ = swapped(there, swaps)
    assert rules(data) == there.plan.never_after
    assert not any("never_after" in words for words in found.said)


def test_a_rule_goes_on_with_the_next_step_of_the_ladder(tmp_path):
    path = tmp_path / "t.toml"
    path.write_bytes(text('["Squat", "Box jump"]', block(task("Squat"), task("Box jump"))))
    told = step_plan(path, "harder", write=True)
    assert rules(path.read_bytes()) == (("Slow squat", "Box jump"),)
    assert told.warnings[0] == "never_after speaks of Slow squat now, in place of Squat"
    assert any('"Box jump" comes directly after "Slow squat"' in w for w in told.warnings)


def test_a_rule_goes_on_for_those_who_keep_the_old_exercise_too():
    """Harder leaves own tasks: bib 2 does squats on, written out as such."""
    own = "work_s = 40\nreps = 12\n[[block.exercise.scaled]]\nbibs = [2]\nreps = 8\n"
    made = one_step(
        plan('["Squat", "Box jump"]', block(task("Squat", own), task("Box jump"))),
        LIBRARY,
        "harder",
    )
    assert rules(made.data) == (("Slow squat", "Box jump"), ("Squat", "Box jump"))
    assert made.said == ("never_after speaks of Slow squat now, besides Squat",)


@pytest.mark.parametrize(
    ("to", "pairs", "said"),
    [
        (
            "Knee push-up",
            (("Squat", "Knee push-up"),),
            "never_after speaks of Knee push-up now, in place of Push-up",
        ),
        ("Lunge", (), "never_after no longer speaks of Push-up"),
    ],
)
def test_a_swap_takes_a_rule_along_within_a_pattern(to, pairs, said):
    there = plan('["Squat", "Push-up"]', block(task("Push-up"), task("Squat")))
    (found,) = swaps = find_swaps(there, LIBRARY, Wish(), "Push-up", to)
    data, _ = swapped(there, swaps)
    assert rules(data) == pairs and said in found.said
    assert (b"never_after" in data) == bool(pairs)


def test_a_rule_of_a_list_without_a_name_goes_on_with_its_new_words():
    """A list is called by its parts, and they change."""
    listed = block(
        task("Push-up", "reps = 10\n"),
        task("Sit-up", "reps = 10\n"),
        keys='format = "as-many-rounds"\nminutes = 8\nbreak_s = 60\n',
    )
    made = one_step(
        plan('["10 Push-up, 10 Sit-up", "Plank"]', listed, block(task("Plank"))), LIBRARY, "easier"
    )
    ((one, other),) = rules(made.data)
    assert one == parse_plan(made.data).blocks[0].exercises[0].name != "10 Push-up, 10 Sit-up"
    assert other == "Plank" and made.said


# What would break one


NARROW = (
    '["Row in straps", "Push-up"]',
    block(task("Row in straps"), task("Narrow push-up"), keys="rest_s = 15\nbreak_s = 60\n"),
    block(task("Push-up")),
)


def test_a_choice_that_a_rule_forbids_comes_last():
    (found,) = find_swaps(plan(*NARROW), LIBRARY, Wish("too-hard"), "Narrow push-up")
    forbidden = next(c for c in found.choices if c.entry.name == "Push-up")
    assert found.choices[-1] is forbidden
    assert "never_after rules it out beside Row in straps" in forbidden.why
    free = plan('["Squat", "Push-up"]', *NARROW[1:], block(task("Squat")))
    (found,) = find_swaps(free, LIBRARY, Wish("too-hard"), "Narrow push-up")
    assert found.choices[-1].entry.name != "Push-up"


def test_a_step_takes_no_exercise_that_a_rule_forbids():
    made = one_step(plan(*NARROW), LIBRARY, "easier")
    names = [e.name for e in parse_plan(made.data).blocks[0].exercises]
    assert names == ["Row in straps", "Narrow push-up"]
    free = plan('["Squat", "Push-up"]', *NARROW[1:], block(task("Squat")))
    made = one_step(free, LIBRARY, "easier")
    assert parse_plan(made.data).blocks[0].exercises[1].name == "Push-up"


@pytest.mark.parametrize(
    ("parts", "pair", "is_ruled_out"),
    [
        (("Push-up", "Goblet squat", "Row in straps"), ("Push-up", "Squat"), True),
        (("Push-up", "Goblet squat", "Row in straps"), ("Squat", "Row in straps"), True),
        (("Push-up", "Goblet squat", "Row in straps"), ("Row in straps", "Squat"), False),
        (("Goblet squat", "Push-up", "Row in straps"), ("Row in straps", "Squat"), True),
        (("Push-up", "Row in straps", "Goblet squat"), ("Squat", "Push-up"), True),
    ],
)
def test_a_part_of_a_list_stands_beside_the_parts_before_and_after_it(parts, pair, is_ruled_out):
    """The last part comes before the first of the next round."""
    listed = block(
        *(task(name, "reps = 5\n") for name in parts),
        keys='format = "as-many-rounds"\nminutes = 8\nname = "L"\n',
    )
    there = plan(
        str(list(pair)).replace("'", '"'), listed, block(task("Squat"), keys="gate = true\n")
    )
    (found,) = find_swaps(there, LIBRARY, Wish("too-hard"), "Goblet squat")
    (squat,) = (c for c in found.choices if c.entry.name == "Squat")
    assert any("never_after" in words for words in squat.why) == is_ruled_out


@pytest.mark.parametrize(("rounds", "is_ruled_out"), [(3, True), (1, False)])
def test_a_list_that_comes_again_stands_beside_itself(rounds, is_ruled_out):
    parts = "".join(
        f'[[block.exercise.part]]\nname = "{name}"\nreps = 5\n'
        for name in ("Goblet squat", "Push-up", "Row in straps")
    )
    there = plan(
        '["Row in straps", "Squat"]',
        block(task("Set", f"work_s = 60\nreps = 1\n{parts}"), keys=f"rounds = {rounds}\n"),
        block(task("Squat"), keys="gate = true\n"),
    )
    (found,) = find_swaps(there, LIBRARY, Wish("too-hard"), "Goblet squat")
    (squat,) = (c for c in found.choices if c.entry.name == "Squat")
    assert any("never_after" in words for words in squat.why) == is_ruled_out


def test_a_pair_that_a_swap_makes_is_told(tmp_path):
    path = tmp_path / "t.toml"
    path.write_bytes(text(*NARROW))
    told = swap(path, "Narrow push-up", Reasons(), "Push-up")
    assert any("directly after" in words for words in told.warnings)
    path.write_bytes(
        text(
            '["Row in straps", "Push-up"]',
            block(task("Row in straps"), task("Dip")),
            block(task("Push-up"), keys="gate = true\n"),
        )
    )
    told = swap(path, "Dip", Reasons(), "Push-up", bibs=[2])
    assert any('for bib 2, "Push-up" comes directly after' in words for words in told.warnings)


# Order


TWO_LANES = "boxes = 2\n"
SQUAT_FIRST = block(
    task("Squat"), task("Box jump"), task("Dead bug"), keys="rest_s = 15\nbreak_s = 20\n{}"
)
CARRY = block(task("Farmer carry"), task("Plank"))
APART = '["Squat", "Box jump"], ["{}", "Farmer carry"]'


def ordered(there):
    return build(parse_plan(there.changed(changes(there.plan, orders(there.plan))))).schedule


@pytest.mark.parametrize("last", ["Squat", "Box jump", "Dead bug"])
@pytest.mark.parametrize("said", ["", "order = [[2, 3, 1], [2, 3, 1]]\n"])
def test_an_order_heeds_what_comes_in_the_next_block(last, said):
    there = plan(APART.format(last), SQUAT_FIRST.format(said), CARRY, head=TWO_LANES)
    assert breaches(ordered(there)) == []


def test_an_order_heeds_the_order_found_for_the_block_before():
    """Block 1 must end with the squat, so block 2 begins with another."""
    first = block(task("Squat"), task("Box jump"), keys="rest_s = 15\nbreak_s = 20\n")
    pairs = '["Squat", "Box jump"], ["Squat", "Farmer carry"]'
    there = plan(pairs, first, CARRY, head=TWO_LANES)
    made = ordered(there)
    assert breaches(made) == []
    assert made.plan.blocks[1].order == ((2, 1), (2, 1))


def test_a_rotation_takes_no_more_windows_for_it():
    head = 'layout = "rotation"\n' + "".join(
        f'[[group]]\nname = "{name}"\nbibs = [{n}]\n' for n, name in enumerate("ABC", 1)
    )
    first = block(task("Squat"), task("Box jump"), task("Dead bug"), keys="break_s = 20\n")
    second = block(task("Farmer carry"), task("Plank"), task("Lunge"))
    there = plan('["Dead bug", "Farmer carry"]', first, second, head=head)
    assert breaches(build(there.plan).schedule) != []
    made = ordered(there)
    assert breaches(made) == []
    assert made.course.windows == build(there.plan).schedule.course.windows


def test_what_no_order_keeps_apart_is_told(tmp_path, capsys):
    path = tmp_path / "t.toml"
    one, other = block(task("Squat"), keys="break_s = 20\n"), block(task("Lunge"))
    path.write_bytes(text('["Squat", "Lunge"]', one, other))
    found = order(path)
    assert not found.changed and not found.apart
    assert any("directly after" in words for words in found.warnings)
    assert main(["order", str(path)]) == 0
    out = capsys.readouterr().out
    assert "already fits" not in out and 'note: block 2, exercise 1: "Lunge" comes' in out


# A break that fit shortens


def held(break_s, more=""):
    first = task("Squat") + task("Row in straps"), task("Push-up") + task("Dead bug")
    one = block(first[0], keys=f"rest_s = 15\nrounds = 3\nbreak_s = {break_s}\n")
    return plan(
        '["Row in straps", "Push-up"]',
        one,
        block(first[1], keys="rest_s = 15\nrounds = 3\n"),
        head=more,
    ).plan


@pytest.mark.parametrize(("break_s", "to_ms"), [(60, 60_000), (90, 60_000)])
def test_fit_keeps_a_minute_that_keeps_a_pair_apart(break_s, to_ms):
    there = held(break_s)
    found = fit(there, SLOT_MS - 240_000)
    assert isinstance(found, Fitted)
    assert found.plan.blocks[0].break_ms == to_ms
    free = fit(there.model_copy(update={"never_after": ()}), SLOT_MS - 240_000)
    assert free.plan.blocks[0].break_ms < to_ms


def test_what_the_plans_own_bounds_bring_back_is_told(tmp_path, capsys):
    there = tmp_path / "t.toml"
    there.write_bytes(held(60, "").source + b"[fit]\nbreak_s = [20, 30]\n")
    assert main(["fit", str(there), "--minutes", "7"]) == 0
    assert "note: block 2, exercise 1" in capsys.readouterr().out


def test_a_slot_missed_by_a_held_break_says_so(tmp_path, capsys):
    path = tmp_path / "t.toml"
    path.write_bytes(held(60).source + b'[fit]\nkeep = ["rests", "windows", "rounds"]\n')
    assert isinstance(fit(parse_plan(path.read_bytes()), 500_000), Misfit)
    assert main(["fit", str(path), "--minutes", "8"]) != 0
    out = capsys.readouterr().out
    assert "The break after block 1 stays a minute: never_after needs it." in out


def test_a_break_that_the_plan_lets_go_is_not_called_held(tmp_path, capsys):
    path = tmp_path / "t.toml"
    bounds = '[fit]\nbreak_s = [20, 40]\nkeep = ["rests", "windows", "rounds"]\n'
    path.write_bytes(held(60).source + bounds.encode())
    assert main(["fit", str(path), "--minutes", "5"]) != 0
    assert "never_after needs it" not in capsys.readouterr().out


NAMES = "Squat", "Lunge", "Dead bug"
EVERY = (*NAMES, "Half squat", "Bridge", "Plank")


@pytest.mark.parametrize("seed", range(24))
def test_an_order_is_found_where_there_is_one(seed):
    """Against all orders of a block between two that can't change; bib 2 has an own task."""
    dice = random.Random(seed)
    rules = {(dice.choice(EVERY), dice.choice(EVERY)) for _ in range(5)}
    pairs = ", ".join(f'["{one}", "{other}"]' for one, other in sorted(rules))
    own = 'work_s = 40\n[[block.exercise.scaled]]\nbibs = [2]\nname = "Half squat"\n'
    there = plan(
        pairs,
        block(task("Bridge"), keys="break_s = 20\n"),
        block(task("Squat", own), *map(task, NAMES[1:]), keys="break_s = 20\n"),
        block(task("Plank")),
        head='[[group]]\nname = "A"\nbibs = [1]\n[[group]]\nname = "B"\nbibs = [2]\n',
    )

    def lane(squat):
        rows = permutations((squat, *NAMES[1:]))
        inside = [row for row in rows if rules.isdisjoint(pairwise(row))]
        return inside, [r for r in inside if rules.isdisjoint(pairwise(("Bridge", *r, "Plank")))]

    lanes = lane("Squat"), lane("Half squat")
    shared = orders(there.plan)[1]
    if not all(inside for inside, _ in lanes):
        assert shared.clash is not None
    elif all(best for _, best in lanes):
        assert breaches(ordered(there)) == []
    else:
        assert shared.clash is None
        found = breaches(ordered(there))
        assert not any(b.first[0] == b.second[0] for b in found)
        assert {bib for b in found for bib in b.bibs} == {
            bib for bib, (_, best) in enumerate(lanes, 1) if not best
        }
