"""Taps that step through the choices, by docs/coaches/classes.md and docs/engineers/formats.md ("Steps")."""

from __future__ import annotations

from oracle_state import UNSETTLED_MS, Page, Press
from oracle_taps import SOON_MS, Count, Relay

from handbell_core.timeline import WINDOW

STEPS_MOST = 16


class Steps:
    """The part of the oracle that knows which taps a choice takes back; see ``oracle.Oracle``."""

    def was_confirmed(self, press: Press) -> bool:
        """Whether a tap opens a tally again."""
        count = self.counts.get((press.window, press.slot))
        return press.state == "tally" and bool(count and count.confirmed)

    def stepped(self, page: Page, press: Press, of: Count | Relay, confirmed: bool) -> None:
        """A tap that counted went on to the next choice."""
        if not page.steps:
            page.opened_tally = confirmed
        if len(page.steps) < STEPS_MOST:
            page.steps.append((press, of))

    def too_soon(self, press: Press) -> None:
        """A tap handed nothing over; was it so only because of a step?"""
        steps = self.page.steps if self.page and self.page.slot != press.slot else []
        if steps and press.class_ms - steps[-1][0].class_ms < SOON_MS:
            steps.pop()

    def take_steps_back(self, page: Page, ms: int) -> None:
        """A hold takes a choice."""
        if page.steps and page.opened_tally and self._is_in_reach(page.steps[0][0].window):
            press, count = page.steps[0]
            count.confirmed = True
            self.wanted.told.append((ms, "confirm", press.slot, press.window))
        for press, of in page.steps:
            if not self._is_in_reach(press.window):
                continue
            if isinstance(of, Relay):
                if ms - self.handed_up_ms < UNSETTLED_MS:
                    self.leave_open(self.handed_up_ms, "a hand-over and a choice in one moment")
                self.handed_up_ms = ms
            if of.back():
                slot = of.place if isinstance(of, Relay) else press.slot
                self.wanted.told.append((ms, "back", slot, press.window))

    def _is_in_reach(self, window: int) -> bool:
        """Whether a window is open, or the last one that was."""
        in_one = self.state == "play" and self.spans[self.index].kind == WINDOW
        return window == self.window or (in_one and window == self.window - 1)
