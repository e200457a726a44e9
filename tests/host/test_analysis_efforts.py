"""Efforts, fade and sums from stored rows: what counts, what does not, and why."""

from dataclasses import replace

import classes
import pytest
from classes import Piece, Press

from handbell.analysis.fade import Form, fade_of, is_marked
from handbell.analysis.past.taps import counted, taps_of
from handbell.analysis.summary import exercises_of, people_of
from handbell.store import open_store
from handbell.store.logs.recount import AMENDED, INVALID
from handbell.store.logs.timelines import Task
from handbell.store.people.wearers import set_wearers
from handbell.store.results.effort import Outcome
from handbell.store.results.efforts import efforts
from handbell.store.results.queries import load_class
from handbell_core import timeline as t

AT_US = (classes.START_UTC_MS + 900_000) * 1000
TARGET = Piece("Ring rows", 30, t.ASK_TARGET, goal=3)


@pytest.fixture
def store(tmp_path):
    with open_store(str(tmp_path / "store.sqlite")) as opened:
        yield opened


def played(store, pieces, presses, bibs=(1,), rounds=1, cut_ms=None, box=0, **how):
    data = classes.timeline((tuple(pieces),), bibs, rounds=rounds)
    run = classes.play(data, presses, **how)
    journal = run.journal if cut_ms is None else classes.cut(run, cut_ms)
    store.put_timeline(data)
    store.ingest(journal, classes.BOX_IDS[box], AT_US)
    return efforts(load_class(store, 1))


def at(*seconds, slot=0):
    return [Press(round(s * 1000), slot) for s in seconds]


def test_a_made_target_earns_what_was_left(store):
    (one,) = played(store, [TARGET], at(11, 14, 22.5))
    assert (one.outcome, one.reps, one.made) == (Outcome.DONE, 3, True)
    assert (one.finish_ms, one.earned_rest_ms) == (12_500, 17_500)


def test_a_missed_target_earns_nothing(store):
    (one,) = played(store, [TARGET], at(11, 14))
    assert (one.reps, one.made, one.finish_ms, one.earned_rest_ms) == (2, False, None, None)


def test_an_open_window_with_a_goal_is_made_without_rest(store):
    (one,) = played(store, [Piece("Rope skips", 30, goal=2)], at(11, 14, 20))
    assert (one.reps, one.made, one.finish_ms, one.earned_rest_ms) == (3, True, 4_000, None)


def test_an_open_window_without_a_goal_is_neither_made_nor_missed(store):
    (one,) = played(store, [Piece("Rope skips", 30)], [])
    assert (one.reps, one.made) == (0, None)


def test_a_hold_is_kept_to_the_end_or_dropped(store):
    hold = Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP)
    first, second = played(store, [hold], at(60.4), rounds=2)
    assert (first.made, first.held_ms, first.reps) == (True, 30_000, None)
    assert (second.made, second.held_ms) == (False, 20_400)


def test_nobody_asked_is_no_miss(store):
    (one,) = played(store, [Piece("March", 30, t.ASK_OPEN, t.TAP_NONE)], at(15))
    assert (one.outcome, one.made, one.reps) == (Outcome.NOT_ASKED, None, None)


def test_a_tally_nobody_entered_is_no_count_and_not_nought(store):
    tally = Piece("Sit-ups", 20, t.ASK_OPEN, t.TAP_TALLY, rest_s=15)
    first, second = played(store, [tally], at(66, 67), rounds=2)
    assert (first.outcome, first.reps) == (Outcome.NO_COUNT, None)
    assert (second.outcome, second.reps, second.confirmed) == (Outcome.DONE, 2, False)


def test_a_stopped_class_has_a_stopped_window_and_no_record_after(store):
    got = played(store, [TARGET], at(11), rounds=3, stop_ms=52_000)
    assert [e.outcome for e in got] == [Outcome.DONE, Outcome.STOPPED, Outcome.NO_RECORD]
    assert got[1].made is None


def test_a_cut_log_counts_at_least_what_it_holds(store):
    piece = Piece("Rope skips", 30)
    got = played(store, [piece], at(11, 12, 41, 42, 43), rounds=3, cut_ms=45_000)
    assert [e.outcome for e in got] == [Outcome.DONE, Outcome.CUT, Outcome.NO_RECORD]
    assert [e.reps for e in got] == [2, 3, None]
    assert fade_of(got).percent is None


