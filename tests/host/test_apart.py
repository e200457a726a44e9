"""What comes directly after what, for whom, and which rules of ``never_after`` that breaks."""

import random
from itertools import pairwise

import pytest
from drawn_plans import drawn

from handbell.coach.library.apart import breach_words, breaches, held_breaks
from handbell.coach.library.following import Following, followings
from handbell.coach.library.remarks import coach_remarks
from handbell.coach.library.shelf import load_library
from handbell.coach.order.kit import faults
from handbell.compile.schedule import resolve
from handbell.plan.files import parse_plan
from handbell.plan.model import Scaled, for_bib
from handbell.plan.own_tasks import everybody
from handbell_core.timeline import GATE, WINDOW

LIBRARY = load_library()
RED = '[[group]]\nname = "Red"\nbibs = [1, 2]\n'
ROW, PUSH = '["Row in straps", "Push-up"]', '["Push-up", "Row in straps"]'


def told(*blocks, pairs=ROW, head=RED):
    """Return the breaches, and the places and names that their notes begin with."""
    plan = parse_plan(f'title = "T"\nnever_after = [{pairs}]\n{head}{"".join(blocks)}'.encode())
    schedule = resolve(plan)
    found = breaches(schedule)
    words = breach_words(plan, found)
    assert [w for w in coach_remarks(schedule, LIBRARY) if "never_after" in w] == words
    assert not [words for _, words in faults(schedule) if "directly after" in words]
    return found, [w.split(", which never_after")[0] for w in words]


def block(*tasks, keys="rest_s = 15"):
    return f"[[block]]\n{keys}\n" + "".join(tasks)


def task(name, *own, work="work_s = 40\n"):
    return f'[[block.exercise]]\nname = "{name}"\n{work}' + "".join(own)


def part(name):
    return task(name, work="reps = 10\n")


def own(bibs, what="out = true"):
    return f"[[block.exercise.scaled]]\nbibs = {bibs}\n{what}\n"


def after(place, whom=""):
    return f'{place}: {whom}"Push-up" comes directly after "Row in straps"'


# In lists

AS_MANY = 'format = "as-many-rounds"\nminutes = 10\nname = "Rounds"'
CAP = 'format = "under-a-cap"\nminutes = 6\nname = "Rounds"\n'


@pytest.mark.parametrize(
    ("form", "parts", "said"),
    [
        (AS_MANY, ("Row in straps", "Push-up"), ["block 1, exercise 2"]),
        (AS_MANY, ("Push-up", "Squat", "Row in straps"), ["block 1, exercise 1"]),  # next round
        (CAP + "rounds = 3", ("Push-up", "Squat", "Row in straps"), ["block 1, exercise 1"]),
        (CAP, ("Push-up", "Squat", "Row in straps"), []),  # once through
        (CAP, ("Row in straps", "Squat", "Push-up"), []),
        (AS_MANY, ("Row in straps",), []),
    ],
)
def test_a_list_is_looked_at_part_by_part_and_round_by_round(form, parts, said):
    pairs = f"{ROW}, {ROW}" if "Push-up" in parts else '["Row in straps", "Row in straps"]'
    _, words = told(block(*map(part, parts), keys=form), pairs=pairs)
    assert words == [after(place) for place in said]


def test_a_list_among_exercises_names_its_part():
    parts = "".join(
        f'[[block.exercise.part]]\nname = "{name}"\nreps = 5\n'
        for name in ("Squat", "Row in straps", "Push-up")
    )
    _, words = told(block(task("Both", parts), task("Lunge")))
    assert words == [after("block 1, exercise 1, part 3")]


def a_list(*names, reps=1):
    """A list among exercises, gone through so often in its window."""
    parts = (f'[[block.exercise.part]]\nname = "{name}"\nreps = 5\n' for name in names)
    return task("Set", "".join(parts), work=f'work_s = 60\nreps = {reps}\ntap = "finish"\n')


@pytest.mark.parametrize(
    ("keys", "tasks", "is_told"),
    [
        ("rounds = 3", (), True),
        ("rounds = 3\nrest_s = 90", (), True),
        ("rounds = 1", (), False),
        ("rounds = 3", (task("Lunge"),), False),
        ("rounds = 3", (task("Lunge", own([1, 2]), work="work_s = 10\n"),), True),
    ],
)
def test_a_list_that_comes_again_begins_after_its_own_end(keys, tasks, is_told):
    """Gone through once in each window, and window after window."""
    there = block(a_list("Push-up", "Squat", "Row in straps"), *tasks, keys=keys)
    found, words = told(there)
    assert words == ([after("block 1, exercise 1, part 1")] if is_told else [])
    assert [breach.bibs for breach in found] == [(1, 2)] * is_told


