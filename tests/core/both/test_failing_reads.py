"""A flash that doesn't answer for a while, or for good: what the runner does with that."""

from handbell_core import journal as j
from handbell_core.clock import ClockModel
from handbell_core.runner import AT_GATE, DOOR, LEAVING, NEVER, OVER, READY, SET, STOP
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
    fails(box.runner.press, 0, 1_000)
    for ms in range(1_000, 4_000, 50):
        step(box, ms)
    assert box.runner.state == READY
    fails(box.runner.release, 0, 4_000)
    box.runner.timeline.fails = False
    box.hold(0, 5_000)
    assert box.runner.state == SET


def test_a_flash_that_never_answers_again_leaves_the_rest_of_the_runner_at_work():
    box = flaky([window(10_000), window(10_000), window(10_000)])
    box.runner.arm(0)
    box.to(1_000)
    box.runner.timeline.fails = True
    for ms in range(1_000, 60_000, 50):
        step(box, ms)
    assert box.runner.span.window == 2 and box.sink.ended is None
    fails(box.runner.press, 0, 60_000)
    for ms in range(60_000, 65_100, 50):
        step(box, ms)
    fails(box.runner.release, 0, 65_100)
    assert box.runner.menu == DOOR  # a button can still stop it
    box.runner.timeline.fails = False
    box.to(66_000)
    assert box.sink.ended == (j.BY_TIME, 30_000)


def hold_failing(box, slot, at_ms, held_ms):
    """A hold while reads fail, stepped as a loop does."""
    fails(box.runner.press, slot, at_ms)
    for ms in range(at_ms, at_ms + held_ms, 50):
        step(box, ms)
    fails(box.runner.release, slot, at_ms + held_ms)


def test_a_class_stopped_while_its_next_span_can_t_be_read_stays_stopped():
    box = flaky([window(10_000), window(10_000), window(10_000)])
    box.runner.arm(0)
    box.to(1_000)
    box.runner.timeline.fails = True
    for ms in range(1_000, 21_000, 50):
        step(box, ms)
    hold_failing(box, 0, 21_000, 5_200)
    hold_failing(box, 0, 26_400, 1_600)
    for n in range(STOP):
        fails(box.runner.press, 0, 28_200 + n * 300)
        step(box, 28_250 + n * 300)
        fails(box.runner.release, 0, 28_300 + n * 300)
        if box.runner.menu == STOP:
            break
    hold_failing(box, 0, 29_500, 1_600)
    hold_failing(box, 0, 31_200, 1_600)
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
