"""The rules of advice: each at its threshold, what silences it, and what is never said."""

from dataclasses import replace

import pytest
from made_sessions import LIMITS, case, goal, hold, session

from handbell.base.errors import HandbellError, PlanError
from handbell.coach.advice.advice import Flatness, Session, Try, Verdict
from handbell.coach.advice.limits import load_limits
from handbell.coach.advice.rules import RULES, advise
from handbell_core import timeline as t

HARDER, SAME, EASIER, SWAP = Verdict


def said(*sessions, **how):
    ruling = advise(case(*sessions, **how), LIMITS)
    return ruling.verdict, ruling.rule


# Two-for-two: Baechle & Earle, Essentials of Strength Training and Conditioning (quoted): goal
# 10, last sets 12 and 12 -> yes; 12 and 11 -> no (computed).


def test_two_for_two_of_the_worked_example():
    assert said(goal(10, 11, 12), goal(10, 11, 12)) == (HARDER, "two-for-two")
    assert said(goal(10, 11, 12), goal(10, 11, 11)) == (SAME, "steady")
    assert said(goal(10, 11, 11), goal(10, 11, 12)) == (SAME, "steady")


def test_two_for_two_looks_at_the_last_set_alone():
    assert said(goal(15, 15, 11), goal(15, 15, 11)) == (SAME, "steady")
    assert said(goal(8, 8, 12), goal(8, 8, 12)) == (HARDER, "two-for-two")


def test_two_for_two_needs_two_classes_in_a_row_with_the_same_goal():
    assert said(goal(12, 12, 12)) == (SAME, "one-class")
    assert said(goal(12, 12, 12), goal(9, 9, 9), goal(12, 12, 12)) == (SAME, "steady")
    assert said(goal(12, 12, 12), goal(13, 13, 13, wished=11)) == (SAME, "new-task")


def test_two_for_two_is_silent_for_a_target_since_it_stops_at_its_goal():
    assert said(session((12, 12, 12)), session((12, 12, 12))) == (SAME, "steady")


def test_two_for_two_counts_what_every_tap_makes_certain():
    fives = [Try(1, 30_000, 10, 10, 14)]
    one = Session(1, "Push-up", t.ASK_OPEN, t.TAP_EVERY, tuple(fives), 6)
    assert said(one, one) == (SAME, "steady")


# Targets: our own rule of earned rest and rating


@pytest.mark.parametrize(
    ("rests", "rating", "verdict"),
    [
        ((12, 11, 10), 7, HARDER),
        ((12, 11, 9.8), 7, SAME),
        ((12, 11, 10), 8, SAME),
        ((12, 11, 10), None, SAME),
        ((14, 14, 13.6), None, HARDER),
        ((12, 11, 10), 0, HARDER),
    ],
)
def test_earned_rest(rests, rating, verdict):
    one = session(rest_s=rests, rating=rating)
    assert said(one, one)[0] is verdict


def test_earned_rest_needs_every_round_in_both_classes():
    good, bad = session(rest_s=12), session((10, 10, 9), rest_s=(12, 12, None))
    assert said(good, bad)[0] is SAME and said(bad, good)[0] is SAME


def test_a_tally_tells_no_time_and_so_no_earned_rest():
    one = session(tap=t.TAP_TALLY)
    assert said(one, one) == (SAME, "steady")


def test_missed_targets_are_easier_next_time():
    one = session((8, 7, 10), rest_s=(None, None, 1), rating=8)
    assert said(one, one) == (EASIER, "missed")
    assert said(session(rest_s=4), one) == (SAME, "steady")


def test_a_half_of_the_targets_is_not_most_of_them():
    one = session((10, 9), rest_s=(2, None), rating=8)
    assert said(one, one) == (SAME, "steady")


def test_missed_and_called_easy_is_asked_about_and_not_made_easier():
    ruling = advise(case(*[session((4, 3, 5), rating=3)] * 2), LIMITS)
    assert (ruling.verdict, ruling.rule) == (SAME, "held-back")
    assert "what held them back" in ruling.talk and "health professional" in ruling.talk


def test_one_hard_rating_of_two_is_not_called_easy():
    assert said(session((4, 3, 5), rating=3), session((4, 3, 5), rating=7))[0] is EASIER