def test_a_list_gone_through_again_is_named_once():
    there = block(a_list("Push-up", "Row in straps", reps=2), keys="rounds = 3")
    assert len(told(there)[0]) == 1


def test_where_people_move_by_rounds_a_list_comes_again_at_its_station():
    head = 'layout = "rotation"\nmove = "round"\n' + "".join(
        f'[[group]]\nname = "{name}"\nbibs = [{n}]\n' for n, name in enumerate("AB", 1)
    )
    squat = task("Squat", work="work_s = 60\n")
    there = block(a_list("Push-up", "Row in straps"), squat, keys="rounds = 3\nrest_s = 10")
    assert told(there, head=head)[1] == [after("block 1, exercise 1, part 1")]


def test_who_does_another_task_than_the_list_is_not_meant():
    another = own([2], 'name = "Dead bug"\ntap = "none"')
    there = block(a_list("Push-up", "Row in straps") + another, keys="rounds = 2")
    assert [breach.bibs for breach in told(there)[0]] == [(1,)]


def test_parts_that_are_handed_over_are_somebody_elses():
    form = 'format = "hand-over"\nminutes = 5'
    assert told(block(part("Row in straps"), part("Push-up"), keys=form))[1] == []


@pytest.mark.parametrize(
    ("pair", "first"), [('["Rounds", "Squat"]', "Rounds"), ('["Lunge", "Squat"]', "Lunge")]
)
def test_a_list_is_followed_by_its_name_and_by_its_last_part(pair, first):
    blocks = block(part("Row in straps"), part("Lunge"), keys=AS_MANY), block(task("Squat"))
    _, words = told(*blocks, pairs=pair)
    assert words == [f'block 2, exercise 1: "Squat" comes directly after "{first}"']
    assert told(blocks[0].replace(AS_MANY, f"{AS_MANY}\nbreak_s = 60"), blocks[1], pairs=pair) == (
        [],
        [],
    )
    _, words = told(blocks[1], blocks[0], pairs='["Squat", "Rounds"], ["Squat", "Row in straps"]')
    assert len(words) == 2


# For whom


OWN = own([2], 'name = "Row in straps"\ntap = "none"')
DEAD = 'name = "Dead bug"\ntap = "none"'
TWO = block(task("Row in straps"), keys="break_s = 20"), block(task("Push-up"))


@pytest.mark.parametrize(
    ("first", "second", "whom"),
    [
        ("", "", ""),
        (own([1, 2]), "", None),  # nobody does it
        (own([1, 2], DEAD), "", None),
        (own([1], DEAD) + own([2]), "", None),
        (own([1]), "", "for bib 2, "),
        ("", own([2], DEAD), "for bib 1, "),
    ],
)
def test_it_is_said_for_those_who_do_both(first, second, whom):
    blocks = (
        block(task("Row in straps", first), keys="break_s = 20"),
        block(task("Push-up", second)),
    )
    _, words = told(*blocks)
    assert words == ([] if whom is None else [after("block 2, exercise 1", whom)])


def test_an_own_task_is_as_good_as_everybodys():
    found, words = told(block(task("Squat", OWN), task("Push-up")), block(task("Row in straps")))
    assert words[0] == after("block 1, exercise 2", "for bib 2, ")
    assert [(b.names, b.bibs) for b in found] == [(("Row in straps", "Push-up"), (2,))]


def test_a_rule_may_name_what_only_single_bibs_do():
    tasks = task("Squat", own([2], 'name = "Half squat"')), task("Lunge")
    _, words = told(block(*tasks), pairs='["Half squat", "Lunge"]')
    assert words == ['block 1, exercise 2: for bib 2, "Lunge" comes directly after "Half squat"']


@pytest.mark.parametrize(("work_s", "is_told"), [(30, True), (60, False)])
def test_who_leaves_something_out_does_the_next_directly(work_s, is_told):
    """Its window is rest: after a minute of it they have recovered."""
    left = task("Squat", own([1, 2]), work=f"work_s = {work_s}\n")
    _, words = told(block(task("Row in straps"), left, keys=""), block(task("Push-up")))
    assert words == ([after("block 2, exercise 1")] if is_told else [])


