"""From a verdict to the concrete change, to what changes for all, to next week's plan."""

from dataclasses import replace

import pytest
from made_sessions import LIMITS, case, goal, hold, session

from handbell.base.errors import HandbellError
from handbell.coach.advice.advice import Case, Flatness, Verdict
from handbell.coach.advice.plan import advise_all, decide, next_plan
from handbell.coach.library.shelf import load_library
from handbell.coach.writing.edit import PlanText
from handbell.plan.files import parse_plan
from handbell_core import timeline as t

LIBRARY = load_library()
READY = session(rest_s=12)
PLAN = """\
# Mondays
title = "Harbour loop"   # as every week

[[block]]
rounds = 3
  [[block.exercise]]
  name = "Push-up"     # full ones
  work_s = 30
  reps = 10            # was 9 in May
  [[block.exercise]]
  name = "Squat jump"
  work_s = 30
  goal = 10
  [[block.exercise]]
  name = "Plank"
  work_s = 30
  hold = true
  tap = "drop"
"""


def text(words=PLAN):
    return PlanText(words.encode(), "monday.toml")


def step(one, plan=None, **how):
    (advice,) = advise_all([case(one, one, **how)], LIBRARY, LIMITS, plan)
    return advice.step


def test_harder_is_a_tenth_more_reps_while_the_library_thinks_that_sensible():
    assert step(READY).keys == {"reps": 11}
    assert step(READY).words == "11 reps, not 10"
    assert step(goal(12, 12, 12)).keys == {"goal": 11}
    assert step(session((6,) * 3, 6, rest_s=12)).keys == {"reps": 7}  # a whole rep at least


def test_sides_that_take_turns_go_by_twos():
    one = session((20,) * 3, 20, rest_s=12, name="Side lunge")
    assert step(one).keys["reps"] % 2 == 0
    assert step(session((10,) * 3, rest_s=12, both_sides=True)).keys == {"reps": 12}


def test_at_the_top_of_the_range_it_is_the_next_exercise_of_the_ladder():
    top = session((14,) * 3, 14, rest_s=12)
    found = step(top)
    harder = [e.name for e in LIBRARY.harder(LIBRARY.need("Push-up"))]
    assert found.keys["name"] in harder
    entry = LIBRARY.need(found.keys["name"])
    assert found.keys["reps"] <= sum(entry.reps_30s) / 2  # it begins in the middle


def test_easier_is_what_was_done_of_late():
    missed = session((16, 15, 17), 20, rating=8, name="Crunch")
    assert step(missed).keys == {"reps": [16, 15, 17]}


def test_below_the_range_it_is_the_easier_exercise():
    missed = session((6, 5, 5), 10, rating=8)
    assert step(missed).keys["name"] == "Knee push-up"


def test_late_rounds_become_what_is_within_reach():
    found = step(session((10, 9, 7), rating=8))
    assert (found.keys, found.words) == ({"reps": [10, 9, 7]}, "10-9-7 reps, not 10")


def test_a_hold_goes_along_the_ladder():
    easier = [e.name for e in LIBRARY.easier(LIBRARY.need("Plank"))]
    assert step(hold((30, 20, 12), rating=9)).keys["name"] in easier


def test_kit_that_the_plan_does_not_use_is_not_brought_in():
    missed = session((5, 5, 4), 10, rating=8, name="Row")
    found = LIBRARY.need(step(missed, text()).keys["name"])
    assert found.level < 3 and not found.kit


def test_an_exercise_that_the_library_does_not_know_changes_in_reps_alone():
    assert step(session(rest_s=12, name="Tyre dance")).keys == {"reps": 11}
    assert step(hold((30, 20, 12), rating=9)) is not None
    assert step(replace(hold((30, 20, 12), rating=9), name="Stone hug")) is None


def test_the_step_starts_from_the_variation_that_was_done():
    found = step(session((16,) * 3, 16, rest_s=12, name="Knee push-up"))
    assert found.keys["name"] in [e.name for e in LIBRARY.harder(LIBRARY.need("Knee push-up"))]


def people(*sessions, **how):
    return [replace(case(s, s, **how), bib=n, who=f"Bib {n}") for n, s in enumerate(sessions, 1)]


def decided(*sessions, plan=None, **how):
    cases = people(*sessions, **how)
    (decision,) = decide(advise_all(cases, LIBRARY, LIMITS, plan), LIMITS.everybody)
    return decision


STEADY, TIRED = session(rest_s=4), session((7, 7, 6), rating=9)


