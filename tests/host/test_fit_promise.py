"""What ``fit --first-timers`` promises, checked on its results by rules of the tests' own."""

import json
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from made_plans import first_class_plans, toml

from handbell.base.errors import HandbellError
from handbell.cli.main import main
from handbell.coach.fit import model as fit_model
from handbell.coach.fit.fit import Fitted, Misfit, fit
from handbell.coach.fit.promise import broken
from handbell.coach.fit.write import written
from handbell.coach.writing.edit import PlanText
from handbell.compile.expand import expand
from handbell.plan.files import parse_plan
from handbell.plan.own_tasks import done_by
from handbell.plan.pauses import pauses_after, places
from handbell_core.timeline import BREAK, REST

MINUTE_MS = 60_000
ROUNDS = """
title = "Rounds"
[fit]
rest_s = [10, 30]
[[block]]
rounds = 3
rest_s = 15
round_rest_s = 90
  [[block.exercise]]
  name = "Squat"
  work_s = 40
  reps = 16
  [[block.exercise]]
  name = "Push-up"
  work_s = 40
  reps = 8
  [[block.exercise]]
  name = "Burpee"
  work_s = 40
"""
REGULARS = """
title = "Regulars"
[fit]
break_s = [20, 40]
rest_s = [5, 12]
[[block]]
rounds = 3
rest_s = 30
break_s = 60
  [[block.exercise]]
  name = "Squat"
  work_s = 30
  reps = 14
[[block]]
rounds = 3
rest_s = 10
  [[block.exercise]]
  name = "Bike"
  work_s = 30
"""


ONCE = """
title = "Once"
[fit]
rounds = [1, 3]
[[block]]
rounds = 1
rest_s = 20
break_s = 60
  [[block.exercise]]
  name = "Squat"
  work_s = 40
  reps = 16
  [[block.exercise]]
  name = "Push-up"
  work_s = 40
  reps = 8
[[block]]
rounds = 1
rest_s = 20
round_rest_s = 40
  [[block.exercise]]
  name = "Plank"
  work_s = 30
  hold = true
  [[block.exercise]]
  name = "Lunge"
  work_s = 40
"""


def rests_of(plan):
    """Yield each window's rest by (block, round or "", what says it), and breaks; none is none."""
    for b, block in enumerate(plan.blocks):
        for place in places(plan, block):
            for pause in pauses_after(plan, b, place):
                if pause.kind == BREAK:
                    yield (b, "break"), pause.duration_ms
            if place.ends_block and not block.rest_after_last:
                continue
            between = place.ends_round and block.round_rest_ms is not None
            n = 0 if plan.is_rotation else place.step
            if not between and block.exercises[n].rest_ms == 0:
                continue  # written as none
            ms = sum(p.duration_ms for p in pauses_after(plan, b, place) if p.kind == REST)
            yield (b, "round" if between else n), ms


def least_ms(where, now_ms):
    """The promise in numbers, as docs/engineers/fitting.md tells it. Common practice, no source."""
    if where[1] == "break":
        return max(now_ms, 60_000)
    half_more = Fraction(3 * now_ms, 2)
    return max(now_ms, 15_000, min(half_more, 90_000 if where[1] == "round" else 60_000))


