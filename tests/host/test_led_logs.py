"""Logs of a class that a remote led: what holds, how each window reads, when it was."""

import struct

import classes
import pytest
from led import Piece, Press, counted, pause, play_led, run_on, start, stop

from handbell.analysis.cases import session_of
from handbell.analysis.fade import fade_of
from handbell.analysis.sums import score_of
from handbell.store.logs import journals, recount, timelines
from handbell.store.logs.acts import LATE, LEFT_OUT, PAUSED, SHORT, TAP_PAUSED, acts_of
from handbell.store.logs.outages import outages_of
from handbell.store.results.effort import COUNTED, OR_MORE, Outcome
from handbell.store.results.efforts import efforts_of_run
from handbell.store.results.records import ResultRow
from handbell.store.results.settle import derive
from handbell.store.results.sums import added_up
from handbell_core import journal as j
from handbell_core import timeline as t

# Two blocks of two rounds: windows at 10-50 s, 50-90 s, a break, 120-160 s, 160-200 s.
BLOCKS = ((Piece("Squat", 40),), (Piece("Lunge", 40),))
EVERY_2_S = [Press(ms) for ms in range(12_000, 260_000, 2_000)]


def made(blocks=BLOCKS, rounds=2, **how):
    return classes.timeline(blocks, (1,), rounds=rounds, **how)


def efforts(data, run):
    windows = timelines.decode(data).windows
    _, again = counted(data, run)
    assert again.mismatches == []
    rows = [ResultRow(1, one.window, one.slot, *one.used, *one[3:]) for one in again.results]
    return efforts_of_run(1, 1, windows, rows, {})


def told(acts, presses=EVERY_2_S, data=None, **how):
    data = data or made()
    return [(e.outcome.value, e.reps) for e in efforts(data, play_led(data, acts, presses, **how))]


PAUSE = [start(), pause(30_000, 30_000), run_on(30_000, 75_000)]
LATER = [Press(ms) for ms in range(12_000, 30_000, 2_000)]


def test_a_window_that_stood_in_its_midst_is_paused():
    data = made()
    got = efforts(data, play_led(data, PAUSE, LATER))
    assert [(e.outcome, e.reps) for e in got[:2]] == [(Outcome.PAUSED, 9), (Outcome.DONE, 0)]
    assert got[0].made is None and got[0].rate is None and got[0].confirmed


def test_it_is_in_no_fade_no_trend_and_no_advice():
    target = ((Piece("Squat", 40, t.ASK_TARGET, goal=4),),)
    data = made(target, rounds=3)
    acts = [start(), pause(60_000, 60_000), run_on(60_000, 100_000)]
    presses = [Press(ms) for ms in (12_000, 14_000, 16_000, 18_000, 52_000, 54_000)]
    presses += [Press(ms) for ms in (101_000, 102_000, 140_000, 145_000, 150_000, 155_000)]
    got = efforts(data, play_led(data, acts, presses))
    assert [e.outcome.value for e in got] == ["done", "paused", "done"]
    assert [e.reps for e in got] == [4, 4, 4]
    assert (got[1].finish_ms, got[1].earned_rest_ms, got[1].made) == (None, None, None)
    found = fade_of(got)
    assert found.percent is None and found.reason == "incomplete set"
    assert found.best == max(got[0].rate, got[2].rate)
    ((_, sums),) = added_up(got)
    assert (sums.judged, sums.timed, sums.rates) == (2, 2, 2) and score_of(sums) is None
    assert [one.read for one in session_of(1, got, None).tries] == [True, False, True]


def test_a_pause_between_windows_breaks_none():
    for class_ms in (50_000, 90_000, 100_000, 120_000):
        acts = [start(), pause(class_ms, class_ms), run_on(class_ms, class_ms + 30_000)]
        assert {outcome for outcome, _ in told(acts)} == {"done"}


def test_the_next_block_cuts_a_window_short_and_leaves_others_out():
    acts = [start(), run_on(120_000, 30_000)]
    assert told(acts) == [("cut short", 9), ("left out", None), ("done", 20), ("done", 20)]


def test_who_had_no_window_left_is_not_taken_for_absent():
    data = made()
    got = efforts(data, play_led(data, [start(), run_on(120_000, 11_000)], ()))
    assert not any(e.pressed for e in got if e.outcome is Outcome.LEFT_OUT)
    assert got[1].outcome not in COUNTED and got[1].reps is None


def test_from_a_pause_to_the_next_block():
    acts = [start(), pause(30_000, 30_000), run_on(120_000, 60_000)]
    assert told(acts)[:2] == [("cut short", 9), ("left out", None)]


def test_with_little_left_a_window_that_stood_is_over():
    acts = [start(), pause(46_500, 46_500), run_on(50_000, 60_000)]
    assert told(acts)[:2] == [("cut short", 18), ("done", 20)]


