"""Pace within a window: gaps, cadence and drift, and the ways of tapping that tell none."""

from dataclasses import replace

import pytest

from handbell.analysis.pace import DRIFT_LEAST, pace_of
from handbell.store.efforts import Effort, Outcome
from handbell_core import timeline as t

OPEN = Effort(
    bib=1, who="", station=1, block=1, item=1, round=1, name="Push-up", ask=t.ASK_OPEN,
    tap=t.TAP_EACH, goal=0, start_ms=0, end_ms=30_000, outcome=Outcome.DONE, reps=9,
)  # fmt: skip


def test_gaps_and_cadence():
    pace = pace_of(OPEN, [1_000, 3_000, 5_000, 8_000, 9_500])
    assert (pace.best_gap_ms, pace.worst_gap_ms, pace.median_gap_ms) == (1_500, 3_000, 2_000)
    assert (pace.cadence, pace.taps, pace.drift) == (30, 5, None)


def test_drift_is_how_much_the_gap_grew_from_first_to_last():
    gaps = [1_000, 1_100, 1_200, 1_300, 1_400, 1_500]
    times = [0]
    for gap in gaps:
        times.append(times[-1] + gap)
    drift = pace_of(OPEN, times).drift
    assert drift.slope == pytest.approx(100 * 600 / 1_250, rel=0.05)
    assert drift.sure and drift.low > 0


def test_an_even_pace_does_not_drift_and_one_pause_changes_nothing():
    times = [1_500 * n for n in range(8)]
    times += [times[-1] + 6_000 + 1_500 * n for n in range(8)]
    drift = pace_of(OPEN, times).drift
    assert drift.slope == 0 and not drift.sure


def test_fewer_taps_than_the_least_have_no_drift():
    times = [1_000 * n * n for n in range(1, DRIFT_LEAST)]
    assert pace_of(OPEN, times).drift is None
    assert pace_of(OPEN, [*times, 90_000]).drift is not None


@pytest.mark.parametrize("tap", [t.TAP_FINISH, t.TAP_TALLY, t.TAP_DROP, t.TAP_NONE])
def test_ways_of_tapping_that_tell_no_gap(tap):
    assert pace_of(replace(OPEN, tap=tap), [1_000, 2_000, 3_000, 4_000]) is None


def test_every_n_gives_the_mean_of_n_reps():
    pace = pace_of(replace(OPEN, tap=t.TAP_EVERY, every=5), [5_000, 10_000, 16_000])
    assert (pace.best_gap_ms, pace.worst_gap_ms, pace.every) == (1_000, 1_200, 5)


def test_the_last_tap_of_a_target_that_every_does_not_divide_is_left_out():
    target = replace(OPEN, tap=t.TAP_EVERY, every=5, ask=t.ASK_TARGET, goal=17, reps=17)
    pace = pace_of(target, [5_000, 10_000, 15_000, 17_000])
    assert (pace.taps, pace.worst_gap_ms) == (3, 1_000)


@pytest.mark.parametrize("times", [[], [5], [5, 9], [5, 5, 5]])
def test_too_few_taps_have_no_pace(times):
    assert pace_of(OPEN, times) is None
