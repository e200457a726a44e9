"""Press -> tap -> rep: contact edges into presses, and what a tap means in a window.

Debouncing is built for both kinds of bounce: a burst when the contact closes or opens (Ganssle,
A Guide to Debouncing: 6.2 ms for all but two of 18 types, 157 ms for the worst release) and a
spike that is no press at all.
"""

from .journal import BACK, FORTH, TAP
from .ticks import ticks_diff
from .timeline import (
    ASK_HOLD,
    ASK_TARGET,
    TAP_DROP,
    TAP_EACH,
    TAP_EVERY,
    TAP_FINISH,
    TAP_NONE,
    TAP_TALLY,
)

CLOSED_US = 3_000  # a press has been closed this long without a break
SPIKE_US = 10_000  # a closing that fell open this long before that was a spike
OPEN_US = 25_000  # a release has been open this long without a break
FORGET_US = 1_000_000
APART_US = 100_000  # presses closer than this are bounce (from memory, no source)

NOTHING, PRESS, RELEASE = range(3)
_UP, _CLOSING, _DOWN, _OPENING = range(4)


class Debouncer:
    """Edges of one button in, presses and releases out, each with the tick of its first edge.

    ``feed`` takes edges in order; ``poll`` takes the time when nothing came. Both return NOTHING,
    PRESS or RELEASE and leave that event's tick in ``at``.
    """

    def __init__(self) -> None:
        self._state = _UP
        self._closed = False
        self._since = 0
        self._first = 0
        self._pressed = 0
        self._ever = False
        self._ignored = False
        self._blind = False
        self.at = 0

    def feed(self, tick: int, closed: bool) -> int:
        """Take an edge: the contact is ``closed`` (or open) since ``tick``."""
        event = self.poll(tick)
        if closed == self._closed:
            return event
        self._closed = closed
        self._since = tick
        if self._state == _UP and closed:
            self._state = _CLOSING
            self._first = tick
        elif self._state == _DOWN and not closed:
            self._state = _OPENING
            self._first = tick
            self._blind = False
        return event

    def poll(self, tick: int) -> int:
        """Take the time ``tick``; settles what has been still for long enough."""
        if self._state == _UP or self._state == _DOWN:
            return NOTHING
        still_us = ticks_diff(tick, self._since)
        if self._state == _CLOSING:
            if self._closed and still_us >= CLOSED_US:
                return self._press()
            if not self._closed and still_us >= SPIKE_US:
                self._state = _UP
        elif not self._closed and still_us >= OPEN_US:
            self._state = _UP
            self.at = self._first
            return NOTHING if self._ignored else RELEASE
        elif self._closed and still_us >= OPEN_US:
            return self._closed_again()
        return NOTHING

    def _closed_again(self) -> int:
        """It opened and stays closed: chatter in a hold, or, if part was unseen, a new press."""
        if not self._blind:
            self._state = _DOWN
            return NOTHING
        self.at = self._first
        self._first = self._since
        self._state = _CLOSING
        return NOTHING if self._ignored else RELEASE

    def _press(self) -> int:
        self._state = _DOWN
        self._ignored = self._ever and 0 <= ticks_diff(self._first, self._pressed) < APART_US
        if self._ignored:
            return NOTHING
        self._ever = True
        self._pressed = self._first
        self.at = self._first
        return PRESS

    def wait_us(self, tick: int) -> int:
        """Return in how many microseconds ``poll`` has something to settle, or -1."""
        if self._state == _UP or self._state == _DOWN:
            return -1
        if self._state == _CLOSING:
            need = CLOSED_US if self._closed else SPIKE_US
        else:
            need = OPEN_US
        return max(0, need - ticks_diff(tick, self._since))

    def blind_until(self, tick: int) -> None:
        """No edge could be seen up to ``tick``: what was bouncing was still only since then."""
        if self._state == _CLOSING or self._state == _OPENING:
            self._since = tick
            self._blind = True

    def unseen(self, tick: int, closed: bool) -> bool:
        """Both edges came while none could be seen; ``closed`` is how it stands at ``tick``.

        Return True when a whole press (and release, if open now) is implied: its caller tells it.
        While the contact was bouncing already, both edges say nothing new.
        """
        if self._state == _UP and not closed or self._state == _DOWN and closed:
            self._first = self._since = tick
            self._closed = closed
            whole = self._press() == PRESS
            self._state = _DOWN if closed else _UP
            return whole
        return False

    def forget_last(self, tick: int) -> None:
        """Drop the memory of a last press that is a second old; call every minute (ticks wrap)."""
        if ticks_diff(tick, self._pressed) > FORGET_US:
            self._ever = False