def test_without_a_rating_nobody_is_said_to_hold_back():
    assert said(*[session((4, 3, 5), rating=None)] * 2) == (EASIER, "missed")


def test_late_rounds_that_ask_too_much():
    one, two = session((10, 9, 8), rating=8), session((10, 8, 7), rating=8)
    ruling = advise(case(one, two), LIMITS)
    assert (ruling.verdict, ruling.rule, ruling.late_goals) == (EASIER, "faded", (10, 8, 7))


def test_a_last_round_just_missed_is_no_fade():
    assert said(*[session((10, 10, 9), rest_s=(3, 1, None), rating=8)] * 2) == (SAME, "steady")


def test_the_fade_of_finishing_taps_is_not_made_up():
    one = session((10, 10, 0), tap=t.TAP_FINISH, rest_s=(9, 3, None), rating=8)
    assert said(one, one) == (SAME, "steady")


def test_short_of_a_goal_is_two_for_two_mirrored():
    assert said(goal(9, 9, 8), goal(9, 9, 8)) == (EASIER, "short-of-goal")
    assert said(goal(9, 9, 8), goal(9, 9, 9)) == (SAME, "steady")


def test_short_of_a_goal_gives_untapped_reps_the_benefit():
    tries = (Try(1, 30_000, 10, 8, 9),)
    one = Session(1, "Push-up", t.ASK_OPEN, t.TAP_EVERY, tries, 7)
    assert said(one, one) == (SAME, "steady")


# Positions


def test_a_hold_kept_to_the_end_and_not_hard():
    assert said(hold(), hold()) == (HARDER, "kept")
    assert said(hold(rating=9), hold()) == (SAME, "steady")


def test_a_hold_without_ratings_may_be_nobody_tapping():
    assert said(hold(rating=None), hold(rating=None)) == (SAME, "steady")


def test_a_hold_let_go_early():
    assert said(hold((30, 25, 17)), hold((30, 25, 17))) == (EASIER, "let-go")
    assert said(hold((30, 25, 18)), hold((30, 25, 18))) == (SAME, "steady")


# What can't be judged


def test_an_open_window_without_a_goal_is_neither_too_easy_nor_too_hard():
    one = session((30, 30, 30), goal=0, ask=t.ASK_OPEN)
    assert said(one, one) == (SAME, "steady")


def unread(one, skipped=False):
    tries = (replace(one.tries[0], read=False, skipped=skipped), *one.tries[1:])
    return replace(one, tries=tries)


def test_a_window_without_a_record_makes_nobody_miss():
    bad = unread(session((4, 3, 5), rating=8))
    assert said(bad, bad)[0] is SAME


def test_nobody_asked_to_tap_is_no_miss():
    one = session((0, 0, 0), tap=t.TAP_NONE)
    nothing = replace(one, tries=tuple(replace(e, read=False, reps=None) for e in one.tries))
    assert said(nothing, nothing) == (SAME, "not-asked")


def test_windows_skipped_twice_are_asked_about_before_anything_else():
    one = unread(session((10, 4, 4), rating=9), skipped=True)
    ruling = advise(case(one, one), LIMITS)
    assert (ruling.verdict, ruling.rule) == (SAME, "skipped")
    assert "Ask Bib 1 why" in ruling.talk and "qualified health professional" in ruling.talk


def test_the_variation_that_was_done_is_what_counts():
    knees = session(rest_s=12, name="Knee push-up")
    assert said(session(rest_s=12), knees) == (SAME, "new-task")
    assert said(knees, knees) == (HARDER, "earned-rest")


def test_flat_numbers_for_long_are_a_swap():
    one = session((30, 30, 30), goal=0, ask=t.ASK_OPEN)
    assert said(one, one, flat=Flatness(8, 4.9, "reps", 6)) == (SWAP, "flat")
    assert said(one, one, flat=Flatness(7, 0.0, "reps", 6)) == (SAME, "steady")
    assert said(one, one, flat=Flatness(9, -5.0, "reps", 6)) == (SAME, "steady")
    assert said(one, one, flat=Flatness(8, 0.0, "reps", 4)) == (SAME, "steady")  # four weeks


