"""Hands at the buttons of a run: presses into gestures, gestures into events of the class."""

from . import journal as j
from .class_table import CLASS, READING
from .clock import GRID_LEAST_MS
from .course import HOLD_T, MENU_T, OWED_T, STAY_T
from .deeds import Deeds
from .press import (
    HERE,
    HOLDS,
    MEANS,
    NOW,
    ON_PAGE,
    ON_SURE,
    OPEN,
    PRESS,
    SURE_HOLDS,
    UP,
)
from .states import (
    AGAIN,
    CLOSED,
    CLOSING,
    GIVE_UP_MS,
    HOLD_MS,
    KNOWN_MS,
    LEAVING,
    LONG_MS,
    NEVER,
    NO_WINDOW,
    SET_BY_HAND,
    SETTLE_MS,
    SETTLE_RELEASE_MS,
    SKIP,
    SURE,
    SURE_SETTLE_MS,
    WAIT,
    row_of,
)


class Hands(Deeds):
    """A course that people press buttons in."""

    def step(self, run_ms: int) -> int:
        """Do what is due; see ``Runner``."""
        raise NotImplementedError

    def _do(self, event: str, at_ms: int, arg: int) -> bool:
        """Take an event of the class; False if nothing comes of it. A read that fails is raised."""
        at = row_of(CLASS, self.mode, event)
        if at < 0:
            return False
        then, act = CLASS[at + 2], CLASS[at + 3]
        if event in READING:
            self._look(self.index + 1)
        index = self.index
        if act is not None:
            act(self, at_ms, arg)
        if then:
            self._be(then, at_ms, index)
        self.sink.changed()
        return True

    @property
    def waiting(self) -> bool:
        """Whether the box waits at the end of the present span."""
        return self._waits()

    @waiting.setter
    def waiting(self, waits: bool) -> None:
        if waits:  # a wait that was chosen before the power failed
            self._do("wait_after", self._since_ms, 0)

    def mark_ms(self, run_ms: int) -> int:
        """Return when the class would go on, at a gate, if a hold began at ``run_ms``."""
        known_ms = run_ms + HOLD_MS + SETTLE_RELEASE_MS
        return self.clock.start_after(known_ms, self.head.grid_s)

    def for_mark_ms(self, run_ms: int) -> int:
        """Return for how long a hold may still begin that goes on at that time."""
        return self.mark_ms(run_ms) - GRID_LEAST_MS - HOLD_MS - SETTLE_RELEASE_MS - run_ms

    def press(self, slot: int, run_ms: int) -> None:
        """A debounced press began at ``run_ms``; raises what a step up to then raises."""
        try:
            self.step(run_ms)  # a late pass tells it before what was due first
        finally:
            self._press(slot, run_ms)

    def _press(self, slot: int, run_ms: int) -> None:
        press = self._presses[slot]
        began_in, index = self.mode, self.index
        if run_ms < self._since_ms:
            began_in, index = self._mode_before, self._index_before
            if NO_WINDOW >> began_in & 1 and not NO_WINDOW >> self.mode & 1:
                return  # it began before the start, and belongs to no window
        elif self.owed and run_ms >= self.owed[-1][2]:
            began_in = LEAVING if self.owed[0][0] == "go_on" else SET_BY_HAND
        press.at_ms = run_ms
        press.class_ms = self.class_ms(run_ms)
        press.began_in = began_in
        press.index = index
        on_page = self.menu != CLOSED and slot == self.menu_slot
        self.down[slot] = True
        self._set(HOLD_T + slot, run_ms + HOLD_MS + SETTLE_RELEASE_MS)
        page = "on_sure" if self.menu == SURE else "on_page"
        self._button(slot, page if on_page else "down", run_ms)
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
        press = self._presses[slot]
        if press.state == UP:
            return
        self.down[slot] = False
        self.held_ms = run_ms - press.at_ms
        self._doubt = j.TAP_DOUBT if doubt else 0
        least_ms = HOLD_MS if OPEN >> press.state & 1 else LONG_MS
        try:
            if self.held_ms >= least_ms:  # it is known a little before its timer
                self._button(slot, "lasts", run_ms)
        finally:
            self._set(HOLD_T + slot, NEVER)
            self._button(slot, "up", run_ms)
            self._close(run_ms)
            self.sink.changed()

    def _hold_due(self, slot: int, run_ms: int) -> None:
        try:
            self._button(slot, "lasts", run_ms)
        finally:
            self._close(run_ms)
            self.sink.changed()

    def _button(self, slot: int, event: str, at_ms: int) -> None:
        """Take what happens to a button, and what its gesture means."""
        press = self._presses[slot]
        at = row_of(PRESS, press.state, event)
        if at < 0:
            return
        press.state = PRESS[at + 2]
        if press.state in (HOLDS, SURE_HOLDS):
            self._set(HOLD_T + slot, press.at_ms + LONG_MS + SETTLE_RELEASE_MS)
        gesture = PRESS[at + 3]
        if gesture == "page_hold":
            if self.menu != CLOSED and slot == self.menu_slot:
                self._choose(slot, at_ms)
        elif gesture == "page_tap":
            if slot == self.menu_slot:
                self._page("tap", slot, at_ms)
            self._mean(slot, "tap", press.at_ms)  # who taps goes on counting, this tap as well
        elif gesture == "long" or gesture == "long_back":
            if gesture == "long_back":
                self._do("give_back", at_ms, slot)
            if self._do("offer", at_ms, slot):  # unless it is being shown to another button
                self._page("offer", slot, at_ms)
        elif gesture:
            if gesture in ("off", "let_go") and slot == self.menu_slot:
                self._page("off", slot, at_ms)
            self._mean(slot, gesture, press.at_ms if gesture == "tap" else at_ms)

    def _mean(self, slot: int, gesture: str, at_ms: int) -> None:
        press = self._presses[slot]
        at = row_of(MEANS, press.began_in, gesture)
        if at < 0:
            return
        takes = MEANS[at + 2]
        changed_ms = self.owed[-1][2] if self.owed else self._since_ms
        if takes == NOW and press.at_ms < changed_ms:
            return  # another button, or the host, has changed the state since it began
        if takes == HERE and press.index != self.index:
            return
        event = str(MEANS[at + 3])
        if event in READING:
            owed = ((event, slot, at_ms),)
            if self.owed:  # in turn: each changes the state that the next one finds
                self.owed += owed
                return
            try:
                self._look(self.index + 1)
            except Exception as error:
                self.owed = owed
                self._set(OWED_T, at_ms)
                if self.mode == AGAIN:  # which waits for it as long as it is tried
                    self._set(STAY_T, at_ms + GIVE_UP_MS)
                raise error
        self._do(event, at_ms, slot)

    def _owed_due(self, at_ms: int) -> None:
        """A hold whose read failed is taken as of when it was made, unless the state is another."""
        event, slot, _ = self.owed[0]
        if at_ms >= self._since_ms:
            self._do(event, at_ms, slot)
        self.owed = self.owed[1:]
        if self.owed:
            self._set(OWED_T, self.owed[0][2])

    def _choose(self, slot: int, at_ms: int) -> None:
        """A hold on a page that was shown to it."""
        choice = self.menu
        self._unstep(at_ms, slot)
        event = self._page("hold", slot, at_ms)
        if not self.offers(choice):
            return
        if choice in (SKIP, WAIT) and self._presses[slot].index != self.index:
            return  # it was meant for the span before
        if event == "wait_after":
            for what in ("stand_again" if self.heeds else "stay", "alone", event):
                if self._do(what, at_ms, slot):
                    break
            if self._waits():
                self._tell(self.state, j.BY_WAIT, self.class_ms(at_ms), at_ms)
        elif event == "end_it":
            self._do(event, at_ms, j.BY_STOP)
        elif event == "leave_out":
            self._do(event, at_ms, slot)

    def _menu_over(self, run_ms: int) -> None:
        press = self._presses[self.menu_slot]
        if press.state in (ON_PAGE, ON_SURE, SURE_HOLDS):  # that press still means the page
            lasts_ms = SETTLE_MS if press.state == ON_PAGE else SURE_SETTLE_MS
            self._set(MENU_T, press.at_ms + lasts_ms)
            return
        self._page("time_up", self.menu_slot, run_ms)
        self.sink.changed()

    def _stay_over(self, run_ms: int) -> None:
        """The present state ends by itself: the wait for a second hold, a rating, the class."""
        if self.mode == AGAIN:
            for press in self._presses:
                if OPEN >> press.state & 1 and press.began_in == AGAIN:
                    self._set(STAY_T, press.at_ms + SETTLE_MS)  # that press still means it
                    return
            self._do("time_up", run_ms, 0)
        elif self.mode == CLOSING:
            self._close(run_ms)
        else:
            self._span_due(run_ms)

    def _close(self, run_ms: int) -> None:
        if self.mode != CLOSING:
            return
        if run_ms < self._since_ms + KNOWN_MS:  # another press may still become known
            self._set(STAY_T, self._since_ms + KNOWN_MS)
            return
        for press in self._presses:
            if OPEN >> press.state & 1 and press.began_in != CLOSING:
                return
        self._do("quiet", run_ms, j.BY_TIME)

    def _span_due(self, run_ms: int) -> None:
        raise NotImplementedError
