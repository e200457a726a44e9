"""Suspicious data: each kind found, and the innocent look-alikes left alone."""

import random

import pytest
from made_efforts import attended, effort, past, taps

from handbell.analysis.doubt.jump import other_wearers
from handbell.analysis.doubt.paces import beside_own
from handbell.analysis.doubt.suspicion import findings_of
from handbell.analysis.doubt.together import lags_of
from handbell.coach.library.shelf import load_library
from handbell_core import journal as j
from handbell_core import timeline as t

LIBRARY = load_library()
EVEN = [11_000 + 2_000 * n for n in range(10)]


def found(people, rows, **how):
    return findings_of(past(people, **how), rows, LIBRARY)


def names(people, rows, **how):
    return [f.name for f in found(people, rows, **how)]


def one(**changes):
    return [attended(changes.get("bib", 1), [effort(**changes)])]


def test_an_honest_window_has_no_finding():
    assert found(one(), taps(EVEN)) == []


def test_double_presses_are_counted_and_nothing_is_taken_away():
    rows = taps(sorted([*EVEN[:8], EVEN[2] + 280, EVEN[5] + 310]))
    (finding,) = found(one(), rows)
    assert (finding.name, finding.bibs, finding.station) == ("double-press", (1,), 1)
    assert "2 taps came as close as 280 ms" in finding.evidence
    assert finding.spoils(effort(name="push up")) and not finding.spoils(effort(name="Row"))


def test_taps_at_another_button_that_were_the_same_bibs_are_not_mixed_in():
    times = [11_000 + 1_900 * n for n in range(10)]
    second = taps([at + 60 for at in times], slot=1)
    assert names([attended(1, [effort()])], taps(times) + second) == []


def test_quick_reps_of_a_quick_exercise_are_no_double_presses():
    rows = taps([11_000 + 350 * n for n in range(60)])
    assert names(one(name="High knees", ask=t.ASK_OPEN, goal=0, reps=60, made_ms=None), rows) == []


def test_quick_even_reps_of_any_exercise_are_no_double_presses():
    rows = taps([11_000 + 900 * n for n in range(10)])
    assert "double-press" not in names(one(), rows)


def test_an_unknown_exercise_goes_by_its_own_pace():
    rows = taps(sorted([*EVEN, EVEN[3] + 250]))
    assert names(one(name="Tyre dance"), rows) == ["double-press"]


def test_a_target_made_faster_than_anybody_can():
    """Or one press for all of them, told ten times: both are said."""
    burst, fast = found(one(made_ms=14_000), taps([11_000 + 330 * n for n in range(10)]))
    assert (burst.name, fast.name) == ("double-press", "too-fast")
    assert "10 reps in 4.0 s" in fast.evidence


def test_a_quick_athlete_is_not_too_fast():
    # The library's most is 14 in 30 s; 10 in 12 s is a pace of 25.
    assert names(one(made_ms=22_000), taps([10_500 + 1_150 * n for n in range(10)])) == []


def test_too_many_reps_in_an_open_window():
    rows = taps([11_000 + 700 * n for n in range(40)])
    assert "too-fast" in names(one(ask=t.ASK_OPEN, goal=0, reps=40, made_ms=None), rows)


def test_a_missed_target_by_finish_is_not_too_fast():
    assert names(one(tap=t.TAP_FINISH, reps=0, made_ms=None), []) == []


def test_taps_between_windows_from_the_fifth_on():
    slips = taps([50_000, 52_700, 61_000, 63_000], flags=j.TAP_OUTSIDE)
    assert names(one(), slips) == []
    more = taps([50_000, 52_700, 61_000, 63_000, 90_500], flags=j.TAP_OUTSIDE)
    (finding,) = found(one(), more)
    assert finding.name == "outside-windows" and "the first at 0:50" in finding.evidence


def swinging(count, spread_ms=15, seed=1):
    rng = random.Random(seed)
    at, times = 30_000.0, []
    for _ in range(count):
        times.append(at)
        at += rng.gauss(1_400, spread_ms)
    inside = taps([ms for ms in times if ms < 40_000])
    return inside + taps([ms for ms in times if ms >= 40_000], window=0, flags=j.TAP_OUTSIDE)


