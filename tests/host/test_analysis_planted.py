"""Doubt against planted truth: one for two at any lag, lumps, a slow day, exchanged bibs."""

import random

import pytest
from made_efforts import attended, effort, past, taps

from handbell.analysis.doubt.suspicion import findings_of
from handbell.analysis.doubt.together import lags_of
from handbell.coach.library.shelf import load_library
from handbell_core import timeline as t

LIBRARY = load_library()
NAMES = ("Push-up", "Row", "Sit-up", "Burpee")
SEEDS = range(30)


def told(people, rows=(), before=()):
    return findings_of(past(people, week=len(before)), rows, LIBRARY, before)


def walk(rng, gap_ms=2_200, spread=0.07, count=10):
    """An honest person's taps: each rep takes a little more or less."""
    at, times = rng.uniform(500, 1_500), []
    for _ in range(count):
        at += gap_ms * rng.gauss(1, spread)
        times.append(round(at))
    return times


@pytest.mark.parametrize("lag_ms", [0, 200, 450, 600, 1_000, 1_500, 2_000, 2_600])
def test_one_who_presses_for_two_is_found_at_any_lag(lag_ms):
    missed = 0
    for seed in SEEDS:
        rng = random.Random(seed)
        mine = walk(rng)
        missed += lags_of(mine, [at + lag_ms + round(rng.gauss(0, 35)) for at in mine]) is None
    assert missed <= 10  # of a window alone; two of a class are enough


@pytest.mark.parametrize("spread", [0.02, 0.05, 0.1])
@pytest.mark.parametrize("gap_ms", [500, 1_200, 2_200])
def test_two_of_the_same_pace_are_two(gap_ms, spread):
    """As even as a beat or not: that the gaps of one go with the other's is no habit of two."""
    found = 0
    for seed in range(150):
        rng = random.Random(seed)
        found += lags_of(walk(rng, gap_ms, spread), walk(rng, gap_ms, spread)) is not None
    assert found <= 12


def windows(bib, times_of, rounds=3):
    """Somebody's rounds of push-ups, with their taps."""
    efforts, rows = [], []
    for n in range(1, rounds + 1):
        start = n * 60_000
        times = [start + at for at in times_of(n)]
        efforts.append(effort(bib=bib, slot=bib - 1, window=n, round=n, start_ms=start,
                              end_ms=start + 30_000, made_ms=times[-1]))  # fmt: skip
        rows += taps(times, bib=bib, window=n, slot=bib - 1)
    return attended(bib, efforts), rows


@pytest.mark.parametrize("lump_ms", [3_000, 4_500, 6_000])
def test_taps_made_up_for_at_the_end_are_found(lump_ms):
    rng = random.Random(1)
    people, rows = [], []
    for bib in (1, 2, 3, 4):
        late = [30_000 - lump_ms + n * (lump_ms - 200) // 10 for n in range(10)]
        of = windows(bib, lambda n, bib=bib, late=late: late if bib == 2 and n > 1 else walk(rng))
        people.append(of[0])
        rows += of[1]
    some = [f for f in told(people, rows) if f.name == "lumped"]
    assert [f.bibs for f in some] == [(2,)] and "in 2 rounds" in some[0].evidence


def test_who_begins_late_and_goes_at_the_usual_pace_lumps_nothing():
    rng = random.Random(1)
    people, rows = [], []
    for bib in (1, 2, 3, 4):
        late = [16_000 + n * 1_350 for n in range(10)]
        of = windows(bib, lambda n, bib=bib, late=late: late if bib == 2 else walk(rng))
        people.append(of[0])
        rows += of[1]
    assert "lumped" not in [f.name for f in told(people, rows)]


def strong(bib, took_s, names=NAMES, block=1):
    return [effort(bib=bib, name=n, item=i, block=block, start_ms=block * 100_000 + i * 40_000,
                   end_ms=block * 100_000 + i * 40_000 + 30_000,
                   made_ms=block * 100_000 + i * 40_000 + round(took_s * 1000))
            for i, n in enumerate(names)]  # fmt: skip


USUAL = {1: 14.0, 2: 20.0, 3: 24.0, 4: 17.0, 5: 27.0}  # seconds to a target


def class_of(rng, took=USUAL, second=None, slower=1.0):
    """Everybody's two blocks on a day; ``second`` is how it was in the second."""
    people = []
    for bib in USUAL:
        efforts = []
        for block, seconds in ((1, took), (2, second or took)):
            day = seconds[bib] * rng.gauss(1, 0.03) * slower
            efforts += strong(bib, min(day, 29.9), block=block)
        people.append(attended(bib, efforts))
    return people


def weeks(rng):
    return [past(class_of(rng), week) for week in range(4)]


@pytest.mark.parametrize("slower", [1 / 1.3, 1.4])
def test_when_all_are_slower_nobody_is_another(slower):
    """Seven of twelve were asked about once, when it was the heat."""
    for seed in SEEDS:
        rng = random.Random(seed)
        fast = {bib: s / 1.5 for bib, s in USUAL.items()}
        before = [past(class_of(rng, fast), week) for week in range(4)]
        some = told(class_of(rng, fast, slower=slower), before=before)
        (only,) = [f for f in some if f.name != "too-fast"]  # the quickest may be that
        assert (only.name, only.bibs) == ("group-day", ())
        assert f"{'slower' if slower > 1 else 'quicker'} than usual" in only.evidence


SWAPPED = USUAL | {1: USUAL[3], 3: USUAL[1]}


def test_exchanged_bibs_are_told_as_a_pair():
    for seed in SEEDS:
        rng = random.Random(seed)
        before = weeks(rng)
        (pair,) = told(class_of(rng, SWAPPED), before=before)
        assert (pair.name, pair.bibs) == ("exchanged", (1, 3))
        assert pair.spoils(effort(bib=1)) and not pair.spoils(effort(bib=2))


def test_bibs_exchanged_for_a_block_spoil_that_block_alone():
    for seed in SEEDS:
        rng = random.Random(seed)
        before = weeks(rng)
        (pair,) = told(class_of(rng, USUAL, SWAPPED), before=before)
        assert (pair.name, pair.bibs) == ("exchanged", (1, 3)) and "block 2" in pair.evidence
        assert pair.spoils(strong(1, 20, block=2)[0]) and not pair.spoils(strong(1, 20)[0])


def test_nobody_is_suspected_on_an_ordinary_day():
    for seed in SEEDS:
        rng = random.Random(seed)
        before = weeks(rng)
        assert told(class_of(rng), before=before) == []


def test_a_paused_window_is_no_lump():
    from handbell.store.results.effort import Outcome

    late = [57_000 + 300 * n for n in range(10)]
    one = effort(outcome=Outcome.PAUSED, start_ms=30_000, end_ms=60_000, made_ms=None)
    assert "lumped" not in [f.name for f in told([attended(1, [one])], taps(late))]
    assert one.tap == t.TAP_EACH
