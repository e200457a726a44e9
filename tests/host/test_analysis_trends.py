"""Trends that hold: windows not made are not left out, doubt and pauses are, chance is allowed for."""

import random
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_efforts import attended, effort, past
from scipy import stats

from handbell.analysis.doubt.doubts import doubtful_by
from handbell.analysis.doubt.finding import Finding
from handbell.analysis.past.history import classes_of
from handbell.analysis.sums import score_of
from handbell.analysis.trend import direction_of, directions, trend_of
from handbell.report.over_time.months import months_of, trend_words
from handbell.store.results.effort import Outcome
from handbell.store.results.sums import added_up
from handbell_core import timeline as t


def run(n, seconds):
    """A target that one tap ends, made after some seconds or not within the window's 30."""
    made = seconds <= 30
    start = 10_000 + n * 60_000
    return effort(
        name="Run", tap=t.TAP_FINISH, round=n, start_ms=start, end_ms=start + 30_000,
        reps=10 if made else 0, made_ms=start + round(seconds * 1000) if made else None,
    )  # fmt: skip


def hold(n, seconds):
    start = 10_000 + n * 60_000
    return effort(
        name="Plank", ask=t.ASK_HOLD, tap=t.TAP_DROP, goal=0, round=n, start_ms=start,
        end_ms=start + 30_000, reps=None, made_ms=None,
        drop_ms=None if seconds >= 30 else start + round(seconds * 1000),
    )  # fmt: skip


def months(rows, doubtful=None):
    """The one exercise of somebody over weeks of efforts."""
    weeks = [past([attended(1, efforts)], week) for week, efforts in enumerate(rows)]
    history = classes_of(weeks, "bib 1")
    (found,) = months_of(history, *([doubtful] if doubtful else []))
    return found


def score(efforts):
    ((_, sums),) = added_up(efforts)
    return score_of(sums)


def test_windows_not_made_are_bounds_and_not_left_out():
    made = score([run(1, 20), run(2, 25), run(3, 24)])
    assert (round(made.value, 2), made.bound) == (26.33, "")
    some = score([run(1, 20), run(2, 25), run(3, 99)])
    assert (round(some.value, 2), some.bound) == (24.67, "at most")
    none = score([run(1, 99)] * 3)
    assert (none.value, none.bound) == (20, "at most")
    kept = score([hold(1, 30), hold(2, 24)])
    assert (kept.value, kept.bound) == (27, "at least")


def restricted(times_s, censored, until_s):
    """The area under Kaplan and Meier's curve up to a time, from scipy.stats.ecdf."""
    data = stats.CensoredData.right_censored(times_s, censored)
    curve = stats.ecdf(data).sf
    steps = [0.0, *(q for q in curve.quantiles.tolist() if q < until_s), until_s]
    return sum(curve.evaluate(a) * (b - a) for a, b in pairwise(steps))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(1, 45), min_size=2, max_size=6))
def test_a_score_of_holds_is_the_area_under_kaplan_and_meiers_curve(lasts_s):
    # What was kept to the end is censored there, not left out: scipy.stats.ecdf of CensoredData.
    rounds = [
        effort(ask=t.ASK_HOLD, tap=t.TAP_DROP, goal=0, reps=None, made_ms=None, round=n,
               drop_ms=None if s >= 30 else 10_000 + 1_000 * s)
        for n, s in enumerate(lasts_s)
    ]  # fmt: skip
    ((_, sums),) = added_up(rounds)
    theirs = restricted([min(s, 30) for s in lasts_s], [s >= 30 for s in lasts_s], 30.0)
    assert score_of(sums).value == pytest.approx(theirs)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(5, 60), min_size=2, max_size=6))
def test_a_score_of_times_is_the_area_under_the_curve_of_their_paces(takes_s):
    # A pace of a target not made is censored from above at that of the window: read from there
    # down, it is censored from the right.
    rounds = [
        effort(tap=t.TAP_FINISH, reps=10 if s <= 30 else 0, round=n,
               made_ms=10_000 + 1_000 * s if s <= 30 else None)
        for n, s in enumerate(takes_s)
    ]  # fmt: skip
    ((_, sums),) = added_up(rounds)
    top, paces = 200.0, [600 / s for s in takes_s]
    below = restricted([top - max(p, 20.0) for p in paces], [s > 30 for s in takes_s], top - 20.0)
    assert score_of(sums).value == pytest.approx(top - below)


def test_a_decline_is_not_made_small_by_the_classes_in_which_nothing_was_made():
    """From 20 s to 40: the pace halves, and only the good half of the classes has a time."""
    rng = random.Random(3)
    rows = [
        [run(n, (20 + 2 * week) * rng.uniform(0.93, 1.07)) for n in (1, 2, 3)] for week in range(11)
    ]
    found = months(rows)
    assert found.direction == -1 and len(found.alike) == 11
    assert 20 <= -found.trend.change_percent <= 50, "11 % of the classes with a time alone"
    words = trend_words(found)
    assert words.startswith("Down at least ") and "over 11 classes" in words


def test_a_hold_that_came_to_be_kept_to_the_end_goes_up():
    found = months([[hold(1, s)] for s in (15, 17, 18, 20, 22, 23, 30, 30, 30)])
    assert found.direction == 1 and trend_words(found).startswith("Up at least ")


def test_a_class_with_a_pause_is_shown_and_in_no_trend():
    rows = [[effort(made_ms=30_000 - 1_000 * week)] for week in range(6)]
    rows[2] = [effort(outcome=Outcome.PAUSED, made_ms=None)]
    found = months(rows)
    assert len(found.marks) == 6 and len(found.alike) == 5


def test_a_set_with_one_paused_round_is_in_no_trend():
    rows = [[effort(round=1), effort(round=2, window=2)] for _ in range(6)]
    rows[3][1] = effort(round=2, window=2, outcome=Outcome.PAUSED, made_ms=None)
    found = months(rows)
    assert [m.whole for m in found.marks] == [True, True, True, False, True, True]
    assert found.marks[3].score is not None, "what was done is shown"


def test_doubtful_classes_are_marked_and_in_no_trend():
    rows = [[effort(made_ms=34_000 - 1_000 * week)] for week in range(9)]
    doubt = Finding("double-press", (1,), 1, "Push-up", "twice")
    doubtful = doubtful_by({n: [doubt] for n in (2, 3, 4, 5, 6)})
    assert months(rows).direction == 1
    found = months(rows, doubtful)
    assert [m.doubtful for m in found.marks].count(True) == 5
    assert len(found.alike) == 4 and found.direction is None


def test_of_many_trends_those_that_chance_makes_are_not_told():
    """Sixty of people in whom nothing changes: by themselves some are always named."""
    alone = together = 0
    for seed in range(40):
        rng = random.Random(seed)
        trends = [
            trend_of(range(0, 84, 7), [rng.gauss(20, 2) for _ in range(12)]) for _ in range(60)
        ]
        alone += any(direction_of(trend) for trend in trends)
        together += any(directions(trends))
    assert alone >= 30 and together <= 5


def test_a_plain_trend_is_told_among_many_that_are_none():
    rng = random.Random(1)
    days = range(0, 84, 7)
    trends = [trend_of(days, [rng.gauss(20, 2) for _ in range(12)]) for _ in range(60)]
    trends.append(trend_of(days, [20 + 0.8 * n + rng.gauss(0, 1) for n in range(12)]))
    assert directions(trends)[-1] == 1
