"""The runner: plays a timeline. Time and presses in, effects out, one deadline to wait for.

It lives on ``run_ms`` (see clock.RunTime) and counts ``class_ms`` from the class start; a gate or
a wait stops ``class_ms``, and whatever comes after is later by as much.
"""

import struct

from . import journal as j
from .counting import REACHED, Counting
from .cues import AWAIT, BACK, CLOSE, MADE, NEAR, NEAR_MS, NO_CUE, next_cue, start_cue
from .timeline import GATE, NO_TEXT, RATING, SLOTS, TAKES_TALLY, TAP_TALLY, WINDOW, Span

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

        def changed(self) -> None:
            """Something to be seen changed."""

        def over(self, cause: int, class_ms: int) -> None:
            """The run has ended."""


NEVER = 1 << 29
HOLD_MS = 1_500
LONG_MS = 5_000
SETTLE_RELEASE_MS = 30  # a release is known this late (taps.OPEN_US), so a hold is too
SETTLE_MS = HOLD_MS + 200  # a window's result stands when every press begun in it has ended
SHOW_MS = 1_200
MENU_MS = 8_000
RATED_MS = 6_000
KNOWN_MS = 60  # a press is known this long after it began: it has to be closed for a while first

# States
# Journals hold these numbers. CLOSING: the class is over, but a press begun in it has not ended.
READY, SET, PLAY, TALLY, AT_GATE, LEAVING, ASKING, OVER, CLOSING = range(1, 10)
STATES = ("", "ready", "set", "play", "tally", "gate", "leaving", "asking", "over", "closing")

# Gestures
TAP, HOLD, LONG = range(3)

# What a long hold leads to: a door that only a hold opens, the choices, and a last question.
RETURN, SKIP, WAIT, STOP, DOOR, SURE = range(6)

# Timers; at the same instant the earlier in this list goes first.
_SPAN, _SETTLE, _START, _CUE, _MENU, _RATE, _SHOW, _LOOK, _HOLD = range(9)
# These read the flash before they change anything. One that failed is tried again.
_AGAIN = (_SPAN, _START, _RATE, _LOOK)

# How taps step through the ratings: the common answers first; -1 is no answer.
RATINGS = (-1, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 0)


