"""The course of a class: where it is, what is due when, what follows, what has been shown."""

import struct

from . import journal as j
from .counting import Counting
from .cues import AWAIT, CLOSE, NO_CUE, next_cue, start_cue
from .menu import MENU, page
from .press import Press
from .states import (
    AGAIN,
    ASKING,
    AT_GATE,
    CLOSED,
    DOOR_MS,
    LEAVING,
    MENU_MS,
    NEVER,
    PLAY,
    PLAY_WAITS,
    READY,
    SET,
    SET_BY_HAND,
    SKIP,
    STANDS,
    STATE_OF,
    TALLY,
    TALLY_WAITS,
    WAIT,
    WORK,
    WORK_WAITS,
    row_of,
)
from .timeline import GATE, NO_TEXT, RATING, SLOTS, TAKES_TALLY, WINDOW, Span

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Protocol

    from .clock import RunTime
    from .timeline import Reader

    class Sink(Protocol):
        """What takes a runner's effects. None of them may raise: the runner is halfway then."""

        def bell(self, cue: int, due_ms: int) -> None:
            """Ring ``cue``, due at ``due_ms`` in run time (NEVER: at once, nobody waits)."""

        def keep(self, record: bytes) -> None:
            """Append a record to the journal."""

        def recall(self, counting: Counting) -> None:
            """Count again, in ``counting``, what of the log still holds; see ``recall.Recall``."""

        def changed(self) -> None:
            """Something to be seen changed."""

        def over(self, cause: int, class_ms: int) -> None:
            """The run has ended, once; with BY_FAULT it stands in FAULT and says so."""


# Timers; at the same instant the earlier in this list goes first. ACT: an act of the remote comes
# into force. GIVE_UP: what carries the class on has failed since. STAY: the present state ends by
# itself. OWED: a hold whose read failed is tried again, for when it became known.
(
    ACT_T, SPAN_T, SETTLE_T, START_T, CUE_T, MENU_T, STAY_T, SHOW_T, LOOK_T, OWED_T, GIVE_UP_T,
    HOLD_T,
) = range(12)  # fmt: skip


