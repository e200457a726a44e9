"""What makes a box a remote: its buttons lead the class, and it says so by infra-red.

It plays the class as every box does, silently for its athletes: nobody counts on it. See
``handbell_core.lead``.
"""

from handbell_core.lead import NAMES, PAUSE, Lead
from handbell_core.runner import HOLD_MS, OVER, READY
from handbell_core.taps import PRESS
from handbell_core.ticks import ticks_diff

from .desk import Desk
from .lead_screens import LeadScreens
from .loop import IDLE, Job
from .teller import Teller

HOLD_US = HOLD_MS * 1000


class Remote(Desk):
    """A desk whose buttons lead; ``sender`` sends telegrams, None without a diode."""

    def __init__(self, board, storage, session, view, facts, trouble, sender) -> None:
        Desk.__init__(self, board, storage, session, view, facts, trouble)
        self._sender = sender
        self._lead: Lead = None
        self._down: list[int | None] = [None] * len(NAMES)  # since which tick
        view.screens = LeadScreens(view.display, self.lead)

    def jobs(self) -> tuple:
        """Return what the loop has to do for it."""
        lead = Job("lead", 0, self.hold_due_us, self.hold)
        if self._sender is None:
            return (lead,)
        return lead, Teller(self._session, self._sender, True).job()

    def lead(self) -> Lead:
        """Return what leads the run that is loaded."""
        runner = self._session.runner
        if self._lead is None or self._lead.runner is not runner:
            self._lead = Lead(runner)
            self._down = [None] * len(NAMES)  # what is still down was of the class before
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
