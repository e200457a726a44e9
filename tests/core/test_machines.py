"""The runner's machines as tables: each pair of a state and an event, and any order of events.

The stateful test knows of a class only what its own simple count says, and what must hold always.
"""

import io
import struct

import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, settings
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
)

from handbell_core import journal as j
from handbell_core import states as s
from handbell_core.agreement import RUNS, STANDS, Act
from handbell_core.class_table import CLASS, READING
from handbell_core.clock import ClockModel, RunTime
from handbell_core.led import Led
from handbell_core.menu import MENU, page
from handbell_core.press import MEANS, PRESS, SPENT, UP
from handbell_core.timeline import Reader
from made import GATE, RATING, TAKES_TALLY, Sink, lead_in, rest, span, timeline_bytes, window

TAP_TALLY = 4
MODES = range(s.READY, s.GOING + 1)


def rows(table):
    return [table[at : at + 4] for at in range(0, len(table), 4)]


def events(table):
    return sorted({row[1] for row in rows(table)})


def spans(last=()):
    return [
        lead_in(5_000),
        window(6_000),
        rest(5_000),
        window(6_000, tap=TAP_TALLY, goal=3),
        rest(8_000, flags=TAKES_TALLY, bib=[7, 8, 0, 0]),
        span(GATE, 0),
        window(6_000),
        *last,
    ]


class Flaky:
    """A timeline whose reads fail when told to."""

    def __init__(self, data):
        self._reader = Reader(io.BytesIO(data))
        self.head = self._reader.head
        self.text = self._reader.text
        self.fails = False

    def span(self, index, into):
        if self.fails:
            into.duration_ms = -1
            raise OSError(5)
        return self._reader.span(index, into)


class Watching(Sink):
    """A sink that counts how often the run ended."""

    def __init__(self):
        super().__init__()
        self.times_over = 0

    def over(self, cause, class_ms):
        super().over(cause, class_ms)
        self.times_over += 1


def runner_of(made):
    timeline = Flaky(timeline_bytes(made))
    clock = RunTime(0, 0, ClockModel(1_700_000_010_000_000, 0))
    return Led(timeline, clock, Watching())


def reached(mode):
    """Return a runner that came to a mode by events alone, and the time."""
    runner = runner_of(spans([span(RATING, 10_000, bib=[7, 8, 0, 0])]))
    now = 0

    def to(until_ms):
        nonlocal now
        now = until_ms
        runner.step(now)

    def hold(at_ms, lasts_ms=1_600):
        to(at_ms)
        runner.press(0, at_ms)
        to(at_ms + lasts_ms)
        runner.release(0, at_ms + lasts_ms)

    if mode in (s.HELD, s.AGAIN, s.SET_BY_HAND):
        to(1_000)
        runner.press(0, 1_000)
        to(2_600)
        if mode != s.HELD:
            runner.release(0, 2_600)
        if mode == s.SET_BY_HAND:
            hold(3_000)
    elif mode in (s.STANDS, s.GOING):
        runner.heed()
        runner.arm(0)
        runner.hear(Act(1, STANDS, 7_000, 7_000), 0)
        to(8_000)
        if mode == s.GOING:
            runner.hear(Act(2, RUNS, 7_000, 20_000), 8_000)
    elif mode != s.READY:
        runner.arm(0)
        at = {
            s.SET: -1_000, s.PLAY: 2_000, s.PLAY_WAITS: 2_000, s.WORK: 7_000, s.WORK_WAITS: 7_000,
            s.TALLY: 24_000, s.TALLY_WAITS: 24_000,
        }  # fmt: skip
        if mode in at:
            to(at[mode])
        else:
            to(31_000)  # at the gate
            if mode not in (s.AT_GATE,):
                hold(31_000)
            if mode in (s.ASKING, s.CLOSING, s.FAULT):
                to(61_000)
                runner._look(7)
                to(66_500)
        if mode == s.CLOSING:
            to(76_010)
        elif mode == s.OVER:
            runner.stop(now, j.BY_HOST)
        elif mode == s.FAULT:
            runner.index = 5  # so that something has to be read when the rating is over
            runner._after_index = -1
            runner.timeline.fails = True
            with pytest.raises(OSError):
                runner.step(77_000)
            now = 84_000
            runner.step(now)
        elif mode in (s.PLAY_WAITS, s.WORK_WAITS, s.TALLY_WAITS):
            runner.waiting = True
    assert runner.mode == mode, (runner.mode, mode)
    return runner, now


