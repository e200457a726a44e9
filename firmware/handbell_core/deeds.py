"""What each event of a class does; ``class_table`` says when.

A deed looks at the mode that the event found, and cannot fail: what it needs from the flash is at
hand by then. ``at_ms`` is the event's run time; ``arg`` is the slot of its button, the start that a
host sets, or the cause of an end.
"""

import struct

from . import journal as j
from .counting import REACHED
from .course import CUE_T, HOLD_T, LOOK_T, SETTLE_T, SHOW_T, SPAN_T, START_T, STAY_T, Course
from .cues import AWAIT, BACK, CLOSE, MADE, NEAR, NEAR_MS, NO_CUE, start_cue
from .legs import SOON_MS
from .press import FIRST, SPENT, TOOK_BACK, UP
from .states import (
    AGAIN_MS,
    ASKING,
    AT_GATE,
    CLOSED,
    CLOSING,
    KNOWN_MS,
    LEAVING,
    NEVER,
    NO_WINDOW,
    PLAY,
    RATED_MS,
    SETTLE_MS,
    SHOW_MS,
    STANDS,
    STEPS_MOST,
)
from .timeline import GATE, SLOTS, TAP_TALLY

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

MARKS_LATER = 3  # so far holds move a start by hand; the next one begins again at the first mark

# How taps step through the ratings: the common answers first; -1 is no answer.
RATINGS = (-1, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 0)


