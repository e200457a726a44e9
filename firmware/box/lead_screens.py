"""The screens of a remote: how far the class is, what is left, when it will be over."""

from handbell_core.lead import BEFORE, COMING, NEXT, RATING, READYING, RUNNING, STANDING, STOP
from handbell_core.timeline import KINDS

from .display import WIDTH
from .font import digits, digits_height, digits_width, fit, text
from .layout import LINES, as_bytes, clock, seconds
from .screens import Screens, so_far

_DOES = {
    BEFORE: b"Hold 2: start",
    COMING: b"Hold 3: later",
    RUNNING: b"Press 1: pause",
    STANDING: b"Hold 2: go on",
    READYING: b"Press 1: stay",
    RATING: b"Hold 4: stop",
}
_WORDS = {BEFORE: b"Not begun", COMING: b"Starts in", STANDING: b"Paused", READYING: b"Goes on in"}


class LeadScreens(Screens):
    """Draws what a remote shows in a class; at rest it shows what a box does.

    ``lead()`` returns what leads the run that is loaded.
    """

    looks_ahead = False

    def __init__(self, display, lead):
        super().__init__(display)
        self._lead = lead

    def show(self, runner, run_ms, facts):
        """Draw the screen of a class at ``run_ms``."""
        lead = self._lead()
        if lead.runner is not runner or lead.situation not in _DOES:
            super().show(runner, run_ms, facts)
            return
        canvas = self._canvas
        canvas.fill(0)
        asked = lead.asks(run_ms)
        if asked == STOP:
            text(canvas, 0, 2, b"Stop?", 2)
            text(canvas, 0, 27, b"Hold 4 again: all stop")
            text(canvas, 0, LINES[1], b"Else: the class goes on")
        elif asked >= 0:  # boxes may have gone on alone, and would go back
            text(canvas, 0, 2, b"All there?", 2)
            again = b"Hold 3 again: next block" if asked == NEXT else b"Hold 2 again: go on"
            text(canvas, 0, 27, again)
            text(canvas, 0, LINES[1], so_far(runner))
        else:
            self._class(lead, runner, run_ms, facts)
        self._display.drawn()

    def _class(self, lead, runner, run_ms, facts):
        canvas, what = self._canvas, lead.situation
        word = _WORDS.get(what) or facts.name or as_bytes(KINDS[runner.kind])
        self._pair(0, WIDTH, 0, word, so_far(runner))
        left_ms = runner.left_ms(run_ms)
        if what == STANDING:
            left_ms = max(0, runner.span.end_ms() - runner.gate_class_ms)
        left = clock(seconds(left_ms))
        height = digits_height(left, WIDTH, 28)
        digits(canvas, (WIDTH - digits_width(height, left)) // 2, 11, height, left)
        said = b"Boxes may be elsewhere" if lead.unsure else _end(runner, run_ms, facts)
        text(canvas, 0, LINES[0], fit(said, WIDTH))
        text(canvas, 0, LINES[1], _DOES[what])


def _end(runner, run_ms, facts):
    """Return when the class will be over if it runs on from now."""
    left_ms = runner.head.slot_ms - (max(0, runner.class_ms(run_ms)) if runner.begun else 0)
    if left_ms <= 0:
        return facts.title
    return facts.title + b", " + as_bytes(clock(seconds(left_ms))) + b" left"