def test_a_box_that_something_knocks_against():
    (finding,) = found(one(), swinging(40))
    assert finding.name == "left-counting"
    assert "one every 1.4 s as even as a machine" in finding.evidence


def test_a_person_who_taps_on_through_the_rest_is_not_a_machine():
    assert names(one(), swinging(40, spread_ms=180)) == ["outside-windows"]


def test_taps_of_somebody_absent():
    findings = found(one(), taps(EVEN), absent=(1,))
    assert [(f.name, f.evidence) for f in findings] == [
        ("left-counting", "10 taps although the bib is marked absent")
    ]


def test_what_another_box_counted_is_not_spoilt_by_one():
    more = taps([50_000, 52_700, 61_000, 63_000, 90_500], flags=j.TAP_OUTSIDE)
    for rows in (more, swinging(40), taps([*EVEN, EVEN[3] + 250, EVEN[4] + 250])):
        (finding,) = found(one(), rows)
        assert finding.spoils(effort(run=1)) and not finding.spoils(effort(run=2)), finding


def two_windows(lag):
    people, rows = [], []
    for bib in (1, 2):
        own = [effort(bib=bib, slot=bib - 1, window=w, start_ms=w * 60_000, end_ms=w * 60_000 + 30_000,
                      made_ms=w * 60_000 + 20_000) for w in (1, 2)]  # fmt: skip
        people.append(attended(bib, own))
    rng = random.Random(5)
    for w in (1, 2):
        at = w * 60_000 + 1_000.0
        for _ in range(10):
            rows += taps([at], bib=1, window=w) + taps([at + lag(rng)], bib=2, window=w, slot=1)
            at += rng.gauss(1_900, 150)
    return people, rows


def test_a_partner_tapping_for_two():
    (finding,) = found(*two_windows(lambda rng: rng.gauss(180, 30)))
    assert (finding.name, finding.bibs) == ("tapped-for-two", (1, 2))
    assert "in 2 windows" in finding.evidence and "over 20 taps" in finding.evidence


def test_two_people_who_go_side_by_side_are_two_people():
    assert names(*two_windows(lambda rng: rng.uniform(-500, 500))) == []


def test_lags_need_a_partner_for_every_tap_but_two():
    mine = [2_000 * n for n in range(10)]
    assert lags_of(mine, [at + 100 for at in mine]) == [100] * 10
    assert lags_of(mine, [at + 100 for at in mine[:9]]) == [100] * 9
    assert lags_of(mine, [at + 100 for at in mine[:7]]) is None
    assert lags_of(mine[:5], mine[:5]) is None


def strong(pace, bib=1):
    exercises = ("Push-up", "Row", "Sit-up", "Burpee")
    return attended(bib, [effort(name=n, item=i, made_ms=10_000 + int(20_000 * pace))
                          for i, n in enumerate(exercises)])  # fmt: skip


def jumps(now, before):
    return other_wearers(beside_own(now, before))


def test_a_jump_from_the_own_history_asks_who_wore_the_bib():
    before = [past([strong(p)], week) for week, p in enumerate((1.0, 1.05, 0.97, 1.02))]
    (jump,) = jumps(past([strong(0.55)], 4), before)
    assert jump.bib == 1 and "1.84 times the own median" in jump.evidence


@pytest.mark.parametrize("pace", [0.85, 1.2])
def test_a_good_or_a_bad_day_is_no_jump(pace):
    before = [past([strong(p)], week) for week, p in enumerate((1.0, 1.05, 0.97, 1.02))]
    assert jumps(past([strong(pace)], 4), before) == []


def test_somebody_who_differs_from_week_to_week_does_not_jump():
    before = [past([strong(p)], week) for week, p in enumerate((1.0, 0.7, 1.3, 0.8))]
    assert jumps(past([strong(0.62)], 4), before) == []


def test_two_classes_are_too_few_to_jump_from():
    before = [past([strong(1.0)], week) for week in range(2)]
    assert jumps(past([strong(0.5)], 2), before) == []


def test_one_exercise_alone_is_no_jump():
    before = [past([attended(1, [effort()])], week) for week in range(4)]
    assert jumps(past([attended(1, [effort(made_ms=18_000)])], 4), before) == []
