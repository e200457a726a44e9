"""A press that is under way when a class ends belongs to it: its rep, its hold, its rating."""

import struct

from handbell_core import journal as j
from handbell_core.cues import CLOSE
from handbell_core.runner import AT_GATE, CLOSING, HOLD_MS, KNOWN_MS, OVER
from handbell_core.timeline import TAP_TALLY
from made import GATE, RATING, TAKES_TALLY, Box, lead_in, rest, span, window


def told(box, kind):
    return [rec for rec in map(j.parse_record, box.sink.records) if rec[0] == kind]


def last_reps(box, window_number=1, bib=7):
    reps = None
    for _, _, number, _, payload in told(box, j.RESULT):
        who, count = struct.unpack("<HH", payload[:4])
        if (who, number) == (bib, window_number):
            reps = count
    return reps


def one_window():
    box = Box([lead_in(), window(10_000)])
    box.runner.arm(0)
    box.tap(0, 14_000)
    return box


def test_a_press_begun_in_the_last_window_counts_although_the_class_ends():
    box = one_window()
    box.tap(0, 14_900, 200)
    assert box.runner.state == OVER and box.sink.ended[0] == j.BY_TIME
    assert [rec[3] for rec in told(box, j.TAP)] == [14_000, 14_900]
    assert last_reps(box) == 2
    assert box.sink.bells[-1] == (15_000, CLOSE)  # the bell waits for nobody


def test_the_class_ends_as_soon_as_every_press_is_known():
    box = one_window()
    box.to(15_000)
    assert box.runner.state == CLOSING
    box.to(15_000 + KNOWN_MS)
    assert box.runner.state == OVER and box.sink.ended == (j.BY_TIME, 15_000)


def test_a_press_that_becomes_known_after_the_end_belongs_to_the_class():
    # A contact has to be closed for 3 ms, and a loop may be busy for some tens more.
    for known_after_ms in range(1, KNOWN_MS):
        box = one_window()
        box.to(14_999 + known_after_ms)
        box.runner.press(0, 14_999)
        box.to(15_200)
        box.runner.release(0, 15_200)
        assert (box.runner.state, last_reps(box)) == (OVER, 2), known_after_ms


def test_a_press_that_becomes_known_in_the_rating_is_a_rep_and_no_rating():
    box = Box([lead_in(), window(10_000), span(RATING, 10_000, bib=[7, 8, 0, 0])])
    box.runner.arm(0)
    box.to(15_003)
    box.runner.press(0, 14_999)
    box.to(15_100)
    box.runner.release(0, 15_100)
    box.to(40_000)
    assert last_reps(box) == 1 and told(box, j.RATED) == []


def test_a_hold_that_becomes_known_at_a_gate_goes_on_from_nothing():
    box = Box([lead_in(), window(10_000), span(GATE, 0), window(10_000)])
    box.runner.arm(0)
    box.tap(0, 14_000)
    box.to(15_003)
    box.runner.press(0, 14_999)
    box.to(17_000)
    assert box.runner.state == AT_GATE and len(told(box, j.BACK)) == 1


def test_a_hold_over_the_end_takes_the_last_tap_back():
    box = one_window()
    box.tap(0, 14_500, 2_500)
    assert box.runner.state == OVER
    assert len(told(box, j.BACK)) == 1 and last_reps(box) == 0


def test_a_stuck_button_does_not_keep_the_class_from_ending():
    box = one_window()
    box.runner.step(14_900)
    box.runner.press(0, 14_900)
    box.to(15_100)
    assert box.runner.state == CLOSING
    box.to(14_900 + HOLD_MS + 30)
    assert box.runner.state == OVER and box.sink.ended[0] == j.BY_TIME


def test_all_buttons_are_waited_for():
    box = one_window()
    for slot, at_ms in ((0, 14_800), (1, 14_900)):
        box.runner.step(at_ms)
        box.runner.press(slot, at_ms)
    for slot, at_ms in ((0, 15_050), (1, 15_300)):
        box.runner.step(at_ms)
        assert box.runner.state == CLOSING
        box.runner.release(slot, at_ms)
    assert box.runner.state == OVER
    assert (last_reps(box), last_reps(box, bib=8)) == (2, 1)


def test_a_short_cool_down_cuts_no_press_off_either():
    box = Box([lead_in(), window(10_000), rest(1_000)])
    box.runner.arm(0)
    box.tap(0, 14_000)
    box.tap(0, 14_700, 1_400)
    assert box.runner.state == OVER and last_reps(box) == 2


def test_a_hold_over_the_end_of_a_cool_down_corrects_the_result():
    box = Box([lead_in(), window(10_000), rest(5_000)])
    box.runner.arm(0)
    box.tap(0, 13_000)
    box.tap(0, 14_000)
    box.tap(0, 19_500, 2_000)
    assert box.runner.state == OVER
    assert len(told(box, j.BACK)) == 1 and last_reps(box) == 1


def test_a_press_over_the_end_of_the_last_tally_counts():
    box = Box(
        [
            lead_in(),
            window(10_000, tap=TAP_TALLY),
            rest(10_000, flags=TAKES_TALLY, bib=[7, 8, 0, 0]),
        ]
    )
    box.runner.arm(0)
    box.tap(0, 20_000)
    box.tap(0, 24_900, 300)
    assert box.runner.state == OVER and last_reps(box) == 2


def test_a_rating_under_way_when_the_time_is_up_is_kept():
    box = Box([lead_in(), window(10_000), span(RATING, 10_000, bib=[7, 8, 0, 0])])
    box.runner.arm(0)
    box.tap(0, 24_900, 300)
    assert box.runner.state == OVER
    assert [rec[4][2] for rec in told(box, j.RATED)] == [1]


def test_a_press_begun_after_the_end_is_none_of_the_class_s():
    box = one_window()
    box.runner.step(14_900)
    box.runner.press(0, 14_900)
    box.tap(1, 15_100, 100)
    assert box.runner.state == CLOSING
    box.runner.release(0, 15_400)
    assert last_reps(box, bib=8) == 0


def test_presses_told_by_a_late_pass_belong_to_where_they_began():
    """A flash write stops the loop: all that was pressed meanwhile is told at once, then stepped."""
    spans = [lead_in(), window(10_000), rest(10_000), window(10_000)]
    for late_ms in (0, 4, 100, 400):
        box = Box(list(spans))
        box.runner.arm(0)
        for at_ms in (4_990, 5_010, 14_990, 15_010, 24_990, 25_010):
            box.runner.press(0, at_ms)
            box.runner.release(0, at_ms + 5)
            if at_ms % 100 == 10:
                box.to(at_ms + late_ms)
        box.to(40_000)
        counted = [rec[3] for rec in told(box, j.TAP) if not rec[4][6] & j.TAP_OUTSIDE]
        assert counted == [5_010, 14_990, 25_010], late_ms
        assert (last_reps(box), last_reps(box, 2)) == (2, 1)


def test_a_press_begun_after_the_end_is_not_waited_for():
    box = one_window()
    box.runner.step(14_900)
    box.runner.press(0, 14_900)
    box.runner.press(1, 15_020)
    box.to(15_300)
    box.runner.release(0, 15_300)
    assert box.runner.state == OVER
