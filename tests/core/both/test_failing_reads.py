"""A flash that doesn't answer for a while, or for good: what the runner does with that."""

import struct

from handbell_core import faults
from handbell_core import journal as j
from handbell_core.clock import ClockModel
from handbell_core.runner import (
    AGAIN,
    AT_GATE,
    FAULT,
    GIVE_UP_MS,
    LEAVING,
    NEVER,
    OVER,
    READY,
    SET,
    STOP,
    SURE,
)
from handbell_core.timeline import FormatError
from made import GATE, Box, span, whole_class, window


class Flaky:
    """A timeline whose flash fails between two moments, or on one read."""

    def __init__(self, reader):
        self._reader = reader
        self.head = reader.head
        self.fails = False
        self.fail_at_read = -1
        self.reads = 0

    def span(self, index, into):
        self.reads += 1
        if self.fails or self.reads == self.fail_at_read:
            into.duration_ms = -1  # what a read that broke off leaves
            raise OSError(5)
        return self._reader.span(index, into)

    def text(self, index):
        return self._reader.text(index)


def flaky(spans):
    box = Box(spans, model=ClockModel(1_700_000_010_000_000, 0))
    box.runner.timeline = Flaky(box.runner.timeline)
    return box


def fails(act, *how):
    try:
        act(*how)
    except OSError:
        return 1
    return 0


def step(box, run_ms):
    return fails(box.runner.step, run_ms)


def play(box, until_ms, every_ms=50, fails=(0, 0), gate_ms=60_000):
    """Step as a box's loop does, whatever fails; return how many steps failed."""
    failed = 0
    held = False
    for ms in range(0, until_ms, every_ms):
        box.runner.timeline.fails = fails[0] <= ms < fails[1]
        failed += step(box, ms)
        if box.runner.state == AT_GATE and ms >= gate_ms and not held:
            held = True
            box.hold(0, ms)
    return failed


def whole():
    box = flaky(whole_class())
    box.runner.arm(2_000)
    assert play(box, 150_000) == 0
    assert box.runner.state == OVER
    return box


def test_one_failing_read_costs_nothing_whichever_it_is():
    good = whole()
    for read in range(2, good.runner.timeline.reads + 1):
        box = flaky(whole_class())
        box.runner.arm(2_000)
        box.runner.timeline.fail_at_read = read
        assert play(box, 150_000) <= 1, read
        assert box.sink.bells == good.sink.bells, read
        assert box.sink.records == good.sink.records, read
        assert box.sink.ended == good.sink.ended, read


def test_a_flash_that_fails_for_a_while_shifts_no_later_bell():
    good = whole()
    for first_ms in range(2_500, 55_000, 1_700):
        box = flaky(whole_class())
        box.runner.arm(2_000)
        play(box, 150_000, fails=(first_ms, first_ms + 2_000))
        assert box.sink.bells == good.sink.bells, first_ms
        assert box.sink.ended == good.sink.ended, first_ms


def test_a_press_while_the_flash_fails_is_counted():
    box = flaky([window(10_000), window(10_000)])
    box.runner.arm(0)
    box.to(1_000)
    box.runner.timeline.fails = True
    for ms in range(9_000, 12_000, 50):
        step(box, ms)
        if ms in (9_500, 10_200):
            fails(box.runner.press, 0, ms)
        if ms in (9_600, 10_300):
            fails(box.runner.release, 0, ms)
    box.runner.timeline.fails = False
    box.to(30_000)
    taps = [j.parse_record(raw)[3] for raw in box.sink.records if raw[0] == j.TAP]
    assert taps == [9_500, 10_200]
    assert box.sink.ended == (j.BY_TIME, 20_000)


def test_a_start_that_can_t_be_read_is_not_set():
    box = flaky([window(10_000)])
    box.runner.timeline.fails = True
    assert fails(box.runner.arm, 20_000)
    assert box.runner.state == READY
    box.hold(0, 1_000, 1_600)  # the first hold reads nothing
    assert box.runner.state == AGAIN
    fails(box.runner.press, 0, 3_000)
    for ms in range(3_000, 6_000, 50):
        step(box, ms)
    assert (box.runner.state, box.runner.starts_ms) == (AGAIN, NEVER)
    fails(box.runner.release, 0, 6_000)
    box.runner.timeline.fails = False
    box.hold(0, 6_500, 1_600)
    assert box.runner.state == SET


