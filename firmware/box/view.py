"""What is seen of a box: when its screen and its strip are drawn, and when they are written.

Drawing and sending a whole screen takes 40 ms on the chip, so the look of a span is made ready
before its cue: at the cue the strip is written and the screen sent, and nothing is worked out.
"""

import time

from handbell_core.ahead import Ahead
from handbell_core.runner import AGAIN, CLOSING, FAULT, HELD, LEAVING, NEVER, OVER, READY, SET
from handbell_core.ticks import ticks_add, ticks_diff
from handbell_core.timeline import SLOTS, WINDOW

from .display import TILE, Display
from .lights import BY_KIND, MADE, RESTING, TO_START, TROUBLE, Lights
from .lights import OVER as LIGHTS_OVER
from .screens import Facts, Screens

DRAW_US = 25_000  # a drawing may take this long on the chip
PIECE_US = 5_000  # sending a piece of four tiles, or writing the strip
PIECE_BYTES = 4 * TILE
NAME_MS = 3_000  # how long each bib's exercise is named
AHEAD_US = 150_000  # the next span's look is made ready this long before its cue


class View:
    """The screen, on ``bus``, and the light strip of a box; ``app`` tells what there is to see."""

    def __init__(self, app, bus) -> None:
        tick = time.ticks_us()
        self._app = app
        self.display = Display(bus)
        self.screens = Screens(self.display)
        self.lights = Lights(app.board.strip(), app.board.LAMP_CAP)
        self.facts = Facts()
        self._ahead = Ahead()
        self._looked_ms = NEVER  # the cue for which a look ahead was tried
        self.lamps_held = False  # by the self-test
        self._opening = False  # a look made ready is being sent
        self._settled = self._sent = True
        self._draw_due = self._lamps_due = tick
        self._instead = None  # a screen shown instead of the run's, until ``_until``
        self._until = tick
        self.on_health = False

    def changed(self) -> None:
        """Something to be seen changed."""
        self._settled = False

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

    # The loop's part

    def open(self, cue_ms: int) -> None:
        """The cue at ``cue_ms`` is due: show what was made ready for it."""
        if self._ahead.at_ms != cue_ms:
            return
        self._ahead.at_ms = NEVER
        self.lights.write()
        self._opening = True
        self._sent = False

    def show(self, tick: int, runner) -> None:
        """Draw and write what has changed, as far as nothing more urgent is near."""
        app = self._app
        if self._instead is not None and ticks_diff(tick, self._until) >= 0:
            self.end_instead()
        if app.free_us(tick) < PIECE_US:
            return  # nothing slow when a cue is due
        if not self._opening:
            self._refresh(tick, runner)
        while not self._sent and app.free_us(time.ticks_us()) >= PIECE_US:
            self._sent = not self.display.update(PIECE_BYTES)
            if app.buttons.pending():
                return
        if self._sent:
            self._opening = False

    def _refresh(self, tick: int, runner) -> None:
        # The strip is quick and comes first.
        if not self.lamps_held and (not self._settled or ticks_diff(tick, self._lamps_due) >= 0):
            self._ahead.at_ms = NEVER
            self._looked_ms = NEVER
            self._light(tick, runner)
            self.lights.write()
        stale = not self._settled or ticks_diff(tick, self._draw_due) >= 0
        free_us = self._app.free_us(time.ticks_us())
        if free_us <= DRAW_US:
            return
        if stale:
            self._settled = True
            self._ahead.at_ms = NEVER
            self._looked_ms = NEVER
            self._draw(tick, runner)
            self._sent = False
        elif self._sent and runner is not None and self._instead is None:
            if self._app.cue_in_us(tick) <= AHEAD_US and runner.cue_ms() != self._looked_ms:
                self._look_ahead(runner)

    def _look_ahead(self, runner) -> None:
        """Draw the next span's look; it stays unsent until its cue."""
        self._looked_ms = at_ms = runner.cue_ms()
        ahead = self._ahead
        if not ahead.look(runner):
            return
        self._fill(ahead, ahead.left_ms(at_ms))
        self.screens.show(ahead, at_ms, self.facts)
        self._lamps(ahead, at_ms)

    def wait_us(self, tick: int, most_us: int) -> int:
        """Return in how many microseconds there is something to draw or to write, 0 for now."""
        app = self._app
        free_us = app.free_us(tick)
        if free_us < PIECE_US:
            return most_us  # what is due lets a cue or a motif's step pass, which ends the wait
        if not self._sent:
            return 0
        wait_us = most_us
        if not self.lamps_held:
            wait_us = min(wait_us, max(0, ticks_diff(self._lamps_due, tick)))
        if free_us <= DRAW_US:
            return wait_us
        if not self._settled:
            return 0
        wait_us = min(wait_us, max(0, ticks_diff(self._draw_due, tick)))
        runner = app.runner
        if runner is not None and runner.cue_ms() != self._looked_ms and self._instead is None:
            wait_us = min(wait_us, max(0, app.cue_in_us(tick) - AHEAD_US))
        return wait_us

    # Screen

    def _draw(self, tick: int, runner) -> None:
        run_ms = self._app.clock.ms_of(tick)
        if self._instead is not None or runner is None or runner.state == READY:
            self._fill_rest(tick)
        elif runner.state != FAULT:  # then there is nothing to be read
            self._fill(runner, runner.left_ms(run_ms))
        if self._instead is not None:
            self._instead(self.facts)
        elif runner is None:
            (self.screens.trouble if self.facts.fault else self.screens.rest)(self.facts)
        else:
            self.screens.show(runner, run_ms, self.facts)
        left_ms = runner.left_ms(run_ms) if runner is not None else 0
        to_next_ms = left_ms % 1000 + 1 if left_ms else 1000
        self._draw_due = ticks_add(tick, to_next_ms * 1000)

    def _fill(self, runner, left_ms: int) -> None:
        """Fill the facts of a run."""
        facts = self.facts
        app = self._app
        facts.battery_low = app.power.low
        facts.fault = app.fault or app.log.fault
        if runner.state in (SET, LEAVING):
            utc_ms = app.clock.utc_ms(runner.starts_ms)
            facts.starts_at = b"" if utc_ms < 0 else _wall(utc_ms // 1000 + app.keeper.tz_s)
        span = runner.span
        facts.name = _name(runner, span, left_ms)
        facts.next = runner.text_of(span.next)
        facts.who = runner.text_of(span.who)

    def _fill_rest(self, tick: int) -> None:
        """Fill the facts of a box that rests."""
        facts = self.facts
        app = self._app
        keeper = app.keeper
        facts.clock_ok = app.clock.model is not None
        facts.battery_mv = app.power.mv
        facts.battery_low = app.power.low
        facts.on_usb = app.power.usb
        facts.linked = app.link.linked(tick)
        facts.fault = app.fault or app.log.fault
        facts.loaded = app.runner is not None
        facts.journals = len(app.storage.runs())
        facts.free_kb = app.storage.free_kb()
        if keeper.model is not None:
            facts.clock_age_s = keeper.age_s()
            facts.clock_error_ms = keeper.error_us() // 1000

    # Light

    def _light(self, tick: int, runner) -> None:
        wait_ms = self._lamps(runner, self._app.clock.ms_of(tick))
        self._lamps_due = ticks_add(tick, min(wait_ms, 1000) * 1000)

    def _lamps(self, runner, run_ms: int) -> int:
        """Set the lamps, unwritten, as they are at ``run_ms``; return when they change, in ms."""
        state = runner.state if runner is not None else 0
        kind = left_ms = duration_ms = 0
        look = BY_KIND
        if state == FAULT:
            look = TROUBLE
        elif runner is None or state in (READY, HELD, AGAIN):
            look = TROUBLE if self._app.fault else RESTING
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


def _wall(utc_s: int) -> bytes:
    day_s = utc_s % 86_400
    return b"%02d:%02d:%02d" % (day_s // 3600, day_s // 60 % 60, day_s % 60)
