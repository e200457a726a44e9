"""What a tap, a hold and a long hold mean, by docs/coaches/classes.md and docs/coaches/screens.md."""

from __future__ import annotations

from oracle_state import (
    CARRY_ON,
    DOOR,
    LIST,
    LONG_KNOWN_MS,
    PAGE_MS,
    PAGE_WAITS_MS,
    SKIP,
    STOP,
    SURE,
    SURE_WAITS_MS,
    UNSETTLED_MS,
    WAIT,
    Page,
    Press,
    WantedTap,
)
from oracle_steps import Steps
from oracle_taps import SOON_MS, Count, Relay

from handbell_core.timeline import GATE, RATING, TAP_TALLY, WINDOW

ANSWERED_MS = 6_000
RATING_STEPS = (255, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 0)
COUNTED_STATES = ("play", "tally")


class Gestures(Steps):
    """The part of the oracle that takes gestures; see ``oracle.Oracle``."""

    def page_is(self, page: Page | None, ms: int) -> None:
        """Show another page of the choices, or none."""
        self.page = page
        self.wanted.pages.append((ms, page.kind if page else "", page.choice if page else 0))

    def close_page(self, ms: int) -> None:
        """A page has been open for its time; it waits for a press that means it."""
        for press in self.down.values():
            if press.page is self.page and self.page.kind == SURE and not press.known_long:
                self.page.closes_ms = press.at_ms + SURE_WAITS_MS
                return
            if press.page is self.page and not press.known:
                self.page.closes_ms = press.at_ms + PAGE_WAITS_MS
                return
        if ms - self.chosen_ms < UNSETTLED_MS:
            self.leave_open(self.chosen_ms, "a choice in a page's last moment")
        if self.page.is_early:
            self.timed_out_ms = ms
        self.page_is(None, ms)

    # Taps

    def tap(self, press: Press, ms: int) -> None:
        """A press ended before it was a hold."""
        page = self.page if self.page and self.page.slot == press.slot else None
        if page:
            self.chosen_ms = ms
        steps = page if page and page.kind == LIST else None
        if steps:
            steps.choice = self._next_offered(steps.choice)
        if page:
            self.page_is(steps, ms)
        confirmed = self.was_confirmed(press)
        if press.state == "asking":
            self._rate(press, press.at_ms, 1)
        elif press.state in ("play", "tally", "gate", "leaving"):
            counted = self._count(press, ms)
            if steps and counted:
                self.stepped(steps, press, counted, confirmed)
        elif press.state == "set":
            self._want_tap(press, ms, counts=False, due=False)
        elif press.state == "again" and self.state == "again":
            self.rest(ms)

    def _count(self, press: Press, ms: int) -> Count | Relay | None:
        """Take a tap; return what it counts for."""
        if not self.counts_live(press):
            in_window = press.state == "play" and self.spans[press.index].kind == WINDOW
            self._want_tap(press, ms, counts=False, due=in_window)
            return None
        if press.window in self.relays:
            return self._hand_over(self.relays[press.window], press, ms)
        count = self.counts[press.window, press.slot]
        if count.skipped:
            self._want_tap(press, ms, counts=False, due=True, outside=False)
            return None
        counts = count.tap(press.class_ms)
        self._want_tap(press, ms, counts=counts, due=True, outside=False)
        return count if counts else None

    def _hand_over(self, relay: Relay, press: Press, ms: int) -> Relay | None:
        """Take a tap of a relay; the journal tells the place of who ended a leg."""
        if ms - self.handed_up_ms < UNSETTLED_MS:
            self.leave_open(press.at_ms, "two hand-overs in one moment")
        if abs(relay.since_ms(press.class_ms) - SOON_MS) < UNSETTLED_MS:
            self.leave_open(press.at_ms, "a hand-over three seconds after the last")
        self.handed_up_ms = ms
        counts = relay.tap(press.class_ms)
        where = (relay.place, relay.counts[relay.place].bib) if counts else (0, 0)
        self._want_tap(press, ms, counts=counts, due=True, outside=not counts, where=where)
        if not counts:
            self.too_soon(press)
        return relay if counts else None

    def _want_tap(
        self,
        press: Press,
        ms: int,
        counts: bool,
        due: bool,
        outside: bool = True,
        where: tuple[int, int] | None = None,
    ) -> None:
        count = self.counts.get((press.window, press.slot))
        slot, bib = where or (press.slot, count.bib if count else 0)
        self.wanted.taps.append(
            WantedTap(
                slot,
                press.window,
                press.class_ms,
                ms - press.at_ms,
                bib,
                counts,
                outside,
                press.state == "tally",
                due and (bib != 0 or where is not None),
                press.at_ms,
            )
        )

    # Holds

    def hold(self, press: Press, ms: int) -> None:
        """A press became a hold, known at ``ms``."""
        if press.page:
            if self.page and self.page.slot == press.slot and press.page.kind != SURE:
                self._hold_on_page(self.page, press, ms)
        elif press.state == "ready":
            self._hold_at_rest(press, ms)
        elif press.state == "again":
            self._hold_again(press, ms)
        elif press.state == "set":
            self._hold_at_start(press, ms)
        elif press.state == "gate":
            if self.state == "gate":
                self._needs_reads(ms)
                self.set_start(self.hand_start_ms(ms), ms, True, "leaving")
        elif press.state == "asking":
            self._rate(press, ms, -1)
        elif press.state in COUNTED_STATES:
            self._hold_in_class(press, ms)

    def _needs_reads(self, ms: int) -> None:
        if self.disturbed:
            self.leave_open(ms, "a hold that needs a read while reads fail")

    def _hold_at_rest(self, press: Press, ms: int) -> None:
        if self.state == "ready" and press.at_ms >= self.ready_ms:
            press.is_first = True
            others = [p for p in self.down.values() if p is not press]
            if any(abs(p.at_ms - press.at_ms) < UNSETTLED_MS for p in others):
                self.leave_open(press.at_ms, "two first holds in one moment")
            self.be("held", ms)

    def _hold_again(self, press: Press, ms: int) -> None:
        if self.state == "ready" and ms - self.ready_ms < UNSETTLED_MS:
            self.leave_open(self.ready_ms, "a tap and the second hold in one moment")
        if self.state == "again":
            self._needs_reads(ms)
            self.moved_ms = ms
            self.set_start(self.hand_start_ms(ms), ms, by_hand=True)

    def _hold_at_start(self, press: Press, ms: int) -> None:
        if self.state != "set" or not self.by_hand:
            return
        if press.at_ms < self.moved_ms:
            return  # held at once with the one that set it: one act
        self.moved_ms = ms
        first_ms, start_ms = self.hand_start_ms(ms), self.start_ms + self.step_ms()
        if start_ms > first_ms + 3 * self.step_ms():  # as far as it goes; then the first again
            start_ms = first_ms
        self.set_start(start_ms, ms, by_hand=True)

    def _hold_in_class(self, press: Press, ms: int) -> None:
        if press.window in self.relays:
            return  # only when it is let go
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

    def eased(self, press: Press, ms: int) -> None:
        """A hold was let go before it was a long one."""
        relay = self.relays.get(press.window)
        if not relay or press.page or press.state not in COUNTED_STATES:
            return
        if ms - self.handed_up_ms < UNSETTLED_MS:
            self.leave_open(press.at_ms, "a hand-over and a hold in one moment")
        self.handed_up_ms = ms
        if relay.back():
            self.wanted.told.append((ms, "back", relay.place, press.window))

    def long_hold(self, press: Press, ms: int) -> None:
        """A press has lasted 5 s."""
        if self.state not in ("set", "play", "tally", "gate", "leaving"):
            return
        if press.page and press.page.kind == SURE and self.page is press.page:
            if any(p.at_ms == press.at_ms and p is not press for p in self.down.values()):
                self.leave_open(press.at_ms, "a choice and another hold in one moment")
            self.stop_by_hand(press, ms)
        if press.page:
            return  # it is in them already
        if press.took_back:
            press.took_back.forth()
            self.wanted.told.append((ms, "forth", press.slot, press.window))
        if self.page and self.page.is_early and ms - self.chosen_ms < UNSETTLED_MS:
            self.leave_open(self.chosen_ms, "two long holds in one moment")
        if self.page is None:  # else they are being shown to another button
            is_early = ms - press.at_ms < LONG_KNOWN_MS
            door = Page(DOOR, press.slot, ms + PAGE_MS, is_early=is_early, opened_by=press)
            self.page_is(door, ms)

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
            self.page_is(Page(LIST, page.slot, ms + PAGE_MS), ms)
            return
        if any(p.at_ms == press.at_ms and p is not press for p in self.down.values()):
            self.leave_open(press.at_ms, "a choice and another hold in one moment")
        self.take_steps_back(page, ms)
        self.page_is(None, ms)
        if not self.offered(page.choice):
            return  # it was framed when it still was
        if page.choice in (SKIP, WAIT) and press.index != self.index:
            return  # the span it was meant for is over
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
            self.page_is(Page(SURE, page.slot, ms + PAGE_MS), ms)

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