def test_the_plan_changes_when_most_need_it():
    some = decided(READY, READY, READY, STEADY, STEADY)
    assert (some.verdict, some.agree, some.judged) == (Verdict.HARDER, 3, 5)
    assert some.step.keys == {"reps": 11}
    assert [a.case.bib for a in some.others] == [4, 5]


def test_the_plan_stays_when_too_few_do_and_those_are_named():
    few = decided(READY, READY, STEADY, STEADY, STEADY)
    assert (few.verdict, few.step) == (Verdict.SAME, None)
    assert [a.case.bib for a in few.others] == [1, 2]


def test_fewer_than_three_must_all_agree():
    assert decided(READY, READY).verdict is Verdict.HARDER
    assert decided(READY, STEADY).verdict is Verdict.SAME


def test_easier_needs_fewer_than_harder():
    assert decided(TIRED, TIRED, STEADY, STEADY).verdict is Verdict.EASIER


def test_doubtful_data_has_no_say():
    cases = people(READY, READY, STEADY)
    cases = [replace(c, doubts=("double presses",)) if c.bib < 3 else c for c in cases]
    (decision,) = decide(advise_all(cases, LIBRARY, LIMITS), LIMITS.everybody)
    assert (decision.judged, decision.verdict, decision.others) == (1, Verdict.SAME, ())


def test_doubtful_data_is_given_no_step_of_its_own_and_keeps_what_it_had():
    cases = people(READY, READY, READY, READY)
    cases[0] = replace(cases[0], doubts=("double presses",))
    (decision,) = decide(advise_all(cases, LIBRARY, LIMITS), LIMITS.everybody)
    assert (decision.agree, decision.judged, decision.verdict) == (3, 3, Verdict.HARDER)
    assert [(a.case.bib, a.step) for a in decision.others] == [(1, None)]


def written(*sessions, plan=PLAN, item=1):
    own = text(plan)
    cases = [replace(c, item=item) for c in people(*sessions)]
    decisions = decide(advise_all(cases, LIBRARY, LIMITS, own), LIMITS.everybody)
    return next_plan(decisions, own).decode()


def test_next_weeks_plan_is_last_weeks_with_the_change_in_it():
    assert written(READY, READY) == PLAN.replace("reps = 10  ", "reps = 11  ")


def test_nothing_to_change_is_the_same_to_the_byte():
    assert written(STEADY, STEADY) == PLAN
    assert written(STEADY, plan=PLAN.replace("\n", "\r\n")) == PLAN.replace("\n", "\r\n")


def test_another_exercise_keeps_windows_comments_and_order():
    top = session((14,) * 3, 14, rest_s=12)
    plan = PLAN.replace("reps = 10 ", "reps = 14 ")
    new = written(top, plan=plan)
    exercise = parse_plan(new.encode()).blocks[0].exercises[0]
    assert LIBRARY.need(exercise.name) in LIBRARY.harder(LIBRARY.need("Push-up"))
    assert "# full ones" in new and "# was 9 in May" in new and "# as every week" in new
    assert exercise.work.values == (30_000,)


def test_a_list_by_round_is_written_where_the_rounds_match():
    assert "reps = [10, 9, 7]" in written(session((10, 9, 7), rating=8))
    two = PLAN.replace("rounds = 3", "rounds = 2")
    assert "reps = 7 " in written(session((10, 9, 7), rating=8), plan=two)


def test_a_hold_is_swapped_for_the_next_one():
    new = parse_plan(written(hold((30, 20, 12), rating=9), item=3).encode())
    exercise = new.blocks[0].exercises[2]
    assert exercise.name == "Knee plank" and exercise.hold


def test_an_exercise_that_moved_in_the_plan_is_found_by_its_name():
    moved = PLAN.replace('name = "Push-up" ', 'name = "Row" ').replace("Squat jump", "Push-ups")
    new = parse_plan(written(READY, plan=moved.replace("goal", "reps")).encode())
    assert [e.reps.values for e in new.blocks[0].exercises[:2]] == [(10,), (11,)]


def test_an_exercise_that_is_not_in_the_plan_changes_nothing():
    own = text(PLAN.replace("Push-up", "Dip"))
    cases = people(READY, READY)
    decisions = decide(advise_all(cases, LIBRARY, LIMITS, own), LIMITS.everybody)
    assert next_plan(decisions, own) == own.changed([])
    assert decisions[0].place_in(own) is None