def by_hand(spans, second_ms=3_000):
    """A box between the holds of a start by hand, the second one under way at ``second_ms``."""
    box = flaky(spans)
    box.hold(0, 1_000, 1_600)
    box.runner._after_index = -1  # as after a read that broke off
    step(box, second_ms)
    box.runner.press(0, second_ms)
    return box


def test_a_second_hold_whose_read_fails_sets_the_start_that_other_boxes_set():
    good = by_hand([window(10_000)])
    good.to(10_000)
    for lasts_ms in (50, 1_000, 5_500):
        box = by_hand([window(10_000)])
        play_on(box, 4_000, 4_530 + lasts_ms, up_ms=5_000)
        assert box.runner.state == AGAIN
        box.runner.timeline.fails = False
        box.to(10_400)
        assert (box.runner.state, box.runner.starts_ms) == (SET, good.runner.starts_ms), lasts_ms
        box.to(60_000)
        assert box.sink.ended is not None


def play_on(box, from_ms, until_ms, up_ms):
    """Let reads fail for so long, stepped as a loop does; button 0 is let go at ``up_ms``."""
    box.runner.timeline.fails = True
    for ms in range(from_ms, until_ms, 50):
        if ms == up_ms:
            fails(box.runner.release, 0, ms)
        step(box, ms)
    if until_ms <= up_ms:
        fails(box.runner.release, 0, up_ms)


def test_a_second_hold_that_can_t_be_read_for_six_seconds_sets_nothing():
    box = by_hand([window(10_000)])
    play_on(box, 4_000, 4_530 + GIVE_UP_MS + 100, up_ms=5_000)
    box.runner.timeline.fails = False
    box.to(60_000)
    assert (box.runner.state, box.runner.starts_ms) == (READY, NEVER)


def test_presses_after_a_second_hold_that_is_still_to_be_read_mean_what_they_do_after_a_start():
    """The other boxes have their start by then: this one is not taken back, and moved as theirs."""
    starts = []
    for held_ms in (100, 1_600):
        good = by_hand([window(10_000)])
        good.to(5_000)
        good.runner.release(0, 5_000)
        good.hold(0, 6_100, held_ms)
        box = by_hand([window(10_000)])
        box.runner.press(1, 4_000)
        play_on(box, 4_000, 6_000, up_ms=5_000)
        fails(box.runner.release, 1, 6_000)
        hold_failing(box, 0, 6_100, held_ms)
        box.runner.timeline.fails = False
        box.to(10_400)
        starts.append(good.runner.starts_ms)
        assert (box.runner.state, box.runner.starts_ms) == (SET, starts[-1]), held_ms
    assert starts[0] < starts[1]


def test_a_third_hold_under_way_as_the_second_is_read_moves_the_start():
    good = by_hand([window(10_000)])
    good.to(5_000)
    good.runner.release(0, 5_000)
    good.hold(0, 6_100, 1_600)
    box = by_hand([window(10_000)])
    play_on(box, 4_000, 6_100, up_ms=5_000)
    fails(box.runner.press, 0, 6_100)
    box.runner.timeline.fails = False
    box.to(7_700)
    box.runner.release(0, 7_700)
    assert box.runner.starts_ms == good.runner.starts_ms


def test_each_of_two_moves_that_can_t_be_read_yet_is_made():
    def set_by_hand():
        box = by_hand([window(10_000)])
        box.to(5_000)
        box.runner.release(0, 5_000)
        return box

    good, box = set_by_hand(), set_by_hand()
    box.runner._after_index = -1  # as after a read that broke off
    box.runner.timeline.fails = True
    for at_ms in (6_000, 8_000):
        good.hold(0, at_ms, 1_600)
        hold_failing(box, 0, at_ms, 1_600)
    box.runner.timeline.fails = False
    box.to(10_400)
    assert box.runner.starts_ms == good.runner.starts_ms


