"""What a tap, a hold and a long hold mean, by docs/classes.md and docs/screens.md."""

from __future__ import annotations

from oracle_state import (
    CARRY_ON,
    DOOR,
    LIST,
    SKIP,
    STOP,
    SURE,
    UNSETTLED_MS,
    WAIT,
    Page,
    Press,
    WantedTap,
)

from handbell_core.timeline import GATE, RATING, TAP_TALLY, WINDOW

ANSWERED_MS = 6_000
RATING_STEPS = (255, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 0)
COUNTED_STATES = ("play", "tally")


class Gestures:
    """The part of the oracle that takes gestures; see ``oracle.Oracle``."""

    def page_is(self, page: Page | None, ms: int) -> None:
        """Show another page of the choices, or none."""
        self.page = page
        self.wanted.pages.append((ms, page.kind if page else "", page.choice if page else 0))

    def close_page(self, ms: int) -> None:
        """A page has been open for its time."""
        if ms - self.chosen_ms < UNSETTLED_MS:
            self.leave_open(self.chosen_ms, "a choice in a page's last moment")
        self.page_is(None, ms)

    # Taps

    def tap(self, press: Press, ms: int) -> None:
        """A press ended before it was a hold."""
        page = self.page if self.page and self.page.slot == press.slot else None
        if press.page is not page and LIST in (press.page and press.page.kind, page and page.kind):
            self.leave_open(press.at_ms, "a tap over the end of the list of choices")
        if page:
            self._over_a_start(press)
            self.chosen_ms = ms
        if page and page.kind == LIST:
            self._want_tap(press, ms, counts=False, due=False)
            page.choice = self._next_offered(page.choice)
            self.page_is(page, ms)
            return
        if page:
            self.page_is(None, ms)
        if press.state == "asking":
            self._rate(press, press.at_ms, 1)
        elif press.state in ("play", "tally", "gate", "leaving"):
            self._count(press, ms)
        elif press.state == "set":
            self._want_tap(press, ms, counts=False, due=False)

    def _count(self, press: Press, ms: int) -> None:
        if not self.counts_live(press):
            in_window = press.state == "play" and self.spans[press.index].kind == WINDOW
            self._want_tap(press, ms, counts=False, due=in_window)
            return
        count = self.counts[press.window, press.slot]
        if count.skipped:
            self._want_tap(press, ms, counts=False, due=True, outside=False)
            return
        counts = count.tap(press.class_ms)
        self._want_tap(press, ms, counts=counts, due=True, outside=False)

    def _want_tap(
        self, press: Press, ms: int, counts: bool, due: bool, outside: bool = True
    ) -> None:
        count = self.counts.get((press.window, press.slot))
        bib = count.bib if count else 0
        self.wanted.taps.append(
            WantedTap(
                press.slot,
                press.window,
                press.class_ms,
                ms - press.at_ms,
                bib,
                counts,
                outside,
                press.state == "tally",
                due and bib != 0,
                press.at_ms,
            )
        )

    # Holds

    def hold(self, press: Press, ms: int) -> None:
        """A press became a hold, known at ``ms``."""
        page = self.page if self.page and self.page.slot == press.slot else None
        if press.page is not page:
            self.leave_open(press.at_ms, "a hold over the end of a page of choices")
        if page:
            self._over_a_start(press)
            self._hold_on_page(page, press, ms)
        elif press.state == "ready":
            self._hold_at_rest(press, ms)
        elif press.state == "set":
            self._hold_at_start(press, ms)
        elif press.state == "gate":
            if self.state == "gate":
                self._needs_reads(ms)
                self.set_start(self.hand_start_ms(ms), ms, True, "leaving")
        elif press.state == "leaving":
            if self.state == "gate":
                self.leave_open(press.at_ms, "a hold begun while leaving a gate that is stayed at")
        elif press.state == "asking":
            self._rate(press, ms, -1)
        elif press.state in COUNTED_STATES:
            self._hold_in_class(press, ms)

    def _over_a_start(self, press: Press) -> None:
        if self.wanted.starts and press.at_ms < self.wanted.starts[-1][0]:
            self.leave_open(press.at_ms, "choices by a press over a start or a gate's end")

    def _needs_reads(self, ms: int) -> None:
        if self.disturbed:
            self.leave_open(ms, "a hold that needs a read while reads fail")

    def _hold_at_rest(self, press: Press, ms: int) -> None:
        if self.state == "ready":
            self._needs_reads(ms)
            self.act, self.act_known_ms = [press], ms
            self.set_start(self.hand_start_ms(ms), ms, by_hand=True)
        else:
            self.act.append(press)

    def _hold_at_start(self, press: Press, ms: int) -> None:
        if self.state != "set" or not self.by_hand:
            return
        if press.at_ms < self.act_known_ms:
            self.act.append(press)  # held at once with the one that set it: one act
            return
        if any(p is not press and (p.is_down or p.up_ms > press.at_ms) for p in self.act):
            self.leave_open(press.at_ms, "a hold begun while the one that set the start goes on")
        self.act, self.act_known_ms = [press], ms
        self.set_start(self.start_ms + self.step_ms(), ms, by_hand=True)

    def _hold_in_class(self, press: Press, ms: int) -> None:
        count = self.counts.get((press.window, press.slot))
        if count is None or count.bib == 0:
            return
        if press.state == "tally" and count.rule == TAP_TALLY and not count.confirmed:
            if not count.taps:
                return  # nothing was entered, which is not 0
            count.confirmed = True
            self.wanted.told.append((ms, "confirm", press.slot, press.window))
        elif count.back():
            press.took_back = count
            self.wanted.told.append((ms, "back", press.slot, press.window))

    def long_hold(self, press: Press, ms: int) -> None:
        """A press has lasted 5 s."""
        if self.state not in ("set", "play", "tally", "gate", "leaving"):
            return
        if self.page is not None and self.page.slot == press.slot:
            return  # it is in them already
        self._over_a_start(press)
        if press.took_back:
            press.took_back.forth()
            self.wanted.told.append((ms, "forth", press.slot, press.window))
        self.page_is(Page(DOOR, press.slot, ms), ms)

    # The choices

    def offered(self, choice: int) -> bool:
        """Whether a choice would do something now."""
        if choice in (CARRY_ON, STOP):
            return True
        in_span = self.state in COUNTED_STATES
        if choice == SKIP:
            span = self.spans[self.index] if in_span else None
            return bool(span and span.kind == WINDOW and not self._is_skipped())
        if self.state == "leaving":
            return True
        follows = self.spans[self.index + 1].kind if self.index + 1 < len(self.spans) else RATING
        return in_span and follows not in (RATING, GATE) and not self.waiting

    def _is_skipped(self) -> bool:
        return any(c.skipped for (window, _), c in self.counts.items() if window == self.window)

    def _next_offered(self, choice: int) -> int:
        for step in range(1, 5):
            after = (choice + step) % 4
            if self.offered(after):
                return after
        raise AssertionError

    def _hold_on_page(self, page: Page, press: Press, ms: int) -> None:
        if page.kind == DOOR:
            self.page_is(Page(LIST, page.slot, ms), ms)
            return
        if page.kind == SURE:
            self.stop_by_hand(press, ms)
            return
        if (press.state, press.index) != (self.state, self.index):
            if page.choice in (WAIT, STOP):
                self.leave_open(press.at_ms, "a choice held over the end of a span")
            elif page.choice == SKIP:
                self.page_is(None, ms)  # "this one" is over, and the next was not meant
                return
        if not self.offered(page.choice):
            self.leave_open(press.at_ms, "a choice that would do nothing any more")
        self.page_is(None, ms)
        if page.choice == SKIP:
            for (window, _), count in self.counts.items():
                if window == self.window:
                    count.skipped = True
        elif page.choice == WAIT:
            if self.state == "leaving":
                self.silence_after(ms)
                self.be("gate", ms)
            else:
                self.waiting = True
        elif page.choice == STOP:
            self.page_is(Page(SURE, page.slot, ms), ms)

    def stop_by_hand(self, press: Press, ms: int) -> None:
        """Somebody stopped the class on this box."""
        for (window, _), count in self.counts.items():
            if window == self.window:
                count.stop_may_show = True
                if self.state in COUNTED_STATES and self.spans[self.index].kind == WINDOW:
                    count.stopped = True
        for other in self.down.values():
            if other is not press and not other.known:
                self.leave_open(
                    other.at_ms, "a press that was down when somebody stopped the class"
                )
        self.end_now("stop", ms)

    # Ratings

    def _rate(self, press: Press, ms: int, by: int) -> None:
        span = self.spans[-1]
        bib = span.bib[press.slot]
        if not bib or self.state not in ("asking", "closing"):
            return
        if 0 <= self.rating_over_ms - self.last_up_ms < UNSETTLED_MS:
            self.leave_open(press.at_ms, "an answer in the last moment")
        if by < 0 and 0 <= ms - self.last_up_ms < UNSETTLED_MS:
            self.leave_open(press.at_ms, "two answers in one moment")
        step = self.ratings.get(bib, 0)
        self.ratings[bib] = step = max(0, step + by) % len(RATING_STEPS)
        self.wanted.ratings.append((ms, bib, RATING_STEPS[step]))
        if self.state == "asking" and all(self.ratings.get(b) for b in span.bib if b):
            self.rating_over_ms = ms + ANSWERED_MS
        elif self.state == "asking":  # who is just answering may go on
            self.rating_over_ms = max(self._time_out_ms(), ms + ANSWERED_MS)

    def _time_out_ms(self) -> int:
        return self.zero_ms + self.spans[-1].start_ms + self.spans[-1].duration_ms