@pytest.mark.parametrize("met", [session(rest_s=5), goal(11, 10, 10), hold(rating=9)])
def test_what_is_met_was_not_meant_to_rise(met):
    """It is kept up; only what falls short of what it is for can be flat."""
    assert said(met, met, flat=Flatness(12, 0.0, "reps a minute", 11))[0] is SAME


@pytest.mark.parametrize(
    "short", [goal(10, 10, 9), hold((30, 30, 26)), session((10, 10, 9), rest_s=(4, 2, None))]
)
def test_what_falls_short_of_what_it_is_for_can_be_flat(short):
    assert said(short, short, flat=Flatness(12, 0.0, "reps a minute", 11)) == (SWAP, "flat")


def test_no_rule_ever_gives_advice_on_pain():
    """Only rulings that change nothing speak of it at all, and they name whom to ask."""
    worlds = [
        [session((4, 3, 5), rating=3)] * 2,
        [unread(session(), skipped=True)] * 2,
        [session((8, 7, 8), rating=9)] * 2,
        [hold((9, 9, 9), rating=10)] * 2,
        [goal(13, 13, 13)] * 2,
    ]
    for sessions in worlds:
        for rule in RULES:
            ruling = rule(case(*sessions), LIMITS)
            if ruling is None:
                continue
            assert "hurt" not in ruling.why and "pain" not in ruling.why
            assert not ruling.talk or ruling.verdict is SAME
            assert bool(ruling.talk) == ("professional" in ruling.talk)


# Thresholds


def test_own_thresholds_change_only_what_they_write(tmp_path):
    own = tmp_path / "mine.toml"
    own.write_text("[earned_rest]\nrest_percent = 20\n", encoding="utf-8")
    limits = load_limits(own)
    assert (limits.earned_rest.rest_percent, limits.earned_rest.rating_most) == (20, 7)
    one = session(rest_s=6.5)
    assert advise(case(one, one), limits).verdict is HARDER
    assert advise(case(one, one), LIMITS).verdict is SAME


def test_thresholds_in_the_data_folder_are_used(tmp_path, monkeypatch):
    (tmp_path / "advice.toml").write_text("[flat]\nclasses = 20\n", encoding="utf-8")
    monkeypatch.setenv("HANDBELL_DATA", str(tmp_path))
    assert load_limits().flat.classes == 20


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[two_for_two]\nreps = 2\n", "two_for_two, reps: nothing is called so here"),
        ("[earned]\nx = 2\n", "earned: nothing is called so here; known are two_for_two"),
        ("[missed]\nclasses = 0\n", "missed, classes: it should be greater than or equal to 1"),
        ("[missed]\nclasses = true\n", "missed, classes: it should be a valid integer"),
        ("[step]\npercent = 'much'\n", "step, percent: it should be a valid number"),
        ("missed = 3\n", "missed: it should be a valid dictionary"),
    ],
)
def test_wrong_thresholds_are_told_by_their_place(tmp_path, text, words):
    own = tmp_path / "mine.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(PlanError) as told:
        load_limits(own)
    assert any(fault.startswith(words) for fault in told.value.faults), told.value.faults


@pytest.mark.parametrize("data", [b"[missed\n", b"\xff\xfe", b"x = [" * 3000])
def test_thresholds_that_are_no_toml_are_told_in_a_sentence(tmp_path, data):
    own = tmp_path / "mine.toml"
    own.write_bytes(data)
    with pytest.raises(HandbellError, match="no TOML text"):
        load_limits(own)
    with pytest.raises(HandbellError, match="can't be read"):
        load_limits(tmp_path / "none.toml")


@pytest.mark.parametrize("last", [goal(12, 12, 12), session(rest_s=15), hold(), goal(6, 5, 4)])
def test_doubtful_data_leads_to_no_change(last):
    doubtful = case(last, last, doubts=("Push-up: 9 taps came twice",))
    assert advise(case(last, last), LIMITS).verdict in (HARDER, EASIER)
    ruling = advise(doubtful, LIMITS)
    assert (ruling.verdict, ruling.rule) == (SAME, "doubtful")
    assert "9 taps came twice" in ruling.why


def test_windows_skipped_are_asked_about_whatever_the_data():
    skips = Session(1, "Push-up", t.ASK_OPEN, t.TAP_EACH, (Try(1, 30_000, 0, skipped=True),), 6)
    assert said(skips, skips, doubts=("taps between windows",)) == (SAME, "skipped")