class SlotCount:
    """What one bib's taps add up to in one window.

    The same rules count on the box and, later, from the journal: ``reps``, ``made_ms`` (the
    ``class_ms`` at which the target or goal was reached, -1 if it was not or nobody can know) and,
    for a hold, ``drop_ms``.
    """

    def __init__(self) -> None:
        self.begin(0, 0, TAP_NONE, 1, 0)

    def begin(self, bib: int, ask: int, tap: int, every: int, goal: int) -> None:
        """Start a window for ``bib`` (0: nobody)."""
        self.bib = bib
        self.ask = ask
        self.tap_rule = tap
        self.every = every if tap == TAP_EVERY else 1
        self.goal = goal
        self.taps = 0
        self.made_ms = -1
        self.drop_ms = -1
        self.confirmed = False
        self.skipped = False
        self._undone = (0, -1, -1)

    @property
    def asked(self) -> bool:
        """Whether this bib is to tap in this window at all."""
        return self.bib != 0 and self.tap_rule != TAP_NONE

    @property
    def reps(self) -> int:
        """The reps the taps stand for; a target stops at its goal."""
        if self.tap_rule == TAP_FINISH:
            return self.goal if self.taps else 0
        if self.tap_rule == TAP_DROP:
            return 0
        reps = self.taps * self.every
        return min(reps, self.goal) if self.ask == ASK_TARGET else reps

    @property
    def made(self) -> bool:
        """Whether the target or goal was reached, or the position kept to the end."""
        if self.ask == ASK_HOLD:
            return self.drop_ms < 0
        return self.goal > 0 and self.reps >= self.goal

    @property
    def full(self) -> bool:
        """Whether another tap would add nothing."""
        if self.tap_rule == TAP_DROP:
            return self.drop_ms >= 0
        if self.tap_rule == TAP_FINISH:
            return self.taps > 0
        return self.ask == ASK_TARGET and self.tap_rule != TAP_TALLY and self.made

    def tap(self, class_ms: int) -> bool:
        """Count a tap; return False when it adds nothing."""
        if self.tap_rule == TAP_TALLY:
            self.taps += 1
            self.confirmed = False
            return True
        if self.full or self.skipped:
            return False
        self.taps += 1
        if self.tap_rule == TAP_DROP:
            self.drop_ms = class_ms
        elif self.made and self.made_ms < 0:
            self.made_ms = class_ms
        return True

    def back(self) -> bool:
        """Take the last tap back; return False when there is none."""
        if not self.taps or self.skipped:
            return False
        self._undone = (self.taps, self.made_ms, self.drop_ms)
        self.taps -= 1
        self.drop_ms = -1
        if not self.made:
            self.made_ms = -1
        return True

    def forth(self) -> None:
        """Withdraw the take-back just made."""
        self.taps, self.made_ms, self.drop_ms = self._undone

    def confirm(self) -> None:
        """Close a tally; a tap after that opens it again."""
        self.confirmed = True

    def replay(self, kind: int, class_ms: int) -> bool:
        """Take a press as a journal's record of type ``kind`` tells it; False if it adds nothing.

        A tap outside of its window is not to be given.
        """
        if kind == TAP:
            return self.tap(class_ms)
        if kind == BACK:
            return self.back()
        if kind == FORTH:
            self.forth()
        else:
            self.confirm()
        return True

    def to_do(self) -> int:
        """Return the reps still to do, 0 when made or without a goal."""
        return max(0, self.goal - self.reps)


def is_counted_live(tap: int) -> bool:
    """Whether a way of tapping counts during the window itself."""
    return tap in (TAP_EACH, TAP_EVERY, TAP_FINISH, TAP_DROP)