ROTATION = 'layout = "rotation"\nbuttons = 2\n' + "".join(
    f'[[group]]\nname = "{name}"\nbibs = {bibs}\n'
    for name, bibs in (("North", [11, 12]), ("East", [21, 22]), ("West", [31, 32]))
)


def test_in_a_rotation_an_own_task_goes_with_its_group():
    """By hand: East ends at station 1 and begins again at 2, where bib 11 never comes so."""
    first = block(
        task("Squat", own([11], 'name = "Row in straps"')),
        task("Dead bug"),
        task("Row in straps"),
        keys="rest_s = 20\nbreak_s = 20",
    )
    second = block(task("Bridge"), task("Push-up"), task("Side lunge"), keys="rest_s = 20")
    assert told(first, second, head=ROTATION)[1] == []
    # West ends at station 2, and begins at 3; so whoever is told must be of West.
    swapped = first.replace("Dead bug", "Row in straps"), second.replace("Side lunge", "Push-up")
    found, _ = told(*swapped, head=ROTATION)
    assert (("Row in straps", "Push-up"), (31, 32)) in {(b.names, b.bibs) for b in found}


# Relays


LEGS = 'format = "relay"\nleg_s = 30\nlegs = 12\nrest_s = 5\nbreak_s = 10'
TEAMS = (
    '[[group]]\nname = "Red"\nbibs = [1, 2]\n[[group]]\nname = "Blue"\nbibs = [3, 4, 5]\n'
    '[[group]]\nname = "Solo"\nbibs = [9]\n'
)


def leg(name):
    return task(name, work="")


def test_whoever_has_the_first_leg_comes_to_it_directly():
    """Block 1 has had a turn, so the second of each group begins, 30 s after the row; leg 2 comes
    35 s later, and by then people have recovered.
    """
    before = block(task("Row in straps"), keys="break_s = 30")
    found, words = told(before, block(leg("Push-up"), leg("Squat"), keys=LEGS), head=TEAMS)
    assert [(b.first, b.second, len(b.bibs)) for b in found] == [((0, 0), (1, 0), 3)]
    assert words == [after("block 2, exercise 1", "for bibs 2, 4, 9, ")]


def test_whoever_has_the_last_leg_goes_on_directly():
    """Of 12 legs the last is bib 2's, bib 5's and bib 9's; whoever had leg 11 has 35 s more."""
    for break_s, bibs in ((20, (1, 2, 4, 5, 9)), (30, (2, 5, 9))):
        relay = block(leg("Row in straps"), keys=LEGS.replace("= 10", f"= {break_s}"))
        found, _ = told(relay, block(task("Push-up")), head=TEAMS)
        assert [b.bibs for b in found] == [bibs]


def test_from_leg_to_leg_it_is_somebody_else():
    assert told(block(leg("Row in straps"), leg("Push-up"), keys=LEGS), head=TEAMS) == ([], [])


def test_a_relay_by_taps_has_a_first_leg_and_nobody_knows_the_last():
    taps = 'format = "hand-over"\nminutes = 5\nbreak_s = 10'
    before, relay = block(task("Row in straps"), keys="break_s = 10"), block(part("Push-up"))
    relay = relay.replace("rest_s = 15", taps)
    found, _ = told(before, relay, head=RED)
    assert [b.bibs for b in found] == [(1,)]
    found, _ = told(relay.replace("Push-up", "Row in straps"), block(task("Push-up")), head=RED)
    assert found == []


# In a block, and between blocks


@pytest.mark.parametrize("rest_s", [15, 90])
def test_in_a_block_the_next_is_direct_however_long_the_rest(rest_s):
    _, words = told(block(task("Row in straps"), task("Push-up"), keys=f"rest_s = {rest_s}"))
    assert words == [after("block 1, exercise 2")]


def test_round_after_round_the_first_follows_the_last():
    tasks = task("Push-up"), task("Squat"), task("Row in straps")
    assert told(block(*tasks))[1] == []
    assert told(block(*tasks, keys="rounds = 2"))[1] == [after("block 1, exercise 1")]


