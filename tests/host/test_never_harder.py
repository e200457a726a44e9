"""Plans drawn from a seed, made easier: nobody may owe more; tests/host/never_harder.py judges."""

import never_harder
import pytest
from drawn_plans import drawn

PLAN = """
title = "Judged"
[[block]]
rounds = 2
  [[block.exercise]]
  name = "Push-up"
  work_s = {work}
  {asks}
"""


def plan(work, asks):
    return PLAN.format(work=work, asks=asks).encode()


@pytest.mark.parametrize(
    ("work", "asks", "words"),
    [
        (30, "reps = 10", set()),
        (20, "reps = 6", set()),
        (20, "reps = 7", {"more reps a minute", "less earned rest"}),
        (35, "reps = 10", {"longer window"}),
        (30, "reps = 10\ntap = { every = 7 }", {"more reps a minute", "less earned rest"}),
        (30, "", {"less earned rest"}),
        (30, "hold = true", {"a hold for reps, or reps for a hold"}),
    ],
)
def test_the_judge_finds_what_is_harder(work, asks, words):
    """A push-up takes 30 s / 11, the middle of the library's range: ten leave 2.7 s of 30."""
    found = list(never_harder.harder(plan(30, "reps = 10"), plan(work, asks)))
    assert {said.split(":")[0] for _, said in found} == words
    assert len(found) in (0, 2 * len(words))


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("Raised push-up", []),
        ("Knee push-up", ["loads"]),  # the knees bear weight
        ("Pike push-up", ["level", "loads"]),
        ("Sledge of ours", ["Push-up became Sledge of ours, and one of them is unknown"]),
        ("Burpee", ["level", "impact", "loads"]),
    ],
)
def test_the_judge_finds_exercises_that_are_harder(name, words):
    after = plan(30, "").replace(b"Push-up", name.encode())
    found = [said for _, said in never_harder.harder(plan(30, ""), after, eased=True)]
    assert len(found) == 2 * len(words)
    assert all(any(word in said for said in found) for word in words)


def test_drawn_plans_are_of_every_kind():
    texts = [drawn(n) for n in range(60)]
    for kind in (
        *(
            'layout = "rotation"',
            "[[block.exercise.scaled]]",
            "hold = true",
            "reps = [",
            "work_s = [",
        ),
        *(
            "both_sides",
            "rest_after_last",
            "[[block.exercise.part]]",
            'tap = "tally"',
            "tap = {",
            "round_rest_s",
            "fit = {",
        ),
        *(f'format = "{form}"' for form in ("relay", "ladder", "every-minute", "intervals")),
    ):
        assert any(kind in text for text in texts), kind
    assert drawn(7) == texts[7]


def test_fit_for_first_timers_makes_nobodys_window_harder():
    tried = never_harder.tried(never_harder.for_first_timers, 8)
    assert tried.faults == [] and tried.changed >= 5


def test_one_step_easier_asks_no_more_of_anybody():
    tried = never_harder.tried(never_harder.one_step_easier, 20)
    assert tried.faults == [] and tried.changed >= 18