def test_the_fuller_of_two_boxes_at_a_station_is_taken(store):
    played(store, [Piece("Rope skips", 30)], at(11, 12), rounds=3, cut_ms=45_000)
    start = classes.START_UTC_MS + 60_000
    spare = at(12, 42, 43, 75, 76, 77)
    got = played(store, [Piece("Rope skips", 30)], spare, rounds=3, box=5, start_utc_ms=start)
    assert [(e.outcome, e.reps) for e in got] == [
        (Outcome.DONE, 2),
        (Outcome.DONE, 2),
        (Outcome.DONE, 3),
    ]


def test_absent_bibs_have_no_efforts(store):
    played(store, [TARGET], at(11, slot=1), bibs=(1, 2))
    set_wearers(store, 1, {}, [1])
    record = load_class(store, 1)
    assert {e.bib for e in efforts(record)} == {2}


def test_fade_of_a_target_is_of_its_pace(store):
    got = played(store, [TARGET], at(11, 12, 20, 41, 42, 52), rounds=2)
    fade = fade_of(got)
    assert (fade.form, fade.best, fade.mean) == (Form.PACE, 18.0, 16.5)  # 3 reps in 10 and 12 s
    assert fade.percent == pytest.approx(100 * (1 - 16.5 / 18))


def test_a_target_that_was_missed_goes_by_the_pace_over_its_window(store):
    fade = fade_of(played(store, [TARGET], at(11, 12, 20, 41, 42), rounds=2))
    assert (fade.form, fade.best, fade.mean) == (Form.PACE, 18.0, 11.0)  # 3 in 10 s, 2 in 30 s
    assert fade.percent == pytest.approx(100 * (1 - 11 / 18))


def test_fade_of_a_hold_is_of_the_times_held(store):
    hold = Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP)
    fade = fade_of(played(store, [hold], at(60), rounds=2))
    assert (fade.form, fade.best, fade.percent) == (Form.HELD, 30, pytest.approx(100 / 6))
    assert fade.at_least, "the first was kept to the end, and may have lasted longer"


@pytest.mark.parametrize(
    ("piece", "rounds", "presses", "why"),
    [
        (Piece("March", 30, t.ASK_OPEN, t.TAP_NONE), 2, [], "not asked"),
        (Piece("Rope skips", 30), 1, at(11), "only one round"),
        (Piece("Rope skips", 30), 2, [], "nothing counted"),
        (Piece("Run", 30, t.ASK_TARGET, t.TAP_FINISH, 6), 2, [], "never made"),
    ],
)
def test_no_fade_says_why(store, piece, rounds, presses, why):
    fade = fade_of(played(store, [piece], presses, rounds=rounds))
    assert (fade.percent, fade.reason) == (None, why)


@pytest.mark.parametrize(
    ("piece", "presses"),
    [
        (Piece("Rope skips"), at(11, 12, 41, 42, 43)),  # 2, 3 reps
        (Piece("Rope skips"), at(11, 12, 13, 41, 71, 72, 73)),  # 3, 1, 3: uneven
        (TARGET, at(11, 12, 30, 41, 42, 50, 71, 72, 80)),  # made in 20, 10, 10 s
        (TARGET, at(11, 12, 41, 42, 43)),  # missed, then made
        (Piece("Plank", 30, t.ASK_HOLD, t.TAP_DROP), at(20)),  # 10 s, then to the end
        (TARGET, at(11, 12, 31.9, 41, 42, 62.9, 71, 72, 92.1)),  # 22, 23, 22 s as they are told
        (Piece("Plank", 30, t.ASK_HOLD, t.TAP_DROP), at(32.3, 62, 91.8)),  # 22, 22, 22 s
    ],
)
def test_a_last_round_no_worse_than_the_first_is_no_fade(store, piece, presses):
    rounds = 3 if presses[-1].at_ms > 70_000 else 2
    got = played(store, [piece], presses, rounds=rounds)
    assert (fade_of(got).percent, fade_of(got).reason) == (None, "no fade")
    exercises = exercises_of(got)
    assert people_of(got, exercises, {})[0].most_faded is None


def test_a_last_round_slower_by_a_second_as_it_is_told_is_a_fade(store):
    got = played(store, [TARGET], at(11, 12, 31.9, 41, 42, 62, 71, 72, 92.6), rounds=3)
    paces = [180 / s for s in (21.9, 22, 22.6)]
    assert fade_of(got).percent == pytest.approx(100 * (1 - sum(paces) / (3 * paces[0])))


@pytest.mark.parametrize(("presses", "why"), [(at(11, 41), "no fade"), ((), "nothing counted")])
def test_alike_rounds_fade_by_nothing(store, presses, why):
    fade = fade_of(played(store, [Piece("Rope skips")], presses, rounds=2))
    assert (fade.percent, fade.reason) == (None, why)