class Runner:
    """One run of one timeline.

    What a screen may read: state, kind, span, counting, down, shown, menu, rating, by_hand,
    starts_ms (run time of a start that is set), waiting.
    """

    def __init__(self, timeline: "Reader", clock: "RunTime", sink: "Sink") -> None:
        self.timeline = timeline
        self.head = timeline.head
        self.clock = clock
        self.sink = sink
        self.state = READY
        self.kind = 0
        self.span = Span()
        self.index = -1
        self.zero_ms = 0
        self.starts_ms = NEVER
        self.gate_class_ms = 0
        self.by_hand = False
        self.waiting = False
        self.cue = NO_CUE
        self._after = Span()
        self._after_index = -1  # which span ``_after`` holds, -1 for none
        self._end_cue = NO_CUE
        self.counting = Counting(sink.keep)
        self.down = [False] * SLOTS
        self._down_ms = [0] * SLOTS
        self._down_in = [(READY, -1)] * SLOTS  # state and span in which each press began
        self._to_menu = [False] * SLOTS  # the press began while the choices were shown to it
        self._since_ms = -NEVER  # when the present state and span began, by time
        self._was = (READY, -1)  # state and span before that
        self._moved_ms = -NEVER  # when a start was last set or moved by hand
        self._held = [False] * SLOTS
        self._took_back = [False] * SLOTS
        self._held_ms = 0
        self._doubt = 0
        self._untold = False  # the results of the window before are still to be told
        self.shown = [0] * SLOTS
        self.menu = -1
        self.menu_slot = 0
        self.rating = [-1] * SLOTS
        self._rate_end_ms = 0
        self._timers = [NEVER] * (_HOLD + SLOTS)
        self.due_ms = NEVER

    # Time

    def class_ms(self, run_ms: int) -> int:
        """Return ``class_ms`` at ``run_ms``; it stands still at a gate."""
        class_ms = run_ms - self.zero_ms
        if self.state in (AT_GATE, LEAVING):
            return min(class_ms, self.gate_class_ms)
        return class_ms

    def left_ms(self, run_ms: int) -> int:
        """Return what is left of the present span, or until the start that is set."""
        if self.state in (SET, LEAVING):
            return max(0, self.starts_ms - run_ms)
        if self.state == ASKING:
            return max(0, self._timers[_RATE] - run_ms)
        if self.state in (PLAY, TALLY):
            return max(0, self.span.end_ms() - (run_ms - self.zero_ms))
        return 0

    def cue_ms(self) -> int:
        """Return the run time of the next cue that is known, NEVER if none."""
        return min(self._timers[_CUE], self._timers[_SPAN], self._timers[_START])

    def bell_cue(self) -> int:
        """Return the cue that rings at ``cue_ms``, so that it can be armed ahead of its time."""
        end_ms = min(self._timers[_SPAN], self._timers[_START])
        if self._timers[_CUE] < end_ms:
            return self.cue
        return AWAIT if self.waiting and self._end_cue != CLOSE else self._end_cue

    def next_span(self, at_ms: int) -> "Span | None":
        """Return the span that begins at the cue at ``at_ms``, None when that begins none."""
        begins = at_ms == min(self._timers[_SPAN], self._timers[_START])
        if at_ms == NEVER or not begins or self.waiting or self._after_index != self.index + 1:
            return None
        return self._after

    def step(self, run_ms: int) -> int:
        """Do what is due up to ``run_ms``, each at its own time; return the next deadline.

        What fails holds nothing else up: the last error is raised when all else has been done,
        and what carries the class on stays due.
        """
        failed = None
        again = None
        while self.due_ms <= run_ms and self.due_ms < NEVER:
            due = self.due_ms
            timer = self._timers.index(due)
            self._set(timer, NEVER)
            try:
                if timer >= _HOLD:
                    self._hold_due(timer - _HOLD, due)
                else:
                    _TIMED[timer](self, due)
            except Exception as error:  # noqa: BLE001 - whatever it is, the others are still due
                failed = error
                if timer in _AGAIN:
                    again = again or []
                    again.append((timer, due, self.state, self.index))
        for timer, due, state, index in again or ():
            # Unless somebody has stopped the class, or moved its start, meanwhile.
            if self._timers[timer] == NEVER and (self.state, self.index) == (state, index):
                self._set(timer, due)
        if failed is not None:
            raise failed
        return self.due_ms

    def _set(self, timer: int, run_ms: int) -> None:
        self._timers[timer] = run_ms
        self.due_ms = min(self._timers)

    # Starting, and going on from a gate

    def arm(self, start_ms: int) -> None:
        """Set the class start, by the host, at ``start_ms`` in run time.

        Raises ValueError once the run has begun, and what reading the timeline raises.
        """
        if self.state not in (READY, SET):
            raise ValueError(self.state)
        self._set_start(start_ms, SET, False)

    def _set_start(self, start_ms: int, state: int, by_hand: bool) -> None:
        self._look(self.index + 1)
        self.state = state
        self.by_hand = by_hand
        self.starts_ms = start_ms
        self._set(_START, start_ms)
        self._end_cue = self._cue_after()
        self.cue = NEAR
        self._set(_CUE, start_ms - NEAR_MS)
        self.sink.changed()

    def _start_by_hand(self, slot: int, at_ms: int) -> None:
        if self.state not in (READY, AT_GATE):
            return  # another button, or the host, has set a start since this press began
        start = self.clock.start_after(at_ms, self.head.grid_s)
        self._set_start(start, SET if self.state == READY else LEAVING, True)
        self._moved_ms = at_ms

    def _later(self, slot: int, at_ms: int) -> None:
        # Several buttons held at once are one act: only a press begun after it is another.
        if self.by_hand and self._down_ms[slot] >= self._moved_ms:
            step = self.clock.step(self.head.grid_s)
            self._set_start(self.starts_ms + step, self.state, True)
            self._moved_ms = at_ms

    def _stay_at_gate(self) -> None:
        self.state = AT_GATE
        self.starts_ms = NEVER
        self._set(_START, NEVER)
        self._set(_CUE, NEVER)
        self.sink.changed()

    def _started(self, run_ms: int) -> None:
        self._look(self.index + 1)
        was = (self.state, self.index)
        self.zero_ms = run_ms - (self.gate_class_ms if self.state == LEAVING else 0)
        self.state = PLAY
        self.starts_ms = NEVER
        for slot in range(SLOTS):  # a press begun before the start belongs to no window
            self.down[slot] = False
            self._set(_HOLD + slot, NEVER)
        self._journal_state(run_ms, j.BY_HAND if self.by_hand else j.BY_HOST)
        self._enter(self.index + 1, run_ms)
        self._was = was

    # Joining again after the power had failed

    def rejoin(self, zero_ms: int, run_ms: int, from_ms: int) -> bool:
        """Go on where the class is that began at ``zero_ms``; False when it is over.

        ``from_ms`` is the last ``class_ms`` known to have been played. At a gate since then the
        others wait, so this box waits there too. Nothing rings before the next cue. Raises what
        reading the timeline raises.
        """
        class_ms = run_ms - zero_ms
        index = self.place_at(class_ms, from_ms)
        if index < 0:
            return False
        if self._after.kind == GATE:
            self.wait_again(self._after.start_ms, run_ms)
            return True
        window = index - 1
        while window >= 0 and self.timeline.span(window, self._after).kind != WINDOW:
            window -= 1
        self._past_window(window)
        self.zero_ms = zero_ms
        self.state = PLAY
        self._journal_state(run_ms, j.BY_CLOCK)
        self._enter(index, run_ms)
        if self.state in (PLAY, TALLY):
            self._next_cue(class_ms - self.span.start_ms + 1)
        return True

    def place_at(self, class_ms: int, from_ms: int) -> int:
        """Return the span in which a class is that was last known to be at ``from_ms``.

        It is the gate at which others wait since, if there is one; -1 when the class is over.
        Raises what reading the timeline raises.
        """
        span = self._after
        self._after_index = -1
        for index in range(self.head.spans):
            self.timeline.span(index, span)
            if span.kind == GATE and from_ms < span.start_ms <= class_ms:
                return index
            if span.start_ms <= class_ms < span.end_ms():
                return index
        return -1

    def end_ms_at(self, class_ms: int) -> int:
        """Return when the span ends in which a class is at ``class_ms``, -1 when it is over."""
        return -1 if self.place_at(class_ms, class_ms) < 0 else self._after.end_ms()

    def wait_again(self, class_ms: int, run_ms: int) -> None:
        """Wait at the gate (or the wait that somebody chose) at ``class_ms``."""
        self._after_index = -1
        window = -1
        for index in range(self.head.spans):
            if self.timeline.span(index, self._after).end_ms() > class_ms:
                break
            self.index = index
            if self.timeline.span(index, self.span).kind == WINDOW:
                window = index
        self._past_window(window)
        self.kind = GATE
        self.zero_ms = run_ms - class_ms
        self._stop_at_gate(class_ms, run_ms, j.BY_CLOCK)
        self.sink.changed()

    def _past_window(self, index: int) -> None:
        """Take up the window that was played last, so that it can still be corrected."""
        if index >= 0:
            self._after_index = -1
            self.counting.begin(self.timeline.span(index, self._after))
            self.counting.end()

    def tell_soon(self, run_ms: int) -> None:
        """The results of the window before were not told before the power failed."""
        self._untold = True
        if self.state != TALLY:
            self._set(_SETTLE, run_ms + SETTLE_MS)

    # Spans

    def _turn(self, run_ms: int) -> None:
        """Note what was up to ``run_ms``: a press begun then may become known only later."""
        self._was = (self.state, self.index)
        self._since_ms = run_ms

    def _look(self, index: int) -> None:
        """Have span ``index`` at hand, where there is one; raises what reading the flash raises."""
        if index != self._after_index and index < self.head.spans:
            self._after_index = -1
            self.timeline.span(index, self._after)
            self._after_index = index

    def _look_ahead(self, run_ms: int) -> None:
        self._look(self.index + 1)
        if self._end_cue == NO_CUE:
            self._end_cue = self._cue_after()

    def _cue_after(self) -> int:
        """Return the cue that the next span begins with, as far as that is at hand."""
        return start_cue(self._after.kind) if self._after_index == self.index + 1 else NO_CUE

    def _enter(self, index: int, run_ms: int) -> None:
        if index >= self.head.spans:
            self._end(run_ms)
            return
        self._look(index)
        self._turn(run_ms)
        self.index = index
        self.span, self._after = self._after, self.span
        self._after_index = -1
        self._end_cue = NO_CUE
        self._set(_LOOK, run_ms)
        span = self.span
        self.kind = span.kind
        if self.kind == RATING:
            self._ask(run_ms)
            return
        self.state = PLAY
        if self.kind == GATE:
            self._stop_at_gate(span.start_ms, run_ms, j.BY_TIME)
        else:
            self._set(_SPAN, self.zero_ms + span.end_ms())
            if span.end_ms() >= self.head.slot_ms:
                self._end_cue = CLOSE
            if span.flags & TAKES_TALLY:
                self.state = TALLY
                self.counting.begin_tally(span)
            elif self.kind == WINDOW:
                self.counting.begin(span)
        self._next_cue(0)
        self.sink.changed()

    def _span_over(self, run_ms: int) -> None:
        self._look(self.index + 1)
        span = self.span
        if self._timers[_CUE] <= run_ms:
            self._ring(self._timers[_CUE])
        self._timers[_CUE] = NEVER
        if self.kind == WINDOW:
            if self._untold:
                self._tell_results()
            self.counting.end()
            self._untold = True
            self._set(_SETTLE, NEVER if span.tap == TAP_TALLY else run_ms + SETTLE_MS)
        elif self.state == TALLY:
            self._set(_SETTLE, run_ms + SETTLE_MS)
        at_end = span.end_ms() >= self.head.slot_ms
        if at_end:
            self.sink.bell(CLOSE, run_ms)
        wait = self.waiting and not at_end and self._after.kind != GATE  # a gate waits anyway
        self.waiting = False
        if wait:
            self._turn(run_ms)
            self.kind = GATE
            self._stop_at_gate(span.end_ms(), run_ms, j.BY_WAIT)
            self.sink.bell(AWAIT, run_ms)
            self.sink.changed()
            return
        self._enter(self.index + 1, run_ms)

    def _stop_at_gate(self, class_ms: int, run_ms: int, cause: int) -> None:
        self.state = AT_GATE
        self.gate_class_ms = class_ms
        self._journal_state(run_ms, cause)

    def _next_cue(self, after_ms: int) -> None:
        s = self.span
        offset, cue = next_cue(s.kind, s.duration_ms, s.flags, self.head.count_s, after_ms)
        self.cue = cue
        self._set(_CUE, self.zero_ms + s.start_ms + offset if cue else NEVER)

    def _ring(self, run_ms: int) -> None:
        self.sink.bell(self.cue, run_ms)
        if self.state in (PLAY, TALLY):
            self._next_cue(run_ms - self.zero_ms - self.span.start_ms + 1)

    def _settle(self, run_ms: int) -> None:
        if self.state == CLOSING:
            self._close(run_ms)
        else:
            self._tell_results()

    def _tell_results(self) -> None:
        self._untold = False
        self._set(_SETTLE, NEVER)
        self.counting.end_tally()
        self.counting.results_before()

    # Buttons

    def press(self, slot: int, run_ms: int) -> None:
        """A debounced press began at ``run_ms``; raises what a step up to then raises."""
        try:
            self.step(run_ms)  # a late pass tells it before what was due first
        finally:
            self._press(slot, run_ms)

    def _press(self, slot: int, run_ms: int) -> None:
        if run_ms < self._since_ms and self._was[0] in (SET, LEAVING):
            return  # it began before the start, and belongs to no window
        self.down[slot] = True
        self._down_ms[slot] = run_ms
        now = run_ms >= self._since_ms
        self._down_in[slot] = (self.state, self.index) if now else self._was
        self._to_menu[slot] = self.menu >= 0 and slot == self.menu_slot
        self._held[slot] = self._took_back[slot] = False
        self._set(_HOLD + slot, run_ms + HOLD_MS + SETTLE_RELEASE_MS)
        self.sink.changed()

    def release(self, slot: int, run_ms: int, doubt: bool = False) -> None:
        """The press ended at ``run_ms``; ``doubt`` when an edge may be late.

        Raises what a step up to then raises.
        """
        try:
            self.step(run_ms)
        finally:
            self._release(slot, run_ms, doubt)

    def _release(self, slot: int, run_ms: int, doubt: bool) -> None:
        if not self.down[slot]:
            return
        self.down[slot] = False
        more = self._timers[_HOLD + slot] != NEVER  # a longer gesture was still to come
        self._set(_HOLD + slot, NEVER)
        self._held_ms = run_ms - self._down_ms[slot]
        self._doubt = j.TAP_DOUBT if doubt else 0
        if not self._held[slot]:
            tap = self._held_ms < HOLD_MS
            self._gesture(TAP if tap else HOLD, slot, self._down_ms[slot] if tap else run_ms)
        elif more and self._held_ms >= LONG_MS:
            self._gesture(LONG, slot, run_ms)
        self._close(run_ms)
        self.sink.changed()

    def _hold_due(self, slot: int, run_ms: int) -> None:
        if self._held[slot]:
            self._gesture(LONG, slot, run_ms)
        else:
            self._set(_HOLD + slot, self._down_ms[slot] + LONG_MS + SETTLE_RELEASE_MS)
            self._held[slot] = True
            self._gesture(HOLD, slot, run_ms)
        self._close(run_ms)
        self.sink.changed()

    def _gesture(self, gesture: int, slot: int, at_ms: int) -> None:
        if self._to_menu[slot] and self._to_choices(gesture, slot, at_ms):
            return
        state, index = self._down_in[slot]
        if self.state == OVER or state == ASKING and index != self.index:
            return
        act = TABLE.get((self.state if gesture == LONG else state, gesture))
        if act is not None:
            act(self, slot, at_ms)

    def _to_choices(self, gesture: int, slot: int, at_ms: int) -> bool:
        """Take a gesture begun while choices were shown; False when it is a tap like any other."""
        shown = self.menu >= 0 and slot == self.menu_slot
        if gesture != TAP:
            if shown and gesture == HOLD:
                self._choose(slot, at_ms)
            return True
        if shown and self.menu < DOOR:
            self._next_choice()
            return True
        if shown:  # who taps goes on counting, this tap as well
            self._close_menu()
        return False

    def _tapped(self, slot: int, at_ms: int) -> None:
        class_ms = self.class_ms(at_ms)
        if self.counting.tap(slot, class_ms, self._held_ms, self._doubt) == REACHED:
            self.sink.bell(MADE, NEVER)

    def _take_back(self, slot: int, at_ms: int) -> None:
        pressed_ms = self.class_ms(self._down_ms[slot])
        if not self.counting.back(slot, pressed_ms, self.class_ms(at_ms)):
            return
        self._took_back[slot] = True
        self.shown[slot] = -1
        self._set(_SHOW, at_ms + SHOW_MS)
        self.sink.bell(BACK, NEVER)
        if not self._untold:
            self.counting.result_again(slot, pressed_ms)

    def _confirm(self, slot: int, at_ms: int) -> None:
        if self.counting.before[slot].confirmed:
            self._take_back(slot, at_ms)
        elif self.counting.confirm(slot, self.class_ms(at_ms)):
            self.sink.bell(MADE, NEVER)

    def _show_over(self, run_ms: int) -> None:
        for slot in range(SLOTS):
            self.shown[slot] = 0
        self.sink.changed()

    # What a long hold offers

    def _offer(self, slot: int, at_ms: int) -> None:
        if self._took_back[slot]:
            pressed_ms = self.class_ms(self._down_ms[slot])
            self.counting.forth(slot, pressed_ms, self.class_ms(at_ms))
            self._show_over(at_ms)
            if not self._untold:
                self.counting.result_again(slot, pressed_ms)
        if self.menu < 0:  # else they are being shown to another button
            self.menu_slot = slot
            self._ask_about(DOOR, at_ms)

    def _ask_about(self, menu: int, at_ms: int) -> None:
        """Show a page of the choices for a fixed time, which no tap lengthens."""
        self.menu = menu
        self._set(_MENU, at_ms + MENU_MS)

    def _next_choice(self) -> None:
        self.menu = (self.menu + 1) % 4
        while not self.offers(self.menu):
            self.menu = (self.menu + 1) % 4

    def offers(self, choice: int) -> bool:
        """Return whether a choice would do something now: there is a window, or a span to come."""
        if choice == SKIP:
            return self.state == PLAY and self.kind == WINDOW and not self.counting.now[0].skipped
        if choice == WAIT:
            if self.state == LEAVING:
                return True  # back to the gate
            gate = self._after_index == self.index + 1 and self._after.kind == GATE
            last = self._end_cue == CLOSE
            return self.state in (PLAY, TALLY) and not (last or gate or self.waiting)
        return True

    def _menu_over(self, run_ms: int) -> None:
        slot = self.menu_slot
        if self.down[slot] and self._to_menu[slot] and not self._held[slot]:
            self._set(_MENU, self._down_ms[slot] + SETTLE_MS)  # that press still means the choices
            return
        self._close_menu()
        self.sink.changed()

    def _close_menu(self) -> None:
        self.menu = -1
        self._set(_MENU, NEVER)

    def _choose(self, slot: int, at_ms: int) -> None:
        choice = self.menu
        self._close_menu()
        if not self.offers(choice):
            return
        if choice in (SKIP, WAIT) and self._down_in[slot][1] != self.index:
            return  # it was meant for the span before
        if choice == DOOR:
            self._ask_about(RETURN, at_ms)
        elif choice == SKIP:
            self.counting.skip()
            self._journal_state(at_ms, j.BY_SKIP)
        elif choice == WAIT and self.state == LEAVING:
            self._stay_at_gate()
        elif choice == WAIT:
            self.waiting = True
            self._journal_state(at_ms, j.BY_WAIT)
        elif choice == STOP:
            self._ask_about(SURE, at_ms)
        elif choice == SURE:
            self._finish(at_ms, j.BY_STOP)

    # Ratings and the end

    def _ask(self, run_ms: int) -> None:
        self.state = ASKING
        self._close_menu()
        for slot in range(SLOTS):
            self.rating[slot] = -1
        self._rate_end_ms = run_ms + self.span.duration_ms
        self._set(_RATE, self._rate_end_ms)
        self.sink.changed()

    def _rate_more(self, slot: int, at_ms: int) -> None:
        at = RATINGS.index(self.rating[slot]) + 1
        self._rate_to(slot, at % len(RATINGS), at_ms)

    def _rate_less(self, slot: int, at_ms: int) -> None:
        self._rate_to(slot, max(0, RATINGS.index(self.rating[slot]) - 1), at_ms)

    def _rate_to(self, slot: int, index: int, at_ms: int) -> None:
        if not self.span.bib[slot]:
            return
        self.rating[slot] = RATINGS[index]
        payload = struct.pack("<HB", self.span.bib[slot], RATINGS[index] & 0xFF)
        self.sink.keep(j.record(j.RATED, slot, 0, self.class_ms(at_ms), payload))
        answered = all(self.rating[s] >= 0 for s in range(SLOTS) if self.span.bib[s])
        end_ms = at_ms + RATED_MS
        self._set(_RATE, end_ms if answered else max(self._rate_end_ms, end_ms))

    def _rated(self, run_ms: int) -> None:
        self._enter(self.index + 1, run_ms)

    def stop(self, run_ms: int, cause: int) -> None:
        """End the run from outside: the host disarms it, or its timeline can't be read."""
        self._finish(run_ms, cause)

    def _end(self, run_ms: int) -> None:
        """Nothing follows: let presses begun in class become known and end, since they count."""
        self._turn(run_ms)
        self._close_menu()
        self.state = CLOSING
        self._set(_SETTLE, run_ms + KNOWN_MS)
        self.sink.changed()

    def _close(self, run_ms: int) -> None:
        if self.state != CLOSING:
            return
        if run_ms < self._since_ms + KNOWN_MS:  # another press may still become known
            self._set(_SETTLE, self._since_ms + KNOWN_MS)
            return
        for slot in range(SLOTS):
            begun_in = self._down_in[slot][0]
            if self.down[slot] and not self._held[slot] and begun_in != CLOSING:
                return
        self._finish(run_ms, j.BY_TIME)

    def _finish(self, run_ms: int, cause: int) -> None:
        if self._untold:
            self._tell_results()
        if self.state == PLAY and self.kind == WINDOW:
            self.counting.results_stopped()
        ended_ms = self._since_ms if self.state == CLOSING else run_ms
        class_ms = self.class_ms(ended_ms) if self.index >= 0 else 0
        for timer in range(len(self._timers)):
            self._timers[timer] = NEVER
        self.due_ms = NEVER
        self.menu = -1
        self.state = OVER
        self.sink.over(cause, class_ms)
        self.sink.changed()

    def _journal_state(self, run_ms: int, cause: int) -> None:
        payload = struct.pack("<BBHq", self.state, cause, 0, self.clock.utc_ms(run_ms))
        self.sink.keep(j.record(j.STATE, 0, self.span.window, self.class_ms(run_ms), payload))

    def text_of(self, index: int) -> bytes:
        """Return a string of the timeline as Latin-1 bytes."""
        return b"" if index == NO_TEXT else self.timeline.text(index)


# The state table: what a gesture does in a state. What is not listed does nothing.
TABLE = {
    (READY, HOLD): Runner._start_by_hand,
    (SET, HOLD): Runner._later,
    (SET, LONG): Runner._offer,
    (PLAY, TAP): Runner._tapped,
    (PLAY, HOLD): Runner._take_back,
    (PLAY, LONG): Runner._offer,
    (TALLY, TAP): Runner._tapped,
    (TALLY, HOLD): Runner._confirm,
    (TALLY, LONG): Runner._offer,
    (AT_GATE, TAP): Runner._tapped,
    (AT_GATE, HOLD): Runner._start_by_hand,
    (AT_GATE, LONG): Runner._offer,
    (LEAVING, LONG): Runner._offer,
    (ASKING, TAP): Runner._rate_more,
    (ASKING, HOLD): Runner._rate_less,
}

# What each timer does when it is due, in the order of the timers above.
_TIMED = (
    Runner._span_over,
    Runner._settle,
    Runner._started,
    Runner._ring,
    Runner._menu_over,
    Runner._rated,
    Runner._show_over,
    Runner._look_ahead,
)
