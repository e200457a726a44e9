"""What a run will show at its next span, before that span begins.

A box draws it ahead of the cue, so that at the cue it has only to be sent. It has the attributes
of a runner that screens and lights read.
"""

from .counting import Counting
from .runner import ASKING, AT_GATE, NEVER, PLAY, TALLY, Runner
from .timeline import GATE, RATING, SLOTS, TAKES_TALLY, WINDOW

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .timeline import Span


class Ahead:
    """A runner as it will be at ``at_ms``; true after ``look`` has returned True."""

    menu = -1
    waiting = False
    by_hand = False
    owed = ()
    starts_ms = NEVER
    begun = True

    def __init__(self) -> None:
        self.at_ms = NEVER
        self.state = PLAY
        self.kind = 0
        self.rating = [-1] * SLOTS
        self.counting = Counting(_nobody)

    def look(self, runner: Runner) -> bool:
        """Look at what ``runner`` will be at its next cue; False when that begins no span."""
        at_ms = runner.cue_ms()
        span = runner.next_span(at_ms)
        self.at_ms = NEVER
        if span is None:
            return False
        self.head = runner.head
        self.span: "Span" = span
        self.down = runner.down
        self.shown = runner.shown
        self.text_of = runner.text_of
        self.leg_of = runner.leg_of
        self.mark_ms = runner.mark_ms
        self.for_mark_ms = runner.for_mark_ms
        self.heeds = runner.heeds
        self.gate_class_ms = span.start_ms
        self.kind = kind = span.kind
        counting = self.counting
        told = runner.counting
        counting.before = told.now if runner.kind == WINDOW else told.before
        counting.legs_before = told.legs if runner.kind == WINDOW else told.legs_before
        self.state = PLAY
        if kind == GATE:
            self.state = AT_GATE
        elif kind == RATING:
            self.state = ASKING
        elif span.flags & TAKES_TALLY:
            self.state = TALLY
        elif kind == WINDOW:
            counting.begin(span)
        self.at_ms = at_ms
        return True

    def left_ms(self, run_ms: int) -> int:
        """Return what is left of that span at its beginning."""
        return 0 if self.state == AT_GATE else self.span.duration_ms


def _nobody(record: bytes) -> None:
    """A look ahead tells the journal nothing."""
