"""Fade as one measure: it never falls when the last round gets worse and the others stay."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_efforts import effort

from handbell.analysis.fade import Form, fade_of, is_marked
from handbell.analysis.summary import exercises_of
from handbell.report.one_class.headline import _series
from handbell_core import timeline as t

WINDOW_MS = 30_000
GOAL = 10


def target(made_s=None, reps=None, **how):
    """A round of a target: made after some seconds, or missed with some reps."""
    start = 10_000
    made_ms = None if made_s is None else start + round(made_s * 1000)
    return effort(reps=GOAL if reps is None else reps, made_ms=made_ms, goal=GOAL, **how)


def run(made_s=None):
    """A round with one tap at its end."""
    return target(made_s, None if made_s is not None else 0, tap=t.TAP_FINISH)


def score(series):
    fade = fade_of(series)
    assert fade.percent is not None or fade.reason in ("no fade", "nothing counted", "never made")
    return fade.percent or 0.0


# From the best to the worst: finishing times, then what was missed by ever more.
TARGETS = [("made", ms / 1000) for ms in range(2_000, 30_001, 100)]
TARGETS += [("reps", n) for n in range(GOAL - 1, -1, -1)]
LASTS = {
    "target": [target(v) if how == "made" else target(reps=v) for how, v in TARGETS],
    "by fives": [
        target(v, tap=t.TAP_EVERY, every=5) if how == "made" else target(None, v, tap=t.TAP_EVERY, every=5)
        for how, v in TARGETS if how == "made" or v % 5 == 0
    ],
    "finish": [*(run(v) for how, v in TARGETS if how == "made"), run()],
    "open": [effort(ask=t.ASK_OPEN, goal=0, reps=n, made_ms=None) for n in range(40, -1, -1)],
    "tally": [effort(tap=t.TAP_TALLY, reps=n, made_ms=None) for n in range(GOAL, -1, -1)],
    "hold": [
        effort(ask=t.ASK_HOLD, tap=t.TAP_DROP, goal=0, reps=None, made_ms=None,
               drop_ms=None if ms == WINDOW_MS else 10_000 + ms)
        for ms in range(WINDOW_MS, 0, -100)
    ],
}  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.data(), st.sampled_from(sorted(LASTS)))
def test_fade_never_falls_when_the_last_round_gets_worse(data, form):
    rounds = LASTS[form]
    places = st.integers(0, len(rounds) - 1)
    before = [rounds[n] for n in data.draw(st.lists(places, min_size=1, max_size=5))]
    better, worse = sorted(data.draw(st.tuples(places, places)))
    a, b = [*before, rounds[better]], [*before, rounds[worse]]
    assert score(a) <= score(b) + 1e-9
    assert is_marked(fade_of(a), a) <= is_marked(fade_of(b), b)


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_every_step_down_from_a_made_target_to_no_rep_at_all(data):
    """Over the change of form: made in 29.9 s, then in 30, then 9 of 10, 8 of 10, down to none."""
    rounds = LASTS["target"]
    some = st.lists(st.sampled_from(rounds[:-GOAL]), min_size=1, max_size=3)
    before = data.draw(some)
    scores = [score([*before, last]) for last in rounds]
    assert scores == sorted(scores)


def test_a_round_that_was_missed_is_worse_than_one_made_with_the_bell():
    made = score([target(22.7), target(29.3), target(29.9)])
    missed = score([target(22.7), target(29.3), target(reps=8)])
    assert (round(made, 1), round(missed, 1)) == (15.5, 20.7)


def test_one_tap_at_the_end_that_did_not_come_counts_as_the_whole_window_at_least():
    series = [run(20), run(24), run()]
    fade = fade_of(series)
    assert (fade.form, fade.at_least) == (Form.PACE, True)
    assert fade.percent == pytest.approx(100 * (1 - (1 / 20 + 1 / 24 + 1 / 30) / (3 / 20)))
    assert fade.percent > score([run(20), run(24), run(29.9)])
    assert is_marked(fade, series)


def test_where_a_time_is_not_known_there_is_no_fade():
    said = fade_of([target(15), target(), target(20)])  # the second was entered by the coach
    assert (said.percent, said.reason) == (None, "a time is not known")


def test_a_count_that_was_not_confirmed_leaves_a_set_incomplete():
    some = [effort(tap=t.TAP_TALLY, reps=n, made_ms=None, confirmed=n != 8) for n in (10, 8)]
    assert fade_of(some).reason == "incomplete set"


def test_rounds_are_told_each_in_its_own_unit():
    of = [effort(bib=1, round=n, made_ms=m, reps=r) for n, m, r in
          ((1, 32_700, 10), (2, 39_300, 10), (3, None, 8))]  # fmt: skip
    ((series,),) = [e.series for e in exercises_of(of)]
    assert _series(series) == "made in 23 s, made in 29 s, 8 of 10"


def test_who_was_asked_for_seconds_stands_in_no_column_of_reps():
    held = effort(bib=2, ask=t.ASK_HOLD, tap=t.TAP_DROP, goal=0, reps=None, made_ms=None)
    tables = exercises_of([effort(bib=1), held])
    assert [{s.fade.form for s in e.series} for e in tables] == [{Form.PACE}, {Form.HELD}]