class Deeds(Course):
    """A course with what its events do."""

    # Starting, and going on from a gate

    def _hold_first(self, at_ms: int, slot: int) -> None:
        self._presses[slot].state = FIRST

    def _let_go(self, at_ms: int, slot: int) -> None:
        self._set(STAY_T, at_ms + AGAIN_MS)

    def _rest(self, at_ms: int, arg: int) -> None:
        self._set(STAY_T, NEVER)

    def _arm(self, at_ms: int, start_ms: int) -> None:
        self._set(STAY_T, NEVER)
        self.starts_ms = start_ms
        self._set(START_T, start_ms)
        self._end_cue = self._cue_after()
        self.cue = NEAR
        self._set(CUE_T, start_ms - NEAR_MS)

    def _start_by_hand(self, at_ms: int, slot: int) -> None:
        self._arm(at_ms, self.clock.start_after(at_ms, self.head.grid_s))

    def _later(self, at_ms: int, slot: int) -> None:
        step_ms = self.clock.step(self.head.grid_s)
        first_ms = self.clock.start_after(at_ms, self.head.grid_s)
        start_ms = self.starts_ms + step_ms
        self._arm(at_ms, first_ms if start_ms > first_ms + MARKS_LATER * step_ms else start_ms)

    def _stay(self, at_ms: int, slot: int) -> None:
        self.starts_ms = NEVER
        self._set(START_T, NEVER)
        self._set(CUE_T, NEVER)

    def _begin(self, run_ms: int, arg: int) -> None:
        cause = j.BY_HAND if self.by_hand else j.BY_HOST
        self.alone = self.alone or self.heeds and self.mode == LEAVING
        self.zero_ms = run_ms - (self.gate_class_ms if self.mode == LEAVING else 0)
        self.starts_ms = NEVER
        for slot in range(SLOTS):  # a press begun before the start belongs to no window
            self._forget(slot)
        self._tell(PLAY, cause, run_ms - self.zero_ms, run_ms)

    def _forget(self, slot: int) -> None:
        self.down[slot] = False
        self._presses[slot].state = UP
        self._set(HOLD_T + slot, NEVER)

    # Acts of the remote

    def _announce(self, run_ms: int, at_ms: int) -> None:
        self.starts_ms = at_ms
        self._set(START_T, at_ms)
        self.cue = NEAR
        self._set(CUE_T, at_ms - NEAR_MS if at_ms - NEAR_MS >= run_ms else NEVER)

    def _stand(self, run_ms: int, class_ms: int) -> None:
        self._move_zero(run_ms, class_ms)
        for press in self._presses:  # one that is not over belongs to where the class was
            if press.class_ms >= class_ms:
                press.class_ms, press.began_in = class_ms, STANDS
        self._stop_here(class_ms, run_ms, j.BY_WORD)
        if self._act_cue != CLOSE:  # else the class is over, and that has rung
            self.sink.bell(AWAIT, NEVER if self._act_cue == NO_CUE else run_ms)

    def _stop_here(self, class_ms: int, run_ms: int, cause: int) -> None:
        """Stand at the place that was read."""
        self.span, self._to_shown = self._to_shown, self.span
        self.index = self._to_index - 1
        self.kind = GATE
        self.zero_ms = run_ms - class_ms
        self._stop_at_gate(class_ms, run_ms, cause)

    def _run(self, run_ms: int, class_ms: int) -> None:
        self._move_zero(run_ms, class_ms)
        self.index = self._to_index - 1
        for slot, press in enumerate(self._presses):
            # One that the class goes back before counts for nothing, as one begun while it stood.
            if press.class_ms >= class_ms or NO_WINDOW >> press.began_in & 1:
                self._forget(slot)
        self._tell(PLAY, j.BY_WORD, class_ms, run_ms)

    def _keep_taken_back(self) -> None:
        """A hold that took back, and lasts, has nothing to give back any more."""
        for press in self._presses:
            if press.state == TOOK_BACK:
                press.state = SPENT

    def _move_zero(self, run_ms: int, class_ms: int) -> None:
        self.starts_ms = NEVER
        stands = self.state in (AT_GATE, LEAVING)
        self._stood_before_ms = self.gate_class_ms if stands else NEVER
        self._moved_ms, self._zero_before_ms = run_ms, self.zero_ms
        self.zero_ms = run_ms - class_ms

    # Spans

    def _window_over(self, run_ms: int, arg: int) -> None:
        counting = self.counting
        if counting.untold:
            self._tell_results()
        counting.end()
        counting.untold = counting.before_window
        self._tallied = False
        self._set(SETTLE_T, NEVER if self.span.tap == TAP_TALLY else run_ms + SETTLE_MS)

    def _tally_over(self, run_ms: int, arg: int) -> None:
        self._set(SETTLE_T, run_ms + SETTLE_MS)

    def _wait_here(self, run_ms: int, arg: int) -> None:
        self.kind = GATE
        self._stop_at_gate(self.span.end_ms(), run_ms, j.BY_WAIT)
        self.sink.bell(AWAIT, run_ms)

    def _stop_at_gate(self, class_ms: int, run_ms: int, cause: int) -> None:
        self.gate_class_ms = class_ms
        self._tell(AT_GATE, cause, class_ms, run_ms)

    def _take(self, run_ms: int) -> None:
        """Let the span at hand be the present one."""
        self.index += 1
        self.span, self._after = self._after, self.span
        self._after_index = -1
        self._end_cue = NO_CUE
        self.kind = self.span.kind
        self._set(STAY_T, NEVER)
        self._set(LOOK_T, run_ms)

    def _open(self, run_ms: int, arg: int) -> None:
        self._take(run_ms)
        span = self.span
        self._set(SPAN_T, self.zero_ms + span.end_ms())
        if span.end_ms() >= self.head.slot_ms:
            self._end_cue = CLOSE
        self._next_cue(0)
        if run_ms > self.zero_ms + span.start_ms:  # it goes on in its midst, and rings for that
            self.cue = start_cue(span.kind)
            self._set(CUE_T, run_ms)

    def _open_window(self, run_ms: int, arg: int) -> None:
        self._open(run_ms, arg)
        if self.counting.window != self.span.window:
            self.counting.begin(self.span)

    def _open_tally(self, run_ms: int, arg: int) -> None:
        self._open(run_ms, arg)
        self.counting.begin_tally(self.span)

    def _open_gate(self, run_ms: int, arg: int) -> None:
        self._take(run_ms)
        self._stop_at_gate(self.span.start_ms, run_ms, j.BY_TIME)
        self._next_cue(0)

    def _skip(self, at_ms: int, slot: int) -> None:
        self.counting.skip()
        self._tell(PLAY, j.BY_SKIP, self.class_ms(at_ms), at_ms)

    # Presses

    def _count(self, at_ms: int, slot: int) -> None:
        self._counted(slot, self.counting.tap)

    def _count_standing(self, at_ms: int, slot: int) -> None:
        self._counted(slot, self.counting.tap_standing)

    def _counted(self, slot: int, tap: "Callable[[int, int, int, int], int]") -> None:
        class_ms, steps = self._presses[slot].class_ms, self._steps
        if not steps:
            counting = self.counting
            self._tallied = counting.in_tally(class_ms) and counting.before[slot].confirmed
        done = tap(slot, class_ms, self.held_ms, self._doubt)
        if self.menu != CLOSED and slot == self.menu_slot:  # nothing sounds that may be no tap
            if done and len(steps) < STEPS_MOST:
                self._steps = steps + (class_ms,)
        elif done == REACHED:
            self.sink.bell(MADE, NEVER)
        elif self.counting.legs.people and steps and class_ms - steps[-1] < SOON_MS:
            self._steps = steps[:-1]  # it was too soon only after that step, which stands for it

    def _unstep(self, at_ms: int, slot: int) -> None:
        """Something is chosen: the taps that led there were none."""
        counting, class_ms = self.counting, self.class_ms(at_ms)
        if self._steps and self._tallied:
            counting.confirm(slot, class_ms, class_ms)
        for tap_ms in self._steps:
            if counting.back(slot, tap_ms, class_ms) or counting.leg_back(slot, tap_ms, class_ms):
                counting.result_again(slot, tap_ms)

    def _take_back(self, at_ms: int, slot: int) -> None:
        press = self._presses[slot]
        pressed_ms = press.class_ms
        if not self.counting.back(slot, pressed_ms, self.class_ms(at_ms)):
            return
        press.state = TOOK_BACK
        self._taken_back(at_ms, slot, pressed_ms)

    def _take_leg_back(self, at_ms: int, slot: int) -> None:
        """A hold was let go before it led on to the choices: only then it is sure what it means.

        Other buttons may hand over meanwhile, so what is taken back could not be given back.
        """
        pressed_ms = self._presses[slot].class_ms
        if self.counting.leg_back(slot, pressed_ms, self.class_ms(at_ms)):
            self._taken_back(at_ms, slot, pressed_ms)

    def _taken_back(self, at_ms: int, slot: int, pressed_ms: int) -> None:
        self.shown[slot] = -1
        self._set(SHOW_T, at_ms + SHOW_MS)
        self.sink.bell(BACK, NEVER)
        self.counting.result_again(slot, pressed_ms)

    def _give_back(self, at_ms: int, slot: int) -> None:
        pressed_ms = self._presses[slot].class_ms
        self.counting.forth(slot, pressed_ms, self.class_ms(at_ms))
        self._show_over(at_ms)
        self.counting.result_again(slot, pressed_ms)

    def _confirm(self, at_ms: int, slot: int) -> None:
        pressed_ms = self._presses[slot].class_ms
        if not self.counting.in_tally(pressed_ms):
            return
        if self.counting.before[slot].confirmed:
            self._take_back(at_ms, slot)
        elif self.counting.confirm(slot, pressed_ms, self.class_ms(at_ms)):
            self.sink.bell(MADE, NEVER)

    def _show_over(self, run_ms: int) -> None:
        for slot in range(SLOTS):
            self.shown[slot] = 0
        self.sink.changed()

    # Ratings and the end

    def _ask(self, run_ms: int, arg: int) -> None:
        self._take(run_ms)
        self._page("close", 0, run_ms)
        for slot in range(SLOTS):
            self.rating[slot] = -1
        self._rate_end_ms = run_ms + self.span.duration_ms
        self._set(STAY_T, self._rate_end_ms)

    def _more(self, at_ms: int, slot: int) -> None:
        self._rate_to(slot, (RATINGS.index(self.rating[slot]) + 1) % len(RATINGS), at_ms)

    def _less(self, at_ms: int, slot: int) -> None:
        self._rate_to(slot, max(0, RATINGS.index(self.rating[slot]) - 1), at_ms)

    def _rate_to(self, slot: int, index: int, at_ms: int) -> None:
        if not self.span.bib[slot]:
            return
        self.rating[slot] = RATINGS[index]
        payload = struct.pack("<HB", self.span.bib[slot], RATINGS[index] & 0xFF)
        self.sink.keep(j.record(j.RATED, slot, 0, self.class_ms(at_ms), payload))
        if self.mode != ASKING:
            return
        answered = all(self.rating[s] >= 0 for s in range(SLOTS) if self.span.bib[s])
        end_ms = at_ms + RATED_MS
        self._set(STAY_T, end_ms if answered else max(self._rate_end_ms, end_ms))

    def _end(self, run_ms: int, arg: int) -> None:
        """Nothing follows: let presses begun in class become known and end, since they count."""
        self._page("close", 0, run_ms)
        self._set(STAY_T, run_ms + KNOWN_MS)

    def _finish(self, run_ms: int, cause: int) -> None:
        if self.counting.untold:
            self._tell_results()
        if self.counting.window:
            self.counting.results_stopped()
        ended_ms = self._since_ms if self.mode == CLOSING else run_ms
        self._be_over(cause, self.class_ms(ended_ms) if self.begun else 0)

    def _fail(self, run_ms: int, fault: int) -> None:
        """What carries the class on can't be read: keep what was counted; windows were whole."""
        self.fault = fault
        end_ms = self.span.end_ms() if self.begun else 0
        if self.counting.window and self.class_ms(run_ms) >= end_ms:
            self._window_over(run_ms, 0)
        if self.counting.untold:
            self._tell_results()
        if self.counting.window:  # an act broke it off that leads where nobody can tell
            end_ms = self.class_ms(run_ms)
            self.counting.results_stopped()
        self._be_over(j.BY_FAULT, end_ms)

    def _be_over(self, cause: int, class_ms: int) -> None:
        for timer in range(len(self._timers)):
            self._timers[timer] = NEVER
        self.due_ms = NEVER
        self.menu = CLOSED
        self.sink.over(cause, class_ms)