def test_a_plan_that_would_not_pass_is_not_written():
    own = text()
    cases = people(READY, READY)
    (decision,) = decide(advise_all(cases, LIBRARY, LIMITS, own), LIMITS.everybody)
    broken = replace(decision, step=replace(decision.step, keys={"reps": 11, "goal": 3}))
    with pytest.raises(HandbellError, match="would not pass the check"):
        next_plan([broken], own)


def test_a_plan_in_other_ways_of_tapping_keeps_them():
    plan = PLAN.replace("reps = 10   ", 'tap = "finish"\n  reps = 10   ')
    assert 'tap = "finish"' in written(replace(READY, tap=t.TAP_FINISH), plan=plan)


GROUP = PLAN.replace(
    "\n[[block]]", '\n[[group]]\nname = "Red"\nbibs = [1, 2, 3, 4, 5]\n\n[[block]]', 1
)


def test_those_who_need_something_else_get_tables_of_their_own():
    new = written(READY, READY, READY, STEADY, TIRED, plan=GROUP)
    plan = parse_plan(new.encode(), "next.toml")
    push_up = plan.blocks[0].exercises[0]
    assert push_up.reps.values == (11,)
    tables = {own.bibs: own for own in push_up.scaled}
    assert tables[(4,)].reps.values == (10,)  # as now, where the others do more
    assert tables[(5,)].name == "Knee push-up"
    assert "# full ones" in new and "# was 9 in May" in new


def test_people_alike_share_a_table_and_strangers_get_none():
    new = written(READY, READY, STEADY, STEADY, STEADY, plan=GROUP)
    push_up = parse_plan(new.encode(), "next.toml").blocks[0].exercises[0]
    assert [own.bibs for own in push_up.scaled] == [(1, 2)] and push_up.reps.values == (10,)
    stranger = GROUP.replace("[1, 2, 3, 4, 5]", "[3, 4, 5]")
    assert written(READY, READY, STEADY, STEADY, STEADY, plan=stranger) == stranger


def test_tables_that_the_coach_wrote_stay():
    own = GROUP.replace(
        "  [[block.exercise]]\n  name = \"Squat jump\"",
        "    [[block.exercise.scaled]]\n    bibs = [5]\n    reps = 6\n"
        "  [[block.exercise]]\n  name = \"Squat jump\"",
        1,
    )  # fmt: skip
    new = written(READY, READY, READY, STEADY, STEADY, plan=own)
    assert new == own.replace("reps = 10  ", "reps = 11  ")


# Flat: one exercise at a time, and nothing that the plan has already


def flat_in(bib, *names):
    """Somebody who is flat in some exercises of block 1."""
    flat = Flatness(8, 0.0, "reps a minute", 7)
    for item, name in enumerate(names, 1):
        if not name:
            continue
        one = session((20, 20, 20), goal=0, ask=t.ASK_OPEN, name=name)
        yield Case(f"Bib {bib}", bib, 1, item, (one, one), flat)


def test_one_exercise_at_a_time_and_that_of_most():
    cases = [*flat_in(1, "Push-up", "Squat"), *flat_in(2, "", "Squat"),
             *flat_in(3, "Push-up", "Squat", "Burpee")]  # fmt: skip
    advices = advise_all(cases, LIBRARY, LIMITS)
    swaps = [(a.case.bib, a.case.last.name) for a in advices if a.ruling.verdict is Verdict.SWAP]
    assert swaps == [(1, "Squat"), (2, "Squat"), (3, "Squat")]
    others = {a.ruling.rule for a in advices if a.ruling.verdict is Verdict.SAME}
    assert others == {"flat-too"}
    changed = [d for d in decide(advices, LIMITS.everybody) if d.step is not None]
    assert [d.name for d in changed] == ["Squat"]


def test_no_replacement_is_in_the_plan_already():
    """With the plan's text or by what the class asked for: nobody does the same twice."""
    name = "Push-up"
    seen = [name]
    for _ in range(4):
        (advice, *_) = advise_all([*flat_in(1, *seen)], LIBRARY, LIMITS)
        new = advice.step.keys["name"] if advice.step else None
        if new is None:
            break
        assert new not in seen
        seen.append(new)
    assert len(seen) > 2
    words = "".join(f'  [[block.exercise]]\n  name = "{one}"\n  work_s = 30\n' for one in seen[:-1])
    plan = text(f'title = "All of them"\n[[block]]\nrounds = 3\n{words}')
    (advice,) = advise_all([*flat_in(1, name)], LIBRARY, LIMITS, plan)
    assert advice.step.keys["name"] == seen[-1]