def look(runner):
    """Return everything that an event may change, but for how a button is."""
    counts = [
        (c.bib, c.taps, c.made_ms, c.drop_ms, c.confirmed, c.skipped)
        for c in (*runner.counting.now, *runner.counting.before)
    ]
    return (
        runner.mode, runner.state, runner.index, runner.kind, runner.starts_ms, runner.zero_ms,
        runner.menu, runner.due_ms, list(runner._timers), list(runner.rating), counts,
        len(runner.timeline.head.__dict__), len(runner.sink.records), len(runner.sink.bells),
        runner.sink.ended,
    )  # fmt: skip


def test_every_state_can_be_reached_and_says_the_state_that_others_know():
    for mode in MODES:
        runner, _ = reached(mode)
        assert runner.state == s.STATE_OF[mode] and s.STATES[runner.state]
        assert runner.by_hand == (mode in (s.SET_BY_HAND, s.LEAVING))
        assert runner.waiting == (mode in (s.PLAY_WAITS, s.WORK_WAITS, s.TALLY_WAITS))


@pytest.mark.parametrize("event", events(CLASS))
def test_each_event_in_each_state_leads_where_its_row_says_and_nowhere_without_one(event):
    for mode in MODES:
        runner, now = reached(mode)
        runner.timeline.fails = False
        before = look(runner)
        at = s.row_of(CLASS, mode, event)
        arg = {"arm": now + 60_000, "announce": now + 60_000, "end_it": j.BY_HOST, "give_up": 36}
        arg = arg.get(event, 0)
        if event.startswith("to_"):
            if at >= 0 and event != "to_end":
                runner._look(runner.index + 1)
                if runner._follows() != event:
                    continue  # the span that is there is of another kind
            elif at >= 0:
                continue  # it is not the end yet
            before = look(runner)
        assert runner._do(event, now + 10, arg) == (at >= 0), (mode, event)
        if at < 0:
            assert look(runner) == before, (mode, event)
        else:
            assert runner.mode == (CLASS[at + 2] or mode), (mode, event)
        assert runner.due_ms == min(runner._timers)
        assert runner.sink.times_over == int(runner.mode in (s.OVER, s.FAULT))


@pytest.mark.parametrize("event", READING)
def test_an_event_whose_read_fails_has_changed_nothing(event):
    for mode in MODES:
        if s.row_of(CLASS, mode, event) < 0:
            continue
        runner, now = reached(mode)
        runner._after_index = -1  # as after a read that broke off
        runner.timeline.fails = True
        before = look(runner)
        with pytest.raises(OSError):
            runner._do(event, now + 10, now + 60_000)
        assert look(runner) == before, (mode, event)


@pytest.mark.parametrize("table", [PRESS, MENU])
def test_each_event_of_a_button_or_a_page_has_one_meaning(table):
    for state in range(16):
        for event in events(table):
            fitting = [row for row in rows(table) if row[1] == event and row[0] >> state & 1]
            assert len(fitting) <= 1, (state, event)


def test_a_button_can_always_be_let_go_and_pressed():
    for state in range(UP + 1, SPENT + 1):
        assert PRESS[s.row_of(PRESS, state, "up") + 2] == UP
    for state in range(UP, SPENT + 1):
        assert s.row_of(PRESS, state, "down") >= 0 and s.row_of(PRESS, state, "on_page") >= 0
        assert PRESS[s.row_of(PRESS, state, "void") + 2] == UP


def test_each_page_closes_by_itself_and_its_holds_and_taps_lead_on():
    for menu in (s.RETURN, s.SKIP, s.WAIT, s.STOP, s.DOOR, s.SURE):
        for event in ("time_up", "close"):
            assert MENU[s.row_of(MENU, page(menu), event) + 2] == s.CLOSED
        for event in ("tap", "hold"):
            assert s.row_of(MENU, page(menu), event) >= 0
        assert s.row_of(MENU, page(menu), "offer") < 0
    assert s.row_of(MENU, page(s.CLOSED), "offer") >= 0


def test_what_gestures_and_pages_lead_to_are_events_of_the_class():
    known = set(events(CLASS))
    assert {row[3] for row in rows(MEANS)} <= known
    assert {row[3] for row in rows(MENU)} - {"", "open", "soon", "next"} <= known
    gestures = {row[3] for row in rows(PRESS)}
    assert {row[1] for row in rows(MEANS)} == gestures - {
        "",
        "long",
        "long_back",
        "off",
        "page_tap",
        "page_hold",
    }


