"""Buttons that tell a press twice or more, found at any share of the presses, over many seeds."""

import random

import pytest
from made_efforts import attended, effort, past, taps

from handbell.analysis.doubt.suspicion import findings_of
from handbell.coach.library.shelf import load_library
from handbell_core import timeline as t

LIBRARY = load_library()
SEEDS = range(40)
ROUNDS = 3
WINDOW_MS = 30_000
ECHO_MS = (120, 350)  # the box itself drops what comes within 100 ms
UNKNOWN = "Tyre dance"
UNKNOWN_REP_MS = 900


def rep_ms(name, pace):
    """How long a rep takes at a share of the library's most."""
    entry = LIBRARY.find(name)
    return (30_000 / entry.reps_30s[1] if entry else UNKNOWN_REP_MS) / pace


def window(rng, start_ms, gap_ms, spread):
    """An honest person's presses: reps that vary, with a pause now and then."""
    times, at = [], start_ms + 1_000.0
    while at < start_ms + WINDOW_MS - 400:
        times.append(round(at))
        pause = rng.uniform(2.0, 4.0) if rng.random() < 0.05 else 1.0
        at += gap_ms * pause * rng.lognormvariate(0, spread)
    return times


def echoed(rng, times, share, presses=2):
    """The same with more presses soon after some, of one at least; each echo after the one before.

    A lower echo for more of them, so that all come before the next rep.
    """
    found = list(times)
    longest = ECHO_MS[1] if presses == 2 else 200
    for at in rng.sample(times, max(1, round(share * len(times)))):
        for _ in range(presses - 1):
            at += rng.randint(ECHO_MS[0], longest)
            found.append(at)
    return sorted(found)


def found(rng, name, gap_ms, spread, share, goal=0, presses=2, **how):
    efforts, rows = [], []
    for n in range(ROUNDS):
        start = 10_000 + 60_000 * n
        times = window(rng, start, gap_ms, spread)
        if share:
            times = echoed(rng, times, share, presses)
        times = times[: goal or None]
        made = times[-1] if goal and len(times) >= goal else None
        asked = {"ask": t.ASK_TARGET if goal else t.ASK_OPEN, "goal": goal, "name": name}
        at = {"start_ms": start, "end_ms": start + WINDOW_MS, "window": n + 1, "round": n + 1}
        efforts.append(effort(reps=len(times), made_ms=made, **asked, **at, **how))
        rows += taps(times, window=n + 1)
    return [f.name for f in findings_of(past([attended(1, efforts)]), rows, LIBRARY)]


@pytest.mark.parametrize("share", [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
@pytest.mark.parametrize("goal", [0, 10])
@pytest.mark.parametrize("name", ["Push-up", "Squat", UNKNOWN])
def test_doubled_presses_are_found_at_any_share(name, goal, share):
    missed = []
    for seed in SEEDS:
        rng = random.Random(seed)
        gap_ms = rep_ms(name, rng.uniform(0.5, 0.8))
        if "double-press" not in found(rng, name, gap_ms, 0.12, share, goal):
            missed.append(seed)
    # With a target of ten the only doubled press of a tenth may lie behind the target.
    assert len(missed) <= (len(SEEDS) // 10 if goal and share < 0.2 else 0), missed


@pytest.mark.parametrize("presses", [3, 4, 5])
@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7, 0.9, 1.0])
@pytest.mark.parametrize("goal", [0, 10])
@pytest.mark.parametrize("name", ["Push-up", "Squat", UNKNOWN])
def test_more_than_two_presses_a_rep_are_found_at_any_share(name, goal, share, presses):
    missed = []
    for seed in SEEDS:
        rng = random.Random(seed)
        gap_ms = rep_ms(name, rng.uniform(0.5, 0.7))
        if "double-press" not in found(rng, name, gap_ms, 0.12, share, goal, presses):
            missed.append(seed)
    # As above: of a tenth, all may lie behind the target.
    assert len(missed) <= (len(SEEDS) // 10 if goal and share < 0.2 else 0), missed


@pytest.mark.parametrize("presses", [2, 3, 4, 6])
def test_a_window_that_is_one_burst_of_a_known_exercise_is_found(presses):
    """The target is made by the first rep, so that nothing stands beside the burst."""
    for seed in SEEDS:
        rng = random.Random(seed)
        assert "double-press" in found(rng, "Push-up", 3_500, 0.1, 1.0, presses, presses)


def test_every_press_doubled_with_few_reps_a_window():
    for seed in SEEDS:
        rng = random.Random(seed)
        assert "double-press" in found(rng, "Push-up", 3_500, 0.1, 1.0, goal=6)


@pytest.mark.parametrize("name", ["Push-up", "Squat", "High knees", UNKNOWN])
@pytest.mark.parametrize("pace", [0.4, 0.7, 1.0, 1.4, 1.8])
@pytest.mark.parametrize("spread", [0.05, 0.12, 0.2])
def test_honest_presses_are_not_called_doubled(name, pace, spread):
    for seed in SEEDS:
        rng = random.Random(seed)
        assert "double-press" not in found(rng, name, rep_ms(name, pace), spread, 0.0), seed


@pytest.mark.parametrize("pace", [0.7, 1.0, 1.6])
def test_honest_presses_of_no_exercise_of_the_library_are_called_doubled(pace):
    known = [entry.name for entry in LIBRARY.entries.values() if entry.reps_30s]
    assert len(known) > 50
    for name in known:
        for seed in range(8):
            rng = random.Random(seed)
            said = found(rng, name, rep_ms(name, pace), 0.15, 0.0)
            assert "double-press" not in said, (name, seed)


@pytest.mark.parametrize("name", ["High knees", "Mountain climber", "Squat"])
def test_quick_sets_with_rests_between_are_no_bursts(name):
    """Eight reps at the library's most and half as quick again, then some seconds' rest."""
    for seed in SEEDS:
        rng = random.Random(seed)
        times, at = [], 11_000.0
        while at < 39_000:
            for _ in range(8):
                times.append(round(at))
                at += rep_ms(name, 1.5) * rng.lognormvariate(0, 0.12)
            at += rng.uniform(2_000, 5_000)
        asked = effort(name=name, ask=t.ASK_OPEN, goal=0, reps=len(times), made_ms=None)
        said = findings_of(past([attended(1, [asked])]), taps(times), LIBRARY)
        assert "double-press" not in [f.name for f in said], seed


def test_very_quick_presses_of_an_exercise_nobody_knows_are_not_called_doubled():
    for seed in SEEDS:
        rng = random.Random(seed)
        assert "double-press" not in found(rng, UNKNOWN, 300, 0.12, 0.0), seed


@pytest.mark.parametrize("share", [0.3, 1.0])
def test_a_press_that_stands_for_several_reps_is_doubled_too(share):
    for seed in SEEDS:
        rng = random.Random(seed)
        how = {"tap": t.TAP_EVERY, "every": 5}
        assert "double-press" in found(rng, "Push-up", 9_000, 0.12, share, **how), seed
