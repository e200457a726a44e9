"""What makes a box a remote: its buttons lead the class, and it says so by infra-red.

It plays the class as every box does, silently for its athletes: nobody counts on it. See
``handbell_core.lead``.
"""

import time

from handbell_core.bursts_out import lasts_us
from handbell_core.lead import END_MS, NAMES, PAUSE, Lead
from handbell_core.runner import HOLD_MS, NEVER, OVER, READY
from handbell_core.taps import PRESS
from handbell_core.ticks import ticks_add, ticks_diff

from .desk import Desk
from .lead_screens import LeadScreens
from .loop import IDLE, Job

HOLD_US = HOLD_MS * 1000
TELL_US = 12_000  # making a telegram reads the timeline
LATE_US = 1_000
SPIN_US = 3_000  # so long before it begins it is waited for, and nothing else done


class Remote(Desk):
    """A desk whose buttons lead; ``sender`` sends telegrams, None without a diode."""

    def __init__(self, board, storage, session, view, facts, trouble, sender) -> None:
        Desk.__init__(self, board, storage, session, view, facts, trouble)
        self._sender = sender
        self._lead: Lead = None
        self._down: list[int | None] = [None] * len(NAMES)  # since which tick
        self._ready = b""  # the telegram to be sent,
        self._begins = time.ticks_us()  # and when
        view.screens = LeadScreens(view.display, self.lead)

    def jobs(self) -> tuple:
        """Return what the loop has to do for it."""
        return (
            Job("lead", 0, self.hold_due_us, self.hold),
            Job("tell", SPIN_US + TELL_US, self.tell_due_us, self.tell),
        )

    def lead(self) -> Lead:
        """Return what leads the run that is loaded."""
        runner = self._session.runner
        if self._lead is None or self._lead.runner is not runner:
            self._lead = Lead(runner)
            self._ready = b""  # it was of the class before, as a button that is still down
            self._down = [None] * len(NAMES)
        return self._lead

    # Its buttons

    def _button(self, slot: int, event: int, tick: int) -> None:
        session = self._session
        runner = session.runner
        rests = runner is None or runner.state == READY
        self._down[slot] = None
        # It leads on while it tells the end: a tap would have who missed it play on.
        leads = runner is not None and runner.heeds and (session.in_class or runner.state == OVER)
        if self._test is not None or not rests and not leads:
            Desk._button(self, slot, event, tick)
            return
        self._view.pressed()
        if rests:  # a tap turns the page, and nothing else comes of a press
            if event != PRESS:
                self._next_page()
        elif event == PRESS:
            self.lead().press(slot, session.clock.ms_of(tick))
            if slot != PAUSE:
                self._down[slot] = tick

    def hold_due_us(self, tick: int) -> int:
        """Return in how many microseconds a button that is down has been held."""
        if not self._session.in_class:
            return IDLE
        waits = [HOLD_US - ticks_diff(tick, since) for since in self._down if since is not None]
        return max(0, min(waits)) if waits else IDLE

    def hold(self, tick: int) -> None:
        """Take what has been held for long enough."""
        for slot, since in enumerate(self._down):
            if since is not None and ticks_diff(tick, since) >= HOLD_US:
                self._down[slot] = None
                self.lead().hold(slot, self._session.clock.ms_of(tick))
        self._view.changed()

    # What it says

    def armed(self) -> None:
        """The host has set a class: say so."""
        if self._session.runner.heeds:
            self.lead().begin(self._session.run_ms())

    def joined(self) -> None:
        """The class goes on after a power failure: say anew where it is."""
        if self._session.runner.heeds:
            self.lead().restate(self._session.run_ms())

    def tell_due_us(self, tick: int) -> int:
        """Return in how many microseconds a telegram is to be made, or to begin."""
        runner = self._session.runner
        if self._sender is None or runner is None or not runner.heeds:
            return IDLE
        lead = self.lead()
        if self._ready:
            return max(0, ticks_diff(self._begins, tick) - SPIN_US)
        clock = self._session.clock
        due_ms = lead.tell_due_ms(clock.ms_of(tick))
        if due_ms == NEVER:
            return IDLE
        return max(0, clock.wait_us(due_ms, tick, 2_000_000))

    def tell(self, tick: int) -> None:
        """Make a telegram, or begin to send the one that is made."""
        session, sender = self._session, self._sender
        if not self._ready:
            end_ms = session.clock.ms_of(tick) + END_MS
            self._ready = data = self.lead().telegram(session.key, end_ms)
            self._begins = ticks_add(session.clock.tick_of(end_ms), -lasts_us(data))
            return
        data, self._ready = self._ready, b""
        while ticks_diff(self._begins, time.ticks_us()) > 0:
            pass
        late_us = ticks_diff(time.ticks_us(), self._begins)
        if late_us < LATE_US and not sender.is_busy():  # else it would tell a wrong instant
            sender.send(data)