def test_a_wait_parts_two_of_a_block():
    """A group that waits 30 s between does not do them directly, though it has not recovered."""
    head = 'layout = "rotation"\n[[group]]\nname = "A"\nbibs = [1]\n'
    keys = "rounds = 1\nchange_s = 5\norder = [[{}]]"
    tasks = task("Row in straps", work="work_s = 30\n"), task("Push-up", work="work_s = 30\n")
    for row, is_told in (("1, 2", True), ("1, 0, 2", False)):
        found, _ = told(block(*tasks, keys=keys.format(row)), head=head)
        assert bool(found) == is_told
        assert set(followings(resolve_of(tasks, keys.format(row), head))) == {((0, 0), (0, 1))}


def resolve_of(tasks, keys, head):
    return resolve(parse_plan(f'title = "T"\n{head}{block(*tasks, keys=keys)}'.encode()))


def test_lanes_that_do_the_same_are_followed_together():
    schedule = resolve(parse_plan(f'title = "T"\n{TEAMS}{"".join(TWO)}'.encode()))
    assert Following(schedule).direct == {((0, 0), (1, 0)): {1, 2, 3, 4, 5, 9}}


@pytest.mark.parametrize(("keys", "held"), [("break_s = 60", {0}), ("break_s = 59", set())])
def test_a_break_that_keeps_a_pair_apart_is_known(keys, held):
    text = f'title = "T"\nnever_after = [{ROW}]\n{TWO[0].replace("break_s = 20", keys)}{TWO[1]}'
    plan = parse_plan(f"{text}[[block]]\n{task('Lunge')}".encode())
    assert held_breaks(plan) == held
    assert held_breaks(plan.model_copy(update={"never_after": (("Push-up", "Squat"),)})) == set()


# Against a walk of each bib by itself


def alone(schedule, walker, bib):
    """Return what a bib does directly after what, and soon, by walking all windows."""
    plan, done, gates, waits = schedule.plan, [], [], []
    for s in schedule.stretches:
        if s.kind == GATE:
            gates.append(s.start_ms)
        post = schedule.walks[s.block - 1][s.step][walker] if s.kind == WINDOW else None
        if s.kind == WINDOW and post is None:
            waits.append(s.start_ms)
        if post is None or for_bib(post.exercise, bib).is_left_out:
            continue
        if not plan.blocks[s.block - 1].relay or bib in post.bibs(s.turn):
            done.append((s.start_ms, s.end_ms, (s.block - 1, post.number), s.window))
    soon, direct = set(), set()
    for (_, end_ms, one, n), (start_ms, _, other, m) in pairwise(done):
        gate = any(end_ms <= at_ms <= start_ms for at_ms in gates)
        is_near = start_ms - end_ms < 60_000 and not gate
        inside = one[0] == other[0]
        if inside and plan.blocks[one[0]].relay:
            continue
        waited = any(end_ms <= at_ms < start_ms for at_ms in waits)
        soon |= {(one, other)} if is_near and one != other else set()
        is_list = bool(plan.blocks[one[0]].exercises[one[1]].parts)
        if (
            (one != other or is_list) and (not waited and (m == n + 1 or is_near))
            if inside
            else is_near
        ):
            direct.add((one, other))
    return soon, direct


def with_rests(plan, dice):
    """Return a plan in which some bibs leave some exercises out."""
    blocks = []
    for there in plan.blocks:
        exercises = []
        for exercise in there.exercises:
            if dice.random() < 0.4:
                bibs = [bib for bib in everybody(plan) if dice.random() < 0.4] or [1]
                left = Scaled.model_validate({"bibs": bibs, "out": True})
                exercise = exercise.model_copy(update={"scaled": (left,)})
            exercises.append(exercise)
        blocks.append(there.model_copy(update={"exercises": tuple(exercises)}))
    return plan.model_copy(update={"blocks": tuple(blocks)})


@pytest.mark.parametrize("seed", range(60))
def test_each_bib_by_itself_does_the_same(seed):
    plan = with_rests(parse_plan(drawn(f"apart-{seed}").encode()), random.Random(seed))
    schedule = resolve(plan)
    following = Following(schedule)
    soon, direct = {}, {}
    people = [g.bibs for g in plan.groups] or [(n + 1,) for n in range(plan.boxes)]
    for walker, bibs in enumerate(people):
        for bib in bibs:
            for found, pairs in zip((soon, direct), alone(schedule, walker, bib), strict=True):
                for pair in pairs:
                    found.setdefault(pair, set()).add(bib)
    assert following.soon == soon
    assert following.direct == direct