class AnyOrder(RuleBasedStateMachine):
    """A runner under any order of presses, arms, stops, failing reads and time."""

    def __init__(self):
        super().__init__()
        self.runner = runner_of(spans([span(RATING, 10_000, bib=[7, 8, 0, 0])]))
        self.sink = self.runner.sink
        self.now = 0
        self.down = {}  # slot: (when, state)
        self.taps = 0  # ended within 1.5 s, begun where taps are told
        self.doubtful = 0  # of which a page may have been meant

    def told_taps(self):
        return sum(record[0] == j.TAP for record in self.sink.records)

    def trying(self, act, *how):
        fails = self.runner.timeline.fails
        try:
            act(*how)
        except OSError:
            assert fails
            return False
        return True

    @initialize(armed=st.sampled_from((True, True, False)))
    def is_armed(self, armed):
        if armed:
            self.runner.arm(1_000)

    @rule(slot=st.integers(0, 3), ms=st.sampled_from((80, 120, 300, 1_499, 1_600, 2_500, 5_300)))
    def press_and_release(self, slot, ms):
        if slot in self.down:
            return
        self.press(slot)
        self.time_passes(ms)
        self.release(slot)

    @rule(ms=st.sampled_from((1, 40, 100, 400, 1_530, 3_000, 6_000, 12_000)))
    def time_passes(self, ms):
        for _ in range(0, ms, 500):
            self.now += min(ms, 500)
            if self.trying(self.runner.step, self.now):
                assert self.runner.due_ms > self.now or self.runner.due_ms == s.NEVER

    @rule(slot=st.integers(0, 3))
    def press(self, slot):
        if slot in self.down:
            return
        self.trying(self.runner.press, slot, self.now)
        self.down[slot] = (self.now, self.runner.state, self.runner.menu >= 0)

    @precondition(lambda self: self.down)
    @rule(slot=st.integers(0, 3))
    def release(self, slot):
        if slot not in self.down:
            return
        at_ms, state, paged = self.down.pop(slot)
        begun = self.runner._presses[slot].state != UP  # a start takes the presses before it
        self.trying(self.runner.release, slot, self.now)
        still = self.runner.state not in (s.OVER, s.FAULT) or self.sink.ended is None
        if begun and self.now - at_ms < s.HOLD_MS and state in (s.PLAY, s.TALLY, s.AT_GATE):
            if paged or not still or self.runner.state == s.OVER:
                self.doubtful += 1
            else:
                self.taps += 1

    @rule(in_ms=st.sampled_from((2_000, 20_000)))
    def arm(self, in_ms):
        before = look(self.runner)
        try:
            self.runner.arm(self.now + in_ms)
        except (OSError, ValueError):
            assert look(self.runner) == before

    @rule(works=st.sampled_from((True, True, True, False)))
    def flash(self, works):
        self.runner.timeline.fails = not works

    @precondition(lambda self: self.sink.ended is None and self.now > 120_000)
    @rule()
    def stop(self):
        self.runner.stop(self.now, j.BY_HOST)

    @invariant()
    def the_deadline_is_that_of_the_timers(self):
        assert self.runner.due_ms == min(self.runner._timers)

    @invariant()
    def it_ends_once(self):
        is_over = self.runner.state in (s.OVER, s.FAULT)
        assert self.sink.times_over == int(is_over)
        assert (self.runner.fault != 0) == (self.runner.state == s.FAULT)
        if is_over:
            assert self.runner.due_ms == s.NEVER or any(self.runner.down)
            assert self.runner.menu == s.CLOSED

    @invariant()
    def the_journal_has_each_tap_once(self):
        assert self.taps <= self.told_taps() <= self.taps + self.doubtful

    @invariant()
    def no_start_is_set_but_where_it_shows(self):
        starting = self.runner.state in (s.SET, s.LEAVING)
        assert (self.runner.starts_ms != s.NEVER) == starting or self.sink.ended

    @invariant()
    def a_class_by_hand_was_held_twice(self):
        for record in self.sink.records:
            kind, _, _, _, payload = j.parse_record(record)
            if kind == j.STATE:
                state, cause = struct.unpack("<BB", payload[:2])
                assert s.STATES[state] in ("play", "tally", "gate") and cause <= j.BY_CLOCK


AnyOrder.TestCase.settings = settings(
    max_examples=150,
    stateful_step_count=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
TestAnyOrder = AnyOrder.TestCase