def test_a_pause_heard_late_takes_back_what_was_pressed_after_it():
    assert told(PAUSE, late={2: 7_000})[0] == ("paused", 9 + 10)
    data = made()
    run = play_led(data, PAUSE, EVERY_2_S, late={2: 7_000})
    found, again = counted(data, run)
    taps = derive(found, again, timelines.decode(data).windows).taps
    there = {row[5]: row[8] for row in taps if row[1] == "tap" and not row[7] & TAP_PAUSED}
    # It played on to 36 s, and later from 30 s on once more, where the presses fall between.
    assert [there[ms] for ms in (28_000, 30_000, 36_000)] == [True, False, False]
    assert [there[ms] for ms in (31_000, 37_000, 49_000)] == [True, True, True]


def test_a_window_heard_late_in_full_is_played_anew():
    """Seven seconds into the next window it hears that the class stands in the one before."""
    acts = [start(), pause(44_000, 44_000), run_on(44_000, 80_500)]
    assert told(acts, late={2: 13_000})[:2] == [("paused", 16 + 3), ("done", 20)]


def test_a_word_to_go_on_that_came_late_leaves_a_part_unknown():
    got = told(PAUSE, late={3: 6_000})
    assert got[0] == ("late", 9 + 7)
    assert Outcome.LATE in OR_MORE


def test_what_others_did_while_a_box_stood_is_not_left_out_but_unknown():
    """It stood at 30 s, and hears when the class is in the second block."""
    assert told(PAUSE, late={3: 100_000}) == [
        ("late", 9), ("no record", None), ("late", 15), ("done", 20),
    ]  # fmt: skip


def test_a_second_is_not_missed():
    assert told(PAUSE, late={3: 900})[0][0] == "paused"
    assert told(PAUSE, late={3: 1_100})[0][0] == "late"


def test_the_stop_leaves_out_what_was_to_come():
    got = told([start(), stop(70_000, 70_000)])
    assert got == [("done", 19), ("stopped", 10), ("left out", None), ("left out", None)]


def test_a_window_left_out_is_not_left_out_once_it_was_played():
    acts = [start(), run_on(120_000, 30_000), pause(40_000, 50_000), run_on(40_000, 70_000)]
    got = told(acts)
    assert [outcome for outcome, _ in got] == ["paused", "done", "done", "done"]


def test_presses_of_a_pause_are_marked_and_count_for_nothing():
    data = made()
    run = play_led(data, PAUSE, [Press(ms) for ms in range(40_000, 60_000, 1_000)])
    found, again = counted(data, run)
    rows = derive(found, again, timelines.decode(data).windows).taps
    assert len(rows) == 20 and all(row[7] & TAP_PAUSED and not row[8] for row in rows)


def test_gaps_over_a_pause_are_no_pace():
    data = made()
    found, again = counted(data, play_led(data, PAUSE, EVERY_2_S))
    gaps = {
        row[0]: row[9:12] for row in derive(found, again, timelines.decode(data).windows).results
    }
    assert gaps[1] == (None, None, None) and gaps[2] == (2000.0, 2000, 2000)


def test_a_tally_entered_while_the_class_stands_is_told_alike_and_counts():
    """Tap, take back, tap: two of them at the same time of the class, byte for byte the same."""
    data = made(((Piece("Sit-ups", 30, t.ASK_OPEN, t.TAP_TALLY, rest_s=20),),), rounds=1)
    acts = [start(), pause(45_000, 45_000), run_on(45_000, 80_000)]
    presses = [Press(50_000), Press(52_000, held_ms=1_700), Press(55_000, held_ms=1_700)]
    presses += [Press(58_000), Press(60_000)]
    run = play_led(data, acts, presses)
    found, again = counted(data, run)
    assert found.repeated == 0 and again.mismatches == []
    (one,) = again.results
    assert one.used.reps == one.box_reps == 2


def test_where_the_class_runs_a_press_told_twice_still_counts_once():
    data = made()
    run = play_led(data, PAUSE, LATER)
    taps = [n for n, record in enumerate(run.records) if record[0] == j.TAP]
    run.records.insert(taps[0] + 1, run.records[taps[0]])
    assert journals.read(run.journal).repeated == 1


def test_an_act_brings_a_time_again_and_what_is_pressed_then_is_no_repeat():
    data = made()
    acts = [start(), pause(30_000, 40_000), run_on(30_000, 60_000)]
    run = play_led(data, acts, [Press(32_000), Press(62_000), Press(64_000)])
    found, again = counted(data, run)
    assert found.repeated == 0
    assert [one.used.reps for one in again.results[:1]] == [2]