def test_a_hold_at_a_gate_that_can_t_be_left_yet_leaves_it_once():
    def gate():
        box = flaky([window(10_000), span(GATE, 0), window(10_000)])
        box.runner.arm(0)
        box.to(12_000)
        return box

    good, box = gate(), gate()
    box.runner._after_index = -1  # as after a read that broke off
    box.runner.timeline.fails = True
    for at_ms in (12_000, 14_000):
        good.hold(0, at_ms, 1_600)
        hold_failing(box, 0, at_ms, 1_600)
    box.runner.timeline.fails = False
    box.to(16_400)
    assert (box.runner.state, box.runner.starts_ms) == (LEAVING, good.runner.starts_ms)


def test_a_hold_that_was_never_read_stands_in_no_later_one_s_way():
    box = flaky([window(10_000), span(GATE, 0), window(10_000)])
    box.runner.arm(0)
    box.to(12_000)
    box.runner.press(0, 12_000)
    box.runner._after_index = -1
    play_on(box, 12_050, 13_600 + GIVE_UP_MS + 100, up_ms=14_000)
    box.runner.timeline.fails = False
    box.to(25_000)
    assert box.runner.state == AT_GATE
    box.hold(0, 25_000, 1_600)
    assert box.runner.state == LEAVING


def test_a_gate_is_left_and_a_start_moved_though_the_read_fails_at_first():
    def gate():
        box = flaky([window(10_000), span(GATE, 0), window(10_000)])
        box.runner.arm(0)
        box.to(12_000)
        return box

    def set_by_hand():
        box = by_hand([window(10_000)])
        box.to(4_600)
        box.runner.release(0, 4_700)
        box.to(12_000)
        assert box.runner.state == SET
        return box

    for make, state in ((gate, LEAVING), (set_by_hand, SET)):
        starts = []
        for failing in (False, True):
            box = make()
            box.runner.press(0, 12_000)
            box.runner._after_index = -1
            if failing:
                play_on(box, 12_050, 15_000, up_ms=14_000)
                box.runner.timeline.fails = False
            else:
                box.to(14_000)
                box.runner.release(0, 14_000)
            box.to(15_500)
            assert box.runner.state == state
            starts.append(box.runner.starts_ms)
        assert starts[0] == starts[1] < NEVER


def thirds():
    box = flaky([window(10_000), window(10_000), window(10_000)])
    box.runner.arm(0)
    box.to(1_000)
    box.runner.timeline.fails = True
    return box


def test_a_flash_that_never_answers_again_ends_the_class_with_what_was_counted():
    box = thirds()
    for ms in range(1_000, 60_000, 50):
        if ms == 15_000:
            fails(box.runner.press, 0, ms)
        elif ms == 15_100:
            fails(box.runner.release, 0, ms)
        step(box, ms)
        assert (box.runner.state == FAULT) == (ms >= 20_000 + GIVE_UP_MS), ms
    runner = box.runner
    assert runner.fault == faults.FLASH_ERROR
    assert box.sink.ended == (j.BY_FAULT, 20_000)
    told = [j.parse_record(raw) for raw in box.sink.records if raw[0] == j.RESULT]
    reps = {(rec[1], rec[2]): struct.unpack("<HH", rec[4][:4])[1] for rec in told}
    assert reps == {(0, 1): 0, (1, 1): 0, (0, 2): 1, (1, 2): 0}
    assert not any(rec[4][10] & j.RES_STOPPED for rec in told)  # both windows were whole
    assert (runner.due_ms, runner.menu, runner.cue_ms()) == (NEVER, -1, NEVER)


def test_a_class_at_fault_is_over_for_everybody_but_can_be_stopped():
    box = thirds()
    play(box, 40_000, fails=(0, 40_000))
    box.runner.timeline.fails = False
    told = (len(box.sink.records), len(box.sink.bells), box.sink.ended)
    box.sink.ended = None
    for at_ms, held_ms in ((41_000, 100), (42_000, 1_700), (45_000, 6_000), (53_000, 1_700)):
        box.tap(0, at_ms, held_ms)
        assert box.runner.state == FAULT and box.runner.due_ms == NEVER
    try:
        box.runner.arm(90_000)
    except ValueError:
        pass
    else:
        raise AssertionError("another runner is needed")
    box.runner.stop(60_000, j.BY_HOST)
    assert box.runner.state == OVER and box.sink.ended is None  # it was told once
    assert told[:2] == (len(box.sink.records), len(box.sink.bells))


