"""A remote: what its buttons do to the whole class; ``slots`` says when it tells of it.

It plays the class itself, on a runner that heeds its own acts, so it knows where the class is. A
press pauses; anything else is a hold, and a stop is asked for once more. A hold means what it would
have as it began: nothing comes of one that the class has overtaken.
"""

from . import journal as j
from .acts import LEAD_MS, gate_after, go_on, next_block
from .agreement import OVER as CLASS_OVER
from .agreement import RUNS, STANDS, Act
from .states import ASKING, AT_GATE, LEAVING, NEVER, PLAY, SET, TALLY, on, row_of

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .led import Led
    from .states import Table

PAUSE, GO_ON, NEXT, STOP = range(4)  # the buttons, from the left
SAY_MS = 450  # from a word to its instant, so that a first telegram has ended by then
LATER_MS = 30_000
SURE_MS = 5_000  # so long a word that is asked for once more may be confirmed
AFRESH = 16  # numbers that the first word after each power failure passes over: said, and not kept

# What the class is doing, as the buttons see it.
NONE, BEFORE, COMING, RUNNING, STANDING, READYING, RATING = range(7)
_ANY = on(BEFORE, COMING, RUNNING, STANDING, READYING, RATING)
LEADS: "Table" = (
    on(BEFORE, COMING, RUNNING, READYING), "press pause", 0, "pause",
    on(BEFORE, STANDING), "hold go on", 0, "go on",
    on(COMING), "hold next", 0, "later",
    on(RUNNING, STANDING, READYING), "hold next", 0, "next block",
    _ANY, "hold stop", 0, "stop",
)  # fmt: skip
NAMES = ("pause", "go on", "next", "stop")