@pytest.mark.parametrize(
    ("first", "last", "named"),
    [(2, 1, False), (5, 3, False), (5, 2, True), (60, 57, False), (60, 53, True)],
)
def test_a_rep_or_two_or_a_small_share_names_nobody_for_a_fade(store, first, last, named):
    """From 3 reps and 5 % on: our own floor, no source."""
    reps = [11 + n * 0.45 for n in range(first)] + [41 + n * 0.45 for n in range(last)]
    got = played(store, [Piece("Rope skips")], at(*reps), rounds=2)
    fade = fade_of(got)
    assert fade.percent == pytest.approx(100 * (1 - (first + last) / (2 * first)))
    worst = people_of(got, exercises_of(got), {})[0].most_faded
    assert (worst is not None) == is_marked(fade, got) == named


def test_rounds_of_other_lengths_have_no_fade(store):
    got = played(store, [Piece("Rope skips", 30)], at(11, 12, 45), rounds=2)
    shorter = [got[0], replace(got[1], end_ms=got[1].end_ms - 10_000)]
    assert fade_of(shorter).reason == "rounds differ"


def test_a_person_adds_up(store):
    pieces = [TARGET, Piece("Front plank", 30, t.ASK_HOLD, t.TAP_DROP)]
    presses = at(11, 12, 20, 71, 72, 115) + at(131, 131.5)  # the last two rate it 2
    got = played(store, pieces, presses, rounds=2)
    record = load_class(store, 1)
    (one,) = people_of(got, exercises_of(got), record.ratings)
    assert (one.targets, one.targets_made, one.earned_rest_ms, one.reps) == (2, 1, 20_000, 5)
    assert (one.holds, one.holds_kept, one.rating) == (2, 1, 2)
    assert one.most_faded.name == "Ring rows"  # in 10 s, then 2 of 3 in all of the window


def test_an_exercise_knows_its_goals_by_round(store):
    got = played(store, [TARGET, Piece("Rope skips", 30)], [], rounds=2)
    rows, skips = exercises_of(got)
    assert (rows.name, rows.goals, skips.goals) == ("Ring rows", (3,), (0,))
    assert [len(s.efforts) for s in rows.series] == [2]


def corrected(store, **changes):
    """The newest class with its first result as a coach's correction leaves it."""
    record = load_class(store, 1)
    results = [replace(record.results[0], **changes), *record.results[1:]]
    return efforts(replace(record, results=results))


def test_what_the_coach_set_aside_is_neither_made_nor_missed(store):
    played(store, [TARGET], at(11, 14))
    (one,) = corrected(store, standing=INVALID)
    assert (one.outcome, one.reps, one.made) == (Outcome.SET_ASIDE, None, None)


def test_a_corrected_count_is_used(store):
    played(store, [TARGET], at(11, 14))
    (one,) = corrected(store, standing=AMENDED, reps=3)
    assert (one.reps, one.made, one.made_ms, one.agreed) == (3, True, None, True)
    assert one.earned_rest_ms is None, "when it was made nobody knows"


def test_a_window_that_was_another_bibs_is_that_bibs(store):
    played(store, [TARGET], at(11, 14, 20), bibs=(1, 2))
    one, two = sorted(corrected(store, standing=AMENDED, bib=9), key=lambda e: -e.bib)
    assert (one.bib, one.made, two.bib) == (9, True, 2)


def test_a_bib_with_a_task_of_its_own_is_measured_by_it(store):
    played(store, [TARGET], at(11, 14, 20, slot=1), bibs=(1, 2))
    record = load_class(store, 1)
    (run,) = record.runs
    window = run.timeline.windows[1]
    own = (None, Task(t.ASK_TARGET, t.TAP_EACH, 1, 2, "Band rows"))
    windows = {1: replace(window, own=own)}
    run = replace(run, timeline=replace(run.timeline, windows=windows))
    first, second = efforts(replace(record, runs=[run]))
    assert (first.name, first.goal) == ("Ring rows", 3)
    assert (second.name, second.goal, second.reps, second.made) == ("Band rows", 2, 3, True)


def test_an_effort_knows_its_taps_and_what_each_stands_for(store):
    steps = Piece("Box steps", 30, t.ASK_OPEN, t.TAP_EVERY, goal=20, every=5)
    (one,) = played(store, [steps], at(11, 14))
    times = counted(taps_of(store, 1))
    assert (one.every, times[one.run, one.window, one.slot]) == (5, [11_000, 14_000])


def test_taps_taken_back_and_outside_do_not_count(store):
    presses = [*at(5, 11, 14), Press(15_000, held_ms=1_800), *at(20)]
    (one,) = played(store, [Piece("Rope skips", 30)], presses)
    assert counted(taps_of(store, 1))[one.run, one.window, one.slot] == [11_000, 20_000]