def test_a_start_whose_class_can_t_be_read_for_good_is_at_fault_before_it_began():
    box = flaky([window(10_000)])
    box.runner.arm(10_000)
    box.runner._after_index = -1  # as after a read that broke off
    play(box, 10_000 + GIVE_UP_MS, fails=(0, 30_000))
    assert box.runner.state == SET
    assert step(box, 10_000 + GIVE_UP_MS) == 0  # the fault is what it tells from now on
    assert box.runner.state == FAULT and box.sink.ended == (j.BY_FAULT, 0)


def test_how_long_it_stands_still_counts_anew_when_the_class_has_gone_on():
    box = flaky([window(10_000), window(10_000), window(10_000), window(10_000)])
    box.runner.arm(0)
    failed = play(box, 50_000, fails=(10_000, 25_000))  # it stands still from 20 s to 25 s
    assert failed > 100 and box.sink.ended == (j.BY_TIME, 40_000)


def test_the_reason_of_a_fault_is_what_failed_last():
    for error, fault in (
        (OSError(5), faults.FLASH_ERROR),
        (FormatError("own task"), faults.TIMELINE_BROKEN),
        (MemoryError(), faults.FIRMWARE),
    ):
        box = flaky([window(10_000), window(10_000)])
        box.runner.arm(0)
        box.to(1_000)
        box.runner._after_index = -1
        box.runner.timeline.span = raiser(error)
        for ms in range(1_000, 20_000, 500):
            try:
                box.runner.step(ms)
            except Exception as seen:
                assert seen is error
        assert (box.runner.state, box.runner.fault) == (FAULT, fault)


def raiser(error):
    def span(index, into):
        raise error

    return span


def hold_failing(box, slot, at_ms, held_ms):
    """A hold while reads fail, stepped as a loop does."""
    fails(box.runner.press, slot, at_ms)
    for ms in range(at_ms, at_ms + held_ms, 50):
        step(box, ms)
    fails(box.runner.release, slot, at_ms + held_ms)


def test_a_class_stopped_while_its_next_span_can_t_be_read_stays_stopped():
    box = thirds()
    for ms in range(1_000, 6_000, 50):
        step(box, ms)
    hold_failing(box, 0, 6_000, 5_200)
    hold_failing(box, 0, 11_400, 1_600)
    for n in range(STOP):
        fails(box.runner.press, 0, 13_200 + n * 300)
        step(box, 13_250 + n * 300)
        fails(box.runner.release, 0, 13_300 + n * 300)
        if box.runner.menu == STOP:
            break
    hold_failing(box, 0, 14_500, 1_600)
    assert box.runner.menu == SURE
    hold_failing(box, 0, 16_200, 5_100)
    assert box.runner.state == OVER and box.sink.ended[0] == j.BY_STOP
    bells = len(box.sink.bells)
    box.runner.timeline.fails = False
    box.to(100_000)
    assert box.runner.state == OVER and len(box.sink.bells) == bells
    assert box.runner.due_ms == NEVER


def test_a_gate_taken_up_again_while_its_end_can_t_be_read_does_not_open_by_itself():
    box = flaky([window(10_000), span(GATE, 0), window(10_000)])
    box.runner.arm(0)
    box.to(12_000)
    box.hold(0, 12_000)
    assert box.runner.state == LEAVING
    box.runner._after_index = -1  # as after a read that broke off
    box.runner.timeline.fails = True
    hold_failing(box, 0, 22_500, 5_200)
    hold_failing(box, 0, 27_800, 1_600)
    fails(box.runner.press, 0, 29_500)
    step(box, 29_550)
    fails(box.runner.release, 0, 29_600)
    hold_failing(box, 0, 29_700, 1_600)
    assert box.runner.state == AT_GATE
    box.runner.timeline.fails = False
    box.to(90_000)
    assert box.runner.state == AT_GATE and box.runner.starts_ms == NEVER