class Course:
    """Where a run is; ``mode`` is the state as the class tells it apart, ``state`` as others do."""

    def __init__(self, timeline: "Reader", clock: "RunTime", sink: "Sink") -> None:
        self.timeline = timeline
        self.head = timeline.head
        self.clock = clock
        self.sink = sink
        self.mode = self.state = READY
        self._since_ms = -NEVER  # when the present mode began
        self._stepped_ms = -NEVER  # all that was due up to then is done
        self._mode_before = READY
        self._index_before = -1
        self.kind = 0
        self.span = Span()
        self.index = -1
        self.zero_ms = 0
        self.starts_ms = NEVER
        self.gate_class_ms = 0
        self.heeds = False  # a remote leads
        self.alone = False  # somebody let it go on without that: no act takes it back since
        self.cuts = 0  # how often the power failed in it
        self._act_cue = NO_CUE  # with which the next act begins
        # When an act moved the class; where it had begun till then, and where it stood if it did.
        self._moved_ms = -NEVER
        self._zero_before_ms = 0
        self._stood_before_ms = NEVER
        # The place that was read last: what the class goes into there, what is shown while it
        # stands there, the last window before it.
        self._to = Span()
        self._to_shown = Span()
        self._to_before: "Span | None" = None
        self._to_index = 0
        self.cue = NO_CUE
        self._after = Span()
        self._after_index = -1  # which span ``_after`` holds, -1 for none
        self._end_cue = NO_CUE
        self.counting = Counting(sink.keep)
        self.down = [False] * SLOTS
        self._presses = [Press() for _ in range(SLOTS)]
        self.held_ms = 0  # of the press that has just ended
        self._doubt = 0
        # Holds whose read failed: event, slot and when each became known.
        self.owed: "tuple[tuple[str, int, int], ...]" = ()
        self.shown = [0] * SLOTS
        self.menu = CLOSED
        self.menu_slot = 0
        # Taps that stepped through the choices and counted; whether they opened a tally again.
        self._steps: "tuple[int, ...]" = ()
        self._tallied = False
        self.rating = [-1] * SLOTS
        self._rate_end_ms = 0
        self.fault = 0  # why the run stands in FAULT
        self._timers = [NEVER] * (HOLD_T + SLOTS)
        self.due_ms = NEVER

    @property
    def by_hand(self) -> bool:
        """Whether the start that is set was set by hand."""
        return self.mode == SET_BY_HAND or self.mode == LEAVING

    @property
    def begun(self) -> bool:
        """Whether the class has begun, though it may stand in the midst of its first span."""
        return self.index >= 0 or self.gate_class_ms > 0

    @property
    def awaits_start(self) -> bool:
        """Whether a start is set, and has not come."""
        return self.state == SET or self.state == LEAVING and not self.begun

    def _waits(self) -> bool:
        return PLAY_WAITS <= self.mode <= TALLY_WAITS

    # Time

    def class_ms(self, run_ms: int) -> int:
        """Return ``class_ms`` at ``run_ms``; it stands still at a gate."""
        if run_ms < self._moved_ms:
            return min(run_ms - self._zero_before_ms, self._stood_before_ms)
        class_ms = run_ms - self.zero_ms
        if self.state in (AT_GATE, LEAVING):
            return min(class_ms, self.gate_class_ms)
        return class_ms

    def left_ms(self, run_ms: int) -> int:
        """Return what is left of the present span or wait, or until the start that is set."""
        if self.state in (SET, LEAVING):
            return max(0, self.starts_ms - run_ms)
        if self.state in (ASKING, AGAIN):
            return max(0, self._timers[STAY_T] - run_ms)
        if self.state in (PLAY, TALLY):
            return max(0, self.span.end_ms() - (run_ms - self.zero_ms))
        return 0

    def cue_ms(self) -> int:
        """Return the run time of the next cue that is known, NEVER if none.

        An act takes the place of whatever was due at its instant or after it.
        """
        timers = self._timers
        return min(timers[ACT_T], timers[CUE_T], timers[SPAN_T], timers[START_T])

    def bell_cue(self) -> int:
        """Return the cue that rings at ``cue_ms``, so that it can be armed ahead of its time."""
        if self._timers[ACT_T] <= self.cue_ms():
            return self._act_cue
        end_ms = min(self._timers[SPAN_T], self._timers[START_T])
        if self._timers[CUE_T] < end_ms:
            return self.cue
        return AWAIT if self._waits() and self._end_cue != CLOSE else self._end_cue

    def next_span(self, at_ms: int) -> "Span | None":
        """Return the span that begins at the cue at ``at_ms``, None when that begins none."""
        begins = at_ms == min(self._timers[SPAN_T], self._timers[START_T])
        if at_ms == NEVER or not begins or self._waits() or self._after_index != self.index + 1:
            return None
        if at_ms == self._timers[START_T] and self._after.start_ms != self.gate_class_ms:
            return None  # it goes on in its midst
        return self._after

    def text_of(self, index: int) -> bytes:
        """Return a string of the timeline as Latin-1 bytes."""
        return b"" if index == NO_TEXT else self.timeline.text(index)

    def leg_of(self, span: Span, number: int) -> "tuple[int, bytes]":
        """Return whose a leg is, from 0, of a span in which a tap hands over, and what is done."""
        bib, name = self.timeline.leg(span, number)
        return bib, self.text_of(name)

    def _set(self, timer: int, run_ms: int) -> None:
        self._timers[timer] = run_ms
        self.due_ms = min(self._timers)

    # Reading ahead

    def _look(self, index: int) -> None:
        """Have span ``index`` at hand, where there is one; raises what reading the flash raises."""
        if index != self._after_index and index < self.head.spans:
            self._after_index = -1
            self.timeline.span(index, self._after)
            self._after_index = index

    def _cue_after(self) -> int:
        """Return the cue that the next span begins with, as far as that is at hand."""
        return start_cue(self._after.kind) if self._after_index == self.index + 1 else NO_CUE

    def _follows(self) -> str:
        """Return the event that takes the span at hand, or the end, after the present span."""
        if self.index + 1 >= self.head.spans:
            return "to_end"
        after = self._after
        if after.kind == RATING:
            return "to_rating"
        if after.kind == GATE:
            return "to_stand" if self.heeds else "to_gate"
        if after.flags & TAKES_TALLY:
            return "to_tally"
        return "to_window" if after.kind == WINDOW else "to_span"

    # Telling

    def _tell(self, state: int, cause: int, class_ms: int, run_ms: int) -> None:
        payload = struct.pack("<BBHq", state, cause, 0, self.clock.stamp_ms(run_ms))
        self.sink.keep(j.record(j.STATE, 0, self.span.window, class_ms, payload))

    def _tell_results(self) -> None:
        self._set(SETTLE_T, NEVER)
        self.counting.end_tally()
        self.counting.results_before()

    def _settle(self, run_ms: int) -> None:
        self._tell_results()

    def _ring(self, run_ms: int) -> None:
        self.sink.bell(self.cue, run_ms)
        if self.state in (PLAY, TALLY):
            self._next_cue(run_ms - self.zero_ms - self.span.start_ms + 1)

    def _next_cue(self, after_ms: int) -> None:
        s = self.span
        offset, cue = next_cue(s.kind, s.duration_ms, s.flags, self.head.count_s, after_ms)
        self.cue = cue
        self._set(CUE_T, self.zero_ms + s.start_ms + offset if cue else NEVER)

    # The machines

    def _page(self, event: str, slot: int, at_ms: int) -> str:
        """Take an event of the choices, by the button at ``slot``; return what it leads to."""
        act = ""
        while True:
            at = row_of(MENU, page(self.menu), event)
            if at < 0:
                return act
            self.menu = MENU[at + 2]
            act = str(MENU[at + 3])
            if act != "next" or self.offers(self.menu):
                break
        if act == "open":  # for a fixed time, which no tap lengthens
            self.menu_slot = slot
            self._steps = ()
            self._set(MENU_T, at_ms + MENU_MS)
        elif act == "soon":
            self._set(MENU_T, at_ms + DOOR_MS)
        elif self.menu == CLOSED:
            self._set(MENU_T, NEVER)
        return act

    def offers(self, choice: int) -> bool:
        """Return whether a choice would do something now: there is a window, or a span to come."""
        if choice == SKIP:
            return self.mode in (WORK, WORK_WAITS) and not self.counting.now[0].skipped
        if choice == WAIT:
            if self.mode in (LEAVING, STANDS):
                return True  # back to the gate; or on without the remote
            gate = self._after_index == self.index + 1 and self._after.kind == GATE
            last = self._end_cue == CLOSE
            return self.mode in (WORK, PLAY, TALLY) and not (last or gate or self.heeds)
        return True

    def _be(self, mode: int, at_ms: int, index: int) -> None:
        """Take on a mode; ``index`` is the span in which the one before was."""
        if at_ms != self._since_ms:  # else the mode between lasted no time
            self._mode_before = self.mode
            self._index_before = index
            self._since_ms = at_ms
        self.mode = mode
        self.state = STATE_OF[mode]
        self._set(GIVE_UP_T, NEVER)
