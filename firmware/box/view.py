"""What is seen of a box: when its screen and its strip are drawn, and when they are written.

Drawing and sending a whole screen takes 40 ms on the chip, so the look of a span is made ready
before its cue: at the cue the strip is written and the screen sent, and nothing is worked out.
"""

import time

from handbell_core.ahead import Ahead
from handbell_core.runner import (
    AGAIN,
    AT_GATE,
    CLOSING,
    FAULT,
    HELD,
    LEAVING,
    NEVER,
    OVER,
    READY,
    SET,
)
from handbell_core.ticks import ticks_add, ticks_diff
from handbell_core.timeline import SLOTS, WINDOW

from .display import TILE
from .lights import BY_KIND, MADE, RESTING, TO_START, TROUBLE, Lights
from .lights import OVER as LIGHTS_OVER
from .loop import IDLE
from .screens import Screens

DRAW_US = 25_000  # a drawing may take this long on the chip
PIECE_US = 5_000  # sending a piece of four tiles
STRIP_US = 2_000  # working out and writing the strip
PIECE_BYTES = 4 * TILE
NAME_MS = 3_000  # how long each bib's exercise is named
AHEAD_US = 150_000  # the next span's look is made ready this long before its cue


class View:
    """The screen, a ``display``, and the light ``strip``: what ``session`` and ``health`` say.

    ``facts`` is what they have told the screens; ``cap`` is the lamps' brightest.
    """

    def __init__(self, display, strip, cap: int, session, health, facts) -> None:
        tick = time.ticks_us()
        self._session = session
        self._health = health
        self.facts = facts
        self.display = display
        self.screens = Screens(self.display)
        self.lights = Lights(strip, cap)
        self._ahead = Ahead()
        self._looked_ms = NEVER  # the cue for which a look ahead was tried
        self.lamps_held = False  # by the self-test
        self._opening = False  # a look made ready is being sent
        self._settled = self._lit = self._sent = True
        self._draw_due = self._lamps_due = tick
        self._instead = None  # a screen shown instead of the run's, until ``_until``
        self._until = tick
        self.on_health = False

    def changed(self) -> None:
        """Something to be seen changed."""
        self._settled = self._lit = False

    def show_instead(self, screen, for_us: int) -> None:
        """Show a screen other than the run's for a while."""
        self._instead = screen
        self._until = ticks_add(time.ticks_us(), for_us)
        self.on_health = False
        self.changed()

    def end_instead(self) -> None:
        """Show the run again."""
        self._instead = None
        self.changed()

    def pressed(self) -> None:
        """A press ends what is shown instead; on the health page the next tap leaves it."""
        self.on_health = self.on_health and self._instead is not None
        self.end_instead()

    def stop(self) -> None:
        """Show that no firmware runs any more; waits until that is sent."""
        self.lights.test(-1, None)
        self.screens.stopped()
        while self.display.update(PIECE_BYTES):
            pass

    # The loop's parts: the strip, which is quick; drawing; looking ahead; sending

    def open(self, cue_ms: int) -> None:
        """The cue at ``cue_ms`` is due: show what was made ready for it."""
        if self._ahead.at_ms != cue_ms:
            return
        self._ahead.at_ms = NEVER
        self.lights.write()
        self._opening = True
        self._sent = False

    def strip_due_us(self, tick: int) -> int:
        """Return in how many microseconds the lamps change."""
        if self.lamps_held or self._opening:
            return IDLE
        return max(0, ticks_diff(self._lamps_due, tick)) if self._lit else 0

    def strip(self, tick: int) -> None:
        """Write the lamps as they are now."""
        self._lit = True
        self._forget_ahead()
        session = self._session
        wait_ms = self._lamps(session.runner, session.clock.ms_of(tick))
        self._lamps_due = ticks_add(tick, min(wait_ms, 1000) * 1000)
        self.lights.write()

    def draw_due_us(self, tick: int) -> int:
        """Return in how many microseconds the screen is to be drawn."""
        if self._opening:
            return IDLE
        wait_us = max(0, ticks_diff(self._draw_due, tick)) if self._settled else 0
        if self._instead is None:
            return wait_us
        return min(wait_us, max(0, ticks_diff(self._until, tick)))

    def draw(self, tick: int) -> None:
        """Draw the screen as it is now; it is sent piece by piece."""
        if self._instead is not None and ticks_diff(tick, self._until) >= 0:
            self.end_instead()
        self._settled = True
        self._forget_ahead()
        self._draw_due = ticks_add(tick, 1_000_000)
        self._draw(tick, self._session.runner)
        self._sent = False

    def _forget_ahead(self) -> None:
        self._ahead.at_ms = NEVER
        self._looked_ms = NEVER

    def ahead_due_us(self, tick: int) -> int:
        """Return in how many microseconds the next span's look is to be made ready."""
        runner = self._session.runner
        if runner is None or self._instead is not None or not self._sent:
            return IDLE
        if not self.screens.looks_ahead:
            return IDLE
        if runner.cue_ms() == self._looked_ms:
            return IDLE
        return max(0, self._session.cue_in_us(tick) - AHEAD_US)

    def look_ahead(self, tick: int) -> None:
        """Draw the next span's look; it stays unsent until its cue."""
        runner = self._session.runner
        self._looked_ms = at_ms = runner.cue_ms()
        ahead = self._ahead
        if not ahead.look(runner):
            return
        self._fill(ahead, at_ms)
        self.screens.show(ahead, at_ms, self.facts)
        self._lamps(ahead, at_ms)

    def send_due_us(self, tick: int) -> int:
        """Return whether (0) something drawn is to be sent."""
        return IDLE if self._sent else 0

    def send(self, tick: int) -> None:
        """Send what was drawn, piece by piece, as long as there is room."""
        room_us = self._session.room_us(tick)
        while not self._sent and room_us >= PIECE_US:
            self._sent = not self.display.update(PIECE_BYTES, room_us)
            room_us = self._session.room_us(time.ticks_us())
        if self._sent:
            self._opening = False

    # Screen

    def _draw(self, tick: int, runner) -> None:
        run_ms = self._session.clock.ms_of(tick)
        if self._instead is not None or runner is None or runner.state == READY:
            self._health.fill_rest(self.facts, tick)
        elif runner.state != FAULT:  # then there is nothing to be read
            self._fill(runner, run_ms)
        if self._instead is not None:
            self._instead(self.facts)
        elif runner is None:
            (self.screens.trouble if self.facts.fault else self.screens.rest)(self.facts)
        else:
            self.screens.show(runner, run_ms, self.facts)
        left_ms = runner.left_ms(run_ms) if runner is not None else 0
        to_next_ms = left_ms % 1000 + 1 if left_ms else 1000
        self._draw_due = ticks_add(tick, to_next_ms * 1000)

    def _fill(self, runner, run_ms: int) -> None:
        """Fill the facts of a run."""
        facts = self.facts
        self._health.fill_run(facts)
        if runner.state in (SET, LEAVING, AT_GATE):
            at_ms = runner.mark_ms(run_ms) if runner.state == AT_GATE else runner.starts_ms
            facts.starts_at = self._health.starts_at(self._session.clock.utc_ms(at_ms))
        span = runner.span
        facts.name = _name(runner, span, runner.left_ms(run_ms))
        facts.take_leg(runner)
        facts.next = runner.text_of(span.next)
        facts.who = runner.text_of(span.who)

    # Light

    def _lamps(self, runner, run_ms: int) -> int:
        """Set the lamps, unwritten, as they are at ``run_ms``; return when they change, in ms."""
        state = runner.state if runner is not None else 0
        kind = left_ms = duration_ms = 0
        look = BY_KIND
        if state == FAULT:
            look = TROUBLE
        elif runner is None or state in (READY, HELD, AGAIN):
            look = TROUBLE if self._health.fault() else RESTING
        elif state in (OVER, CLOSING):
            look = LIGHTS_OVER
        else:
            left_ms = runner.left_ms(run_ms)
            if state in (SET, LEAVING):
                look, duration_ms = TO_START, 30_000
            else:
                kind, duration_ms = runner.kind, runner.span.duration_ms
                if kind == WINDOW and runner.counting.all_made():
                    look = MADE
        return self.lights.set(kind, left_ms, duration_ms, run_ms, look)


def _name(runner, span, left_ms: int) -> bytes:
    """Return what is done; where the bibs do different things, each bib's in turn."""
    names = [(span.bib[slot], span.task(slot)[4]) for slot in range(SLOTS) if span.bib[slot]]
    if span.owns and names:
        bib, name = names[left_ms // NAME_MS % len(names)]
        for _, other in names:
            if other != name:
                return b"%d: %s" % (bib, runner.text_of(name))
        return runner.text_of(name)
    return runner.text_of(span.name)