def owed(exercise, bib, round_):
    """Reps a second that a bib owes in a window, as the box counts them."""
    task = done_by(exercise, bib)
    said = task.reps or task.goal
    reps = said.at(round_) if said else 0
    taps = -(-reps // task.tap.every)
    return Fraction(taps * task.tap.every, exercise.work.at(round_))


def in_as_many_rounds(before, after):
    """Return a plan as it was, but for its rounds: some rests follow only the first of several."""
    blocks = [
        old if old.rounds == new.rounds else old.model_copy(update={"rounds_said": new.rounds})
        for old, new in zip(before.blocks, after.blocks, strict=True)
    ]
    return before.model_copy(update={"blocks": tuple(blocks)})


def keeps_promise(before, after, bibs, kept=()):
    """Assert the promise on a plan that was fitted for first-timers."""
    said = {name for name in type(before.fit).model_fields if getattr(before.fit, name) is not None}
    was = dict(rests_of(in_as_many_rounds(before, after)))
    for where, ms in rests_of(after):
        level, key = ("breaks", "break_ms") if where[1] == "break" else ("rests", "rest_ms")
        if before.blocks[where[0]].format and level == "rests":
            continue
        was_ms = was.get(where, 0)  # a break of 0 is none
        assert ms >= was_ms, (where, was_ms, ms)
        if level not in kept and key not in said:
            assert ms >= least_ms(where, was_ms), (where, was_ms, ms)
    cut = rounds_up = False
    for old, new in zip(before.blocks, after.blocks, strict=True):
        assert new.rounds <= old.rounds or "rounds" in said
        rounds_up |= new.rounds > old.rounds
        for a, b in zip(old.exercises, new.exercises, strict=True):
            for round_ in range(1, new.rounds + 1):
                assert b.work.at(round_) <= a.work.at(round_) or "work_ms" in said
                cut |= b.work.at(round_) < a.work.at(round_)
                assert all(owed(b, bib, round_) <= owed(a, bib, round_) for bib in bibs)
    assert not (cut and rounds_up)
    one, two = expand(before), expand(after)
    assert two.work_ms * one.total_ms <= one.work_ms * two.total_ms


@pytest.mark.parametrize(
    ("text", "seconds"), [(ROUNDS, 540), (ROUNDS, 720), (REGULARS, 300), (REGULARS, 420)]
)
def test_their_rests_stay_where_the_plan_says_shorter_bounds(text, seconds):
    plan = parse_plan(text.encode())
    found = fit(plan, seconds * 1000, first_timers=True)
    if isinstance(found, Misfit):
        found = fit(plan, found.nearest_ms, first_timers=True)
    keeps_promise(plan, found.plan, [1])
    assert broken(plan, found.plan) == []


def one(block, exercise="", top=""):
    return parse_plan(
        f'title = "T"\nlead_in_s = 0\n{top}\n[[block]]\n{block}\n[[block.exercise]]\nname = "E"\n'
        f"{exercise}\n".encode()
    )


def test_a_rest_between_rounds_is_a_rest_after_a_window():
    burpees = one("rounds = 6\nround_rest_s = 5", "work_s = 40\ngoal = 10")
    found = fit(burpees, 5 * MINUTE_MS, first_timers=True)
    assert isinstance(found, Fitted) and found.plan.blocks[0].round_rest_ms >= 15_000
    moved = parse_plan(
        b'title = "T"\nlead_in_s = 0\nlayout = "rotation"\nmove = "round"\n'
        b'[[group]]\nname = "A"\nbibs = [1]\n[[group]]\nname = "B"\nbibs = [2]\n'
        b"[[block]]\nround_rest_s = 5\n"
        b'[[block.exercise]]\nname = "E"\nwork_s = 40\n[[block.exercise]]\nname = "F"\nwork_s = 40\n'
    )
    found = fit(moved, 115_000, first_timers=True)  # 40, 5 + 15, 40: a round is one window here
    assert isinstance(found, Fitted) and found.plan.blocks[0].round_rest_ms == 20_000


@pytest.mark.parametrize("seconds", [85, 90, 100])
def test_a_rest_that_only_a_second_round_has_is_measured_by_what_the_plan_says(seconds):
    once = one("rounds = 1\nround_rest_s = 10", "work_s = 30", "[fit]\nrounds = [2, 4]")
    found = fit(once, seconds * 1000, first_timers=True)
    assert isinstance(found, Fitted)
    assert found.plan.blocks[0].rounds == 2
    assert found.plan.blocks[0].round_rest_ms == (seconds - 60) * 1000
    keeps_promise(once, found.plan, [1])


@pytest.mark.parametrize("minutes", [8, 11, 12])
def test_blocks_of_one_round_may_get_more(minutes):
    plan = parse_plan(ONCE.encode())
    found = fit(plan, minutes * MINUTE_MS, first_timers=True)
    assert isinstance(found, Fitted)
    keeps_promise(plan, found.plan, [1])


def test_what_can_not_be_met_is_never_said_to_be_nearest(monkeypatch):
    """Whatever the check of the result refuses, the length asked for is no way out."""
    plan, slot_ms = one("rounds = 3\nrest_s = 20", "work_s = 40"), 3 * MINUTE_MS
    assert isinstance(fit(plan, slot_ms, first_timers=True), Fitted)
    monkeypatch.setattr("handbell.coach.fit.fit.broken", lambda *_: ["something"])
    found = fit(plan, slot_ms, first_timers=True)
    assert isinstance(found, Misfit)
    assert None is not found.below_ms < slot_ms and None is not found.above_ms > slot_ms


def test_rests_that_can_not_move_together_move_apart():
    mixed = one(
        "rounds = 2",
        'work_s = 30\n[[block.exercise]]\nname = "F"\nwork_s = 30\nrest_s = 20\n',
        "[fit]\nrest_s = [0, 20]",
    )
    found = fit(mixed, 175_000, first_timers=True)  # 4 x 30, 15, 20 and 15 is 170
    assert isinstance(found, Fitted)
    assert (found.plan.blocks[0].rest_ms, found.plan.blocks[0].exercises[1].rest_ms) == (
        17_500,
        20_000,
    )


@pytest.mark.parametrize("seconds", [450, 500])
def test_a_longer_slot_never_means_shorter_windows_and_more_rounds(seconds):
    bike = one("rounds = 4\nrest_s = 45", "work_s = 60\nreps = 60", "change_s = 5")
    found = fit(bike, seconds * 1000, first_timers=True)
    if isinstance(found, Fitted):
        keeps_promise(bike, found.plan, [1])
    else:
        assert found.below_ms and isinstance(fit(bike, found.below_ms, first_timers=True), Fitted)


def test_what_is_tapped_by_several_shrinks_to_whole_taps():
    fives = one("rounds = 2", "work_s = 30\nreps = 10\ntap = { every = 5 }")
    found = fit(fives, 55_000, ["rounds"], first_timers=True)
    assert [e.to.values for e in found.eased] == [(5,)]
    tens = one("rounds = 2", "work_s = 45\nreps = 12\ntap = { every = 10 }")
    # 20 in 45 s are owed, since the box counts whole taps: 10 need 22.5 s, and 20 s give none.
    assert isinstance(fit(tens, 55_000, ["rounds"], first_timers=True), Misfit)
    found = fit(tens, 65_000, ["rounds"], first_timers=True)
    assert found.plan.blocks[0].exercises[0].reps.values == (10,)


def test_an_own_way_of_tapping_counts_for_everybodys_target():
    own = one(
        "rounds = 2",
        "work_s = 30\nreps = 10\n[[block.exercise.scaled]]\nbibs = [1]\ntap = { every = 5 }\n",
    )
    found = fit(own, 55_000, ["rounds"], first_timers=True)
    assert found.plan.blocks[0].exercises[0].reps.values == (5,)


def test_a_maximum_below_the_promise_is_told(tmp_path, capsys):
    path = tmp_path / "class.toml"
    path.write_text(REGULARS, encoding="utf-8")
    plan = parse_plan(REGULARS.encode())
    near = fit(plan, 420_000, first_timers=True)
    ms = near.nearest_ms if isinstance(near, Misfit) else 420_000
    assert main(["fit", str(path), "--minutes", f"0:{ms / 1000:g}", "--first-timers"]) == 0
    out = capsys.readouterr().out
    assert "Less than first-timers should have, by the plan's [fit] or --keep:" in out
    assert "  rest in block 2: 12 s, not 15" in out
    assert (
        main(["fit", str(path), "--minutes", f"0:{ms / 1000:g}", "--first-timers", "--json"]) == 0
    )
    told = json.loads(capsys.readouterr().out)["data"]["short"]
    assert {"what": "rest in block 2", "ms": 12_000, "should_ms": 15_000} in told


def test_a_short_form_that_keeps_its_rests_is_named(tmp_path, capsys):
    """Intervals of 20 s with 10 s of rest stay so."""
    path = tmp_path / "x.toml"
    path.write_text(
        'title = "T"\n[[block]]\nformat = "intervals"\nrounds = 8\nwork_s = 20\nrest_s = 10\n'
        '[[block.exercise]]\nname = "Squat"\n[[block]]\nrounds = 3\nrest_s = 15\n'
        '[[block.exercise]]\nname = "Lunge"\nwork_s = 30\n',
        encoding="utf-8",
    )
    assert main(["fit", str(path), "--minutes", "7", "--first-timers"]) == 0
    out = capsys.readouterr().out
    assert (
        "first-timers should have, since a short form keeps its times:\n  rest in block 1: 10 s"
        in out
    )


@pytest.fixture
def hurried(monkeypatch):
    """Let the solver search briefly: what it finds need not be the least, but must be sound."""
    for name in ("FIRST_SECONDS", "SEARCH_SECONDS", "LEVEL_SECONDS"):
        monkeypatch.setattr(fit_model, name, 1.0)


@settings(
    max_examples=120,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(
    first_class_plans(), st.integers(40, 160), st.sampled_from(["", "rounds", "rests", "breaks"])
)
@pytest.mark.usefixtures("hurried")
def test_the_promise_holds_for_any_plan(made, percent, keep):
    bibs = [bib for group in made.get("group", ()) for bib in group["bibs"]] or [1]
    text = PlanText(toml(made).encode(), "class.toml")
    kept = {keep} - {""}
    slot_ms = expand(text.plan).slot_ms * percent // 100_000 * 1000
    found = fit(text.plan, slot_ms, kept, first_timers=True)
    if isinstance(found, Misfit):
        if found.below_ms is None and found.above_ms is None:
            return
        found = fit(text.plan, found.nearest_ms, kept, first_timers=True)
        assume(isinstance(found, Fitted))  # a search cut short may find nothing
    try:
        after = written(text, found)[1].plan
    except HandbellError as error:
        assert "cues leave no quiet" in str(error) or "change in so short" in str(error), error
        after = found.plan
    keeps_promise(text.plan, after, bibs, kept)
    assert broken(text.plan, after, kept) == []
