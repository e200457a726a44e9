"""What a box must do in a class, worked out from docs/ alone: one course of one timeline.

Times are the box's run time in ms. ``press``, ``release``, ``arm`` and ``disarm`` are told in
order of time; ``to`` lets time pass. Where the manual leaves a case open, ``wanted.unclear_ms``
says since when nothing more is claimed.
"""

from __future__ import annotations

from oracle_cues import cues_of, heads_up_ms
from oracle_gestures import Gestures
from oracle_state import (
    AGAIN_MS,
    CLOSES_MS,
    DOOR,
    DOOR_WAITS_MS,
    HOLD_KNOWN_MS,
    HOLD_MS,
    LONG_KNOWN_MS,
    LONG_MS,
    PAGE_WAITS_MS,
    PRESS_KNOWN_MS,
    UNSETTLED_MS,
    Press,
    Wanted,
)
from oracle_taps import Count, Relay

from handbell_core.cues import AWAIT, CLOSE, NEAR
from handbell_core.timeline import GATE, HAND_OVER, RATING, TAKES_TALLY, TAP_TALLY, WINDOW

NEVER_MS = 1 << 40
LEAST_MS = 5_000
AT_REST = ("ready", "held", "again")


class Oracle(Gestures):
    """The course of one timeline on one box; ``base_utc_ms`` is None for a lost clock."""

    def __init__(self, spans, grid_s: int, count_s: int, base_utc_ms: int | None) -> None:
        self.spans = spans
        self.grid_ms = grid_s * 1000
        self.count_s = count_s
        self.base_utc_ms = base_utc_ms
        self.wanted = Wanted()
        self.state = "ready"
        self.index = -1
        self.zero_ms = self.start_ms = self.rating_over_ms = 0
        self.stand_ms = 0  # class_ms at a gate
        self.by_hand = self.waiting = False
        self.ready_ms = -NEVER_MS  # since when the box rests
        self.again_over_ms = -NEVER_MS
        self.moved_ms = -NEVER_MS  # when a start was last set or moved by hand
        self.chosen_ms = self.last_up_ms = self.timed_out_ms = -NEVER_MS
        self.window = 0
        self.counts: dict[tuple[int, int], Count] = {}
        self.relays: dict[int, Relay] = {}  # by window
        self.handed_up_ms = -NEVER_MS  # when a button of a relay last came up
        self.down: dict[int, Press] = {}
        self.page = None
        self.ratings: dict[int, int] = {}
        self.disturbed = False  # reads fail just now, since ``disturbed_ms``
        self.disturbed_ms = self.entered_ms = self.closes_ms = self.known_ms = 0

    # What happens by itself

    def to(self, until_ms: int) -> None:
        """Let time pass up to ``until_ms``."""
        while True:
            at_ms, what = min(self._timers(), key=lambda timer: timer[0])
            if at_ms > until_ms or self.state == "over":
                return
            what(at_ms)

    def _timers(self):
        yield NEVER_MS, self._never
        if self.page:
            yield self.page.closes_ms, self.close_page
        if self.state == "again":
            yield self.again_over_ms, self._again_over
        elif self.state in ("set", "leaving"):
            yield self.start_ms, self._go_on
        elif self.state in ("play", "tally"):
            yield self.zero_ms + self.spans[self.index].end_ms(), self._span_over
        elif self.state == "asking":
            yield self.rating_over_ms, self._rating_over
        elif self.state == "closing" and not self._awaited():
            yield max(self.closes_ms, self.known_ms), self._close
        for press in list(self.down.values()):
            if not press.known:
                yield press.at_ms + HOLD_KNOWN_MS, lambda ms, p=press: self._hold_known(p, ms)
            elif not press.known_long:
                yield press.at_ms + LONG_KNOWN_MS, lambda ms, p=press: self._long_known(p, ms)

    def _again_over(self, ms: int) -> None:
        """Nobody held again in time; a press that is under way may still be a hold."""
        for press in self.down.values():
            if press.state == "again" and not press.known:
                self.again_over_ms = press.at_ms + PAGE_WAITS_MS
                return
        self.rest(ms)

    def _never(self, _: int) -> None:
        raise AssertionError("time ran out")

    def _hold_known(self, press: Press, ms: int) -> None:
        press.known = True
        self.known_ms = ms
        self.hold(press, ms)

    def _long_known(self, press: Press, ms: int) -> None:
        press.known_long = True
        self.long_hold(press, ms)

    def _go_on(self, ms: int) -> None:
        """A start or the end of a gate has come."""
        self._chosen_just_before(ms)
        if self.page and self.page.kind == DOOR and ms - self.last_up_ms < UNSETTLED_MS:
            self.leave_open(ms, "a long hold let go just before the class goes on")
        self.down.clear()  # who pressed before it meant no window
        first = 0 if self.state == "set" else self.index + 1
        self.zero_ms = ms - self.spans[first].start_ms
        self.wanted.starts.append((ms, self.spans[first].start_ms))
        self._enter(first, ms)

    def _chosen_just_before(self, ms: int) -> None:
        if ms - self.chosen_ms < UNSETTLED_MS:
            self.leave_open(self.chosen_ms, "a choice in the last moment of a span")

    def _enter(self, index: int, ms: int) -> None:
        span = self.spans[index]
        self._chosen_just_before(ms)
        self.index = index
        self.entered_ms = ms
        self.wanted.bells += [
            (ms + at, cue) for at, cue in sorted(cues_of(span, self.count_s).items())
        ]
        if span.kind == GATE:
            self.stand_ms = span.start_ms
            self.be("gate", ms)
        elif span.kind == RATING:
            self.rating_over_ms = ms + span.duration_ms
            self.page_is(None, ms)
            self.be("asking", ms)
        else:
            if span.kind == WINDOW:
                self.window = span.window
                if span.flags & HAND_OVER:
                    people = [leg.bib for leg in span.cycle[: span.cycle[0].people]]
                    relay = self.relays[self.window] = Relay(people, span.start_ms)
                    for place, count in enumerate(relay.counts):
                        self.counts[self.window, place] = count
                for slot in range(0 if span.flags & HAND_OVER else 4):
                    ask, rule, every, goal, _ = span.task(slot)
                    count = Count(span.bib[slot], ask, rule, every, goal, span.start_ms)
                    self.counts[self.window, slot] = count
            self.be("tally" if span.flags & TAKES_TALLY else "play", ms)

    def _span_over(self, ms: int) -> None:
        after = self.index + 1
        follows = self.spans[after].kind if after < len(self.spans) else RATING
        if self.waiting and follows != GATE:
            self.waiting = False
            self.stand_ms = ms - self.zero_ms
            self.wanted.bells.append((ms, AWAIT))
            self.be("gate", ms)
            return
        self.waiting = False
        if follows == RATING:
            self.wanted.bells.append((ms, CLOSE))
        if after < len(self.spans):
            self._enter(after, ms)
        else:
            self._class_over(ms)

    def _rating_over(self, ms: int) -> None:
        if ms - self.last_up_ms < UNSETTLED_MS:
            self.leave_open(ms, "an answer in the last moment")
        self._class_over(ms)

    def _class_over(self, ms: int) -> None:
        self._chosen_just_before(ms)
        self.page_is(None, ms)
        self.wanted.ended_class_ms = ms - self.zero_ms
        self.closes_ms = ms + CLOSES_MS
        self.be("closing", ms)

    def _awaited(self) -> bool:
        """A press begun in the class has neither ended nor become a hold."""
        return any(p.state != "closing" and not p.known for p in self.down.values())

    def _close(self, ms: int) -> None:
        self.wanted.ended = ("time", ms)
        self.be("over", ms)

    # What a host does

    def arm(self, start_ms: int, ms: int) -> None:
        """A host sets the start."""
        self.to(ms)
        if self.state in AT_REST:
            self.set_start(start_ms, ms, by_hand=False)

    def disarm(self, ms: int) -> None:
        """A host takes the start back."""
        self.to(ms)
        if self.state == "set":
            self.end_now("host", ms)

    # What people do

    def press(self, slot: int, ms: int) -> None:
        """A button goes down."""
        self.to(ms)
        window = self.window if self.state not in (*AT_REST, "set") else 0
        page = self.page if self.page and self.page.slot == slot else None
        if (page and page.closes_ms - ms < PRESS_KNOWN_MS) or ms - self.timed_out_ms < UNSETTLED_MS:
            self.leave_open(ms, "a press in a page's last moment")
        first_ms = self.again_over_ms - AGAIN_MS  # when the first hold was let go, or later
        turned_ms = (first_ms, self.again_over_ms, self.ready_ms)
        if any(-PRESS_KNOWN_MS < ms - at_ms < UNSETTLED_MS for at_ms in turned_ms):
            self.leave_open(ms, "a press as the wait for a second hold begins or ends")
        at_gate = self.state in ("gate", "leaving")
        if self.disturbed and self.entered_ms >= self.disturbed_ms:
            self.leave_open(ms, "a press in a span that can't be read yet")
        class_ms = self.stand_ms if at_gate else ms - self.zero_ms
        self.down[slot] = Press(slot, ms, self.state, self.index, window, class_ms, page)

    def release(self, slot: int, ms: int) -> None:
        """A button comes up."""
        self.to(ms)
        press = self.down.pop(slot, None)
        if press is None:
            return
        self.last_up_ms = self.known_ms = ms
        held_ms = ms - press.at_ms
        if not press.known:
            press.known = True
            if held_ms < HOLD_MS:
                self.tap(press, ms)
            else:
                self.hold(press, ms)
                self.eased(press, ms)
        elif held_ms >= LONG_MS and not press.known_long:
            self.chosen_ms = ms  # it may be known at 5.03 s only
            self.long_hold(press, ms)
        elif not press.known_long:
            self.eased(press, ms)
        if self.page and self.page.kind == DOOR and self.page.opened_by is press:
            if self.page.closes_ms - ms < UNSETTLED_MS:
                self.leave_open(ms, "a long hold let go in its question's last moment")
            self.page.closes_ms = ms + DOOR_WAITS_MS
        if press.is_first and self.state == "held":
            self.again_over_ms = ms + AGAIN_MS
            self.be("again", ms)

    # Small things

    def be(self, state: str, ms: int) -> None:
        """Take on a state."""
        self.state = state
        self.wanted.states.append((ms, state))

    def rest(self, ms: int) -> None:
        """A start by hand was not gone on with."""
        self.ready_ms = ms
        self.be("ready", ms)

    def leave_open(self, ms: int, why: str) -> None:
        """Claim nothing from now on: the manual doesn't say."""
        if ms < self.wanted.unclear_ms:
            self.wanted.unclear_ms, self.wanted.unclear = ms, why

    def silence_after(self, ms: int) -> None:
        """Take back the cues that were to come."""
        self.wanted.bells = [bell for bell in self.wanted.bells if bell[0] <= ms]

    def set_start(self, start_ms: int, ms: int, by_hand: bool, state: str = "set") -> None:
        """Set or move the class's start, or a gate's end."""
        self._chosen_just_before(ms)
        self.silence_after(ms)
        self.start_ms, self.by_hand = start_ms, by_hand
        if heads_up_ms(start_ms) >= ms:
            self.wanted.bells.append((heads_up_ms(start_ms), NEAR))
        if self.state != state:
            self.be(state, ms)

    def hand_start_ms(self, ms: int) -> int:
        """Return when a hand start that is known at ``ms`` takes effect."""
        if self.base_utc_ms is None:
            return ms + LEAST_MS
        utc_ms = self.base_utc_ms + ms + LEAST_MS
        return -(-utc_ms // self.grid_ms) * self.grid_ms - self.base_utc_ms

    def step_ms(self) -> int:
        """Return by how much a second hold moves a start."""
        return LEAST_MS if self.base_utc_ms is None else self.grid_ms

    def end_now(self, cause: str, ms: int) -> None:
        """End the class by somebody's word."""
        self.silence_after(ms - 1)
        self.page_is(None, ms)
        self.wanted.ended = (cause, ms)
        standing = self.state in ("gate", "leaving")
        if self.index >= 0:
            self.wanted.ended_class_ms = self.stand_ms if standing else ms - self.zero_ms
        self.be("over", ms)

    def counts_live(self, press: Press) -> bool:
        """Whether a tap begun there is counted: in its window, or where its tally is entered."""
        if press.window in self.relays:
            return press.state == "play" and self.spans[press.index].kind == WINDOW
        count = self.counts.get((press.window, press.slot))
        if count is None or not count.asked:
            return False
        if count.rule == TAP_TALLY:
            return press.state == "tally"
        return press.state == "play" and self.spans[press.index].kind == WINDOW