def test_a_box_that_could_not_read_where_an_act_leads_knows_only_a_part():
    """It gives up in the window, and ends its log as if that were over."""
    data = made()
    for acts, outcome in (([start()], "late"), ([], "done")):
        run = play_led(data, [start()], LATER, until_ms=40_000)
        records = [r for r in run.records if acts or r[0] != j.ACT]
        told = struct.pack("<HHiHB", 1, 9, -1, j.HELD_TO_END, j.RES_ASKED)
        end = struct.pack("<BBHII", j.BY_FAULT, 0, 0, 0, 9)
        records += [j.record(j.RESULT, 0, 1, 10_000, told), j.record(j.END, 0, 0, 50_000, end)]
        run.records = records
        assert [(e.outcome.value, e.reps) for e in efforts(data, run)][:1] == [(outcome, 9)]


# When it was


def test_a_class_begun_by_the_remote_says_so_and_when():
    data = made()
    found = journals.read(play_led(data, [start(5_000)]).journal)
    assert found.started and found.started_by == "word"
    assert found.start_utc_us == (classes.START_UTC_MS + 5_000) * 1000


def test_a_start_put_off_is_no_start_and_one_anew_is():
    data = made()
    put_off = [pause(0, -2_000)]
    found = journals.read(play_led(data, put_off, [Press(1_000)], until_ms=60_000).journal)
    assert not found.started
    found = journals.read(play_led(data, [*put_off, start(90_000)]).journal)
    assert found.start_utc_us == (classes.START_UTC_MS + 90_000) * 1000
    anew = [start(), pause(4_000, 4_000), start(50_000)]
    found = journals.read(play_led(data, anew).journal)
    assert found.start_utc_us == (classes.START_UTC_MS + 50_000) * 1000


def test_the_end_has_the_pauses_in_it():
    data = made(rate=False)
    whole = journals.read(play_led(data, [start()]).journal)
    found = journals.read(play_led(data, PAUSE).journal)
    assert found.end_class_ms == whole.end_class_ms
    assert found.end_utc_us == whole.end_utc_us + 45_000_000
    cut = journals.read(play_led(data, [start(), run_on(120_000, 30_000)]).journal)
    assert cut.end_utc_us == whole.end_utc_us - 90_000_000


def test_where_a_class_was_last_is_where_the_last_act_took_it():
    data = made()
    run = play_led(data, [start(), pause(30_000, 60_000)], until_ms=90_000)
    assert journals.read(run.journal).end_class_ms == 30_000


# Without power


def off(run, since_ms, at_ms, state=5, cause=j.BY_CLOCK):
    """Let a box be off: what it kept, another start, and where it went on."""
    kept = [r for r, ms in zip(run.records, run.times_ms, strict=True) if ms <= since_ms]
    kept.append(j.record(j.BOX, 0, 0, 0, bytes(12)))
    kept.append(j.record(j.STATE, 0, 1, at_ms, struct.pack("<BBHq", state, cause, 0, -1)))
    return kept


def act(number, what, class_ms, was_ms):
    return j.act_record(number, what, class_ms, 1, was_ms)


@pytest.mark.parametrize(("back_ms", "partly"), [(28_000, True), (20_000, False), (9_000, False)])
def test_what_is_played_anew_was_not_missed(back_ms, partly):
    """It was off from 21 s or so to 40 s, and then the class was taken back."""
    data = made()
    records = off(play_led(data, [start()], LATER, until_ms=60_000), 21_000, 40_000, state=3)
    records.append(act(2, 1, back_ms, 41_000))
    found = journals.read(b"".join(records))
    (out,) = outages_of(found.records)
    assert (out.from_ms, out.to_ms, out.back_ms) == (20_000, 40_000, back_ms)
    windows = timelines.decode(data).windows
    held = [one for one in recount.recount(windows, found.records).results if one.window == 1]
    if held:  # of a window taken back as a whole nothing is told
        # No result was told either way, so that alone says that more may have been done.
        assert held[0].standing in (recount.PARTLY, recount.RECOUNT)
    assert (out.missed_to_ms > out.from_ms) == partly


def test_off_while_the_class_stands_misses_nothing():
    data = made()
    run = play_led(data, PAUSE, LATER, until_ms=200_000)
    at = next(n for n, ms in enumerate(run.times_ms) if ms >= 70_000)
    stood = off(run, 60_000, 30_000)
    found = journals.read(b"".join(stood + run.records[at:]))
    windows = timelines.decode(data).windows
    first = recount.recount(windows, found.records).results[0]
    assert (first.used.reps, first.standing) == (9, recount.AGREED)
    assert first.used.flags & PAUSED and not first.used.flags & (LATE | SHORT | LEFT_OUT)
    assert [a.number for a in acts_of(found.records)] == [1, 2, 3]