class Lead:
    """The word of a remote; ``runner`` plays the class that it leads."""

    def __init__(self, runner: "Led") -> None:
        self.runner = runner
        self._afresh = 0  # numbers that its next word passes over
        # The button of which a second hold confirms what it says, and when it was held first.
        self._asked = STOP
        self._asked_ms = -NEVER
        # What the class did as each button went down, and where it was; None: it is not down.
        self._began: "list[tuple[int, int] | None]" = [None] * len(NAMES)

    @property
    def situation(self) -> int:
        """What the class is doing."""
        runner = self.runner
        state = runner.state
        if not runner.heeds:
            return NONE
        if state in (SET, LEAVING):
            return READYING if runner.begun else COMING
        if state == AT_GATE:
            return STANDING if runner.begun else BEFORE
        if state in (PLAY, TALLY):
            return RUNNING
        return RATING if state == ASKING else NONE

    def asks(self, run_ms: int) -> int:
        """Return the button of which it asks for a second hold, -1 when for none."""
        return self._asked if run_ms - self._asked_ms < SURE_MS else -1

    def begin(self, run_ms: int) -> None:
        """Say what the host has set: from then on who has no clock can follow too."""
        runner = self.runner
        if runner.state == SET:
            self._say(RUNS, 0, runner.starts_ms, run_ms)
        else:
            self._say(STANDS, 0, run_ms, run_ms)

    @property
    def unsure(self) -> bool:
        """Whether boxes may have heard of more than is known here, until the next word."""
        return self._afresh > 0

    def restate(self, run_ms: int) -> None:
        """Tell the last act that is known, after a power failure, by its own number.

        Who heard a newer one keeps to that; only a hand's next word outnumbers it. What lets the
        class run is not told: who has not heard it stands, and would have no time to be ready.
        """
        runner = self.runner
        agreement = runner.agreement
        self._afresh = AFRESH * max(1, runner.cuts)  # other ones than at the failure before
        if agreement.newest.number:  # said, and not in force as the power failed
            return
        number = agreement.number = max(1, agreement.number)  # 1: what the host has set
        what = self.situation
        if what == COMING:
            agreement.now = Act(number, RUNS, 0, runner.starts_ms)
        elif what == RUNNING:
            agreement.number = number + 1
        elif what in (BEFORE, STANDING):
            class_ms = runner.class_ms(run_ms) if runner.begun else 0
            agreement.now = Act(number, STANDS, class_ms, run_ms)

    def press(self, button: int, run_ms: int) -> bool:
        """A button went down; return whether an act came of it."""
        self._began[button] = self.situation, self.runner.class_ms(run_ms)
        return self._take("press ", button, run_ms)

    def hold(self, button: int, run_ms: int) -> bool:
        """A button has been held; return whether an act came of it."""
        began, self._began[button] = self._began[button], None
        if button != STOP and began is not None and self._overtook(began, button, run_ms):
            return False
        return self._take("hold ", button, run_ms)

    def _overtook(self, began: "tuple[int, int]", button: int, run_ms: int) -> bool:
        """Whether the class has come to do something else since a hold began, or a block begun."""
        runner = self.runner
        what, class_ms = began
        if what != self.situation:
            return True
        if button != NEXT or not runner.begun:
            return False
        onward = next_block(runner.timeline, class_ms)
        return onward is not None and onward.class_ms <= runner.class_ms(run_ms)

    def _take(self, how: str, button: int, run_ms: int) -> bool:
        at = row_of(LEADS, self.situation, how + NAMES[button])
        if at < 0:
            return False
        # Boxes may have gone on alone from where it stands, and going back there takes from them.
        astray = self.unsure and self.situation == STANDING
        if (button == STOP or astray) and self.asks(run_ms) != button:
            self._asked, self._asked_ms = button, run_ms
            return False
        did = _DOES[LEADS[at + 3]](self, run_ms)
        if did:
            self._asked_ms = -NEVER
        return did

    # What each does; False when nothing comes of it. Raises what reading the timeline raises.

    def _pause(self, run_ms: int) -> bool:
        runner = self.runner
        at_ms = run_ms + SAY_MS
        class_ms = runner.class_ms(run_ms)
        if self.situation == RUNNING:
            class_ms = min(runner.class_ms(at_ms), gate_after(runner.timeline, class_ms))
        elif not runner.begun:
            class_ms = 0
        else:
            coming = self._coming
            if coming is not None and coming.at_ms < at_ms:  # it runs on from there first
                gate_ms = gate_after(runner.timeline, coming.class_ms)
                class_ms = min(coming.class_ms_at(at_ms), gate_ms)
        return self._say(STANDS, class_ms, at_ms, run_ms)

    def _go_on(self, run_ms: int) -> bool:
        runner = self.runner
        class_ms = runner.class_ms(run_ms) if runner.begun else 0
        onward = go_on(runner.timeline, class_ms)
        if onward is None:
            return False
        in_ms = onward.in_ms if runner.begun else LEAD_MS
        return self._say(RUNS, onward.class_ms, run_ms + in_ms, run_ms)

    @property
    def _coming(self) -> "Act | None":
        """The word by which a class that stands goes on, while it gets ready for it."""
        return self.runner.agreement.next if self.situation == READYING else None

    def _later(self, run_ms: int) -> bool:
        return self._say(RUNS, 0, self.runner.starts_ms + LATER_MS, run_ms)

    def _next_block(self, run_ms: int) -> bool:
        runner = self.runner
        coming = self._coming
        class_ms = runner.class_ms(run_ms) if coming is None else coming.class_ms
        onward = next_block(runner.timeline, class_ms)
        if onward is None:
            return False
        return self._say(RUNS, onward.class_ms, run_ms + onward.in_ms, run_ms)

    def _stop(self, run_ms: int) -> bool:
        runner = self.runner
        # Where boxes may be elsewhere it takes nothing back.
        class_ms = runner.head.slot_ms if self.unsure else max(0, runner.class_ms(run_ms))
        return self._say(CLASS_OVER, class_ms, run_ms + SAY_MS, run_ms)

    def _say(self, what: int, class_ms: int, at_ms: int, run_ms: int) -> bool:
        runner = self.runner
        act = Act(runner.agreement.number + self._afresh + 1, what, class_ms, at_ms)
        if not runner.hear(act, run_ms):
            return False
        self._afresh = 0
        utc_ms = runner.clock.stamp_ms(at_ms)
        runner.sink.keep(j.said_record(act.number, what, class_ms, utc_ms))
        return True


_DOES = {
    "pause": Lead._pause,
    "go on": Lead._go_on,
    "later": Lead._later,
    "next block": Lead._next_block,
    "stop": Lead._stop,
}
