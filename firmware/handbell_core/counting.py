"""Whose taps count for what: the window now open and the one before it, for each button.

A press belongs to the window it began in, although its meaning is known only at its release,
when the next window may have begun; so two windows are kept. Every tap and its effect is told as
a journal record; the host counts again from these by the same ``SlotCount``.
"""

import struct

from . import journal as j
from .legs import Legs
from .taps import SlotCount, is_counted_live
from .timeline import ASK_TARGET, SLOTS, TAP_TALLY, Span

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable

# What a tap did
NOTHING, COUNTED, REACHED = range(3)


class Counting:
    """The counts of a box's buttons; ``keep`` takes each journal record."""

    def __init__(self, keep: "Callable[[bytes], object]") -> None:
        self._keep = keep
        self.now = [SlotCount() for _ in range(SLOTS)]
        self.before = [SlotCount() for _ in range(SLOTS)]
        self._nobodys = SlotCount()
        self.legs = Legs()  # of the window now open, if a tap hands over in it
        self.legs_before = Legs()
        self.window = 0
        self.start_ms = self.end_ms = 0
        self.before_window = 0
        self.before_start_ms = self.before_end_ms = 0
        self._tally_from_ms = self._tally_to_ms = 0
        self.untold = 0  # the window whose results are still to be told, 0 for none

    def begin_anew(self, window: "Span | None") -> None:
        """Forget all windows; ``window`` is the one before."""
        self.untold = self.window = self.before_window = 0
        self.start_ms = self.end_ms = self.before_start_ms = self.before_end_ms = 0
        self.end_tally()
        if window is None:
            self.end()
        else:
            self.begin(window)
        self.end()

    def begin(self, span: Span) -> None:
        """A window opens."""
        self.window = span.window
        self.start_ms = span.start_ms
        self.end_ms = span.end_ms()
        self.legs.begin(span.people, span.start_ms)
        for slot, count in enumerate(self.now):
            ask, tap, every, goal, _ = span.task(slot)
            count.begin(span.bib[slot], ask, tap, every, goal)

    def begin_tally(self, span: Span) -> None:
        """The rest begins in which the window before is counted."""
        self._tally_from_ms, self._tally_to_ms = span.start_ms, span.end_ms()

    def end_tally(self) -> None:
        """Every press begun in that rest has ended."""
        self._tally_from_ms = self._tally_to_ms = 0

    def in_tally(self, class_ms: int) -> bool:
        """Return whether a press at ``class_ms`` enters a tally."""
        return self._tally_from_ms <= class_ms < self._tally_to_ms

    def end(self) -> None:
        """The open window closes and becomes the one before."""
        self.now, self.before = self.before, self.now
        self.legs, self.legs_before = self.legs_before, self.legs
        self.before_window = self.window
        self.before_start_ms, self.before_end_ms = self.start_ms, self.end_ms
        self.begin_none()

    def begin_none(self) -> None:
        """No window is open."""
        self.window = 0
        self.legs.begin((), 0)
        for count in self.now:
            count.begin(0, 0, 0, 1, 0)

    def at(self, slot: int, class_ms: int) -> "tuple[SlotCount | None, int]":
        """Return the count that a press at ``class_ms`` goes to, and its window (None, 0: none)."""
        if self.in_tally(class_ms):
            return self.before[slot], self.before_window
        if self.window and self.start_ms <= class_ms < self.end_ms:
            return self.now[slot], self.window
        if self.before_start_ms <= class_ms < self.before_end_ms:
            return self.before[slot], self.before_window
        return None, 0

    def began_ms(self, window: int) -> int:
        """Return when the open window, or the one before, began."""
        return self.start_ms if window == self.window else self.before_start_ms

    def is_tally(self, slot: int, window: int) -> bool:
        """Whether a button's taps of the open window, or the one before, are entered after it."""
        if self._legs_of(window) is not None:  # there a slot is a person's place
            return False
        return (self.now if window == self.window else self.before)[slot].tap_rule == TAP_TALLY

    def at_or_before(self, slot: int, class_ms: int) -> "tuple[SlotCount, int]":
        """Like ``at``; in a rest, the window just past; else a count of nobody."""
        count, window = self.at(slot, class_ms)
        if count is not None:
            return count, window
        if class_ms < self.before_start_ms:
            return self._nobodys, 0
        return self.before[slot], self.before_window

    def tap_standing(self, slot: int, class_ms: int, held_ms: int, flags: int) -> int:
        """Take a tap while the class stands: it counts where a tally is entered, else nothing."""
        if self.in_tally(class_ms):
            return self.tap(slot, class_ms, held_ms, flags)
        count, window = self.at(slot, class_ms)
        bib = 0 if count is None else count.bib
        self._keep(j.tap_record(slot, window, class_ms, bib, held_ms, 0, flags | j.TAP_OUTSIDE))
        return NOTHING

    def tap(self, slot: int, class_ms: int, held_ms: int, flags: int) -> int:
        """Take a tap pressed at ``class_ms``; return NOTHING, COUNTED or REACHED (its goal)."""
        count, window = self.at(slot, class_ms)
        legs = self._legs_of(window)
        if legs is not None:
            return self._hand_over(legs, window, class_ms, held_ms, flags)
        done = NOTHING
        if count is None or not self._is_live(count, class_ms):
            bib = 0 if count is None else count.bib
            total = 0
            flags |= j.TAP_OUTSIDE
        else:
            bib = count.bib
            was_made = count.made
            if count.tap(class_ms):
                done = REACHED if count.goal and count.made and not was_made else COUNTED
            else:
                flags |= j.TAP_EXTRA
            if count.tap_rule == TAP_TALLY:
                flags |= j.TAP_TALLIED
            total = count.taps
        self._keep(j.tap_record(slot, window, class_ms, bib, held_ms, total, flags))
        return done

    def _legs_of(self, window: int) -> "Legs | None":
        """Return the legs of a window in which a tap hands over."""
        legs = self.legs if window == self.window else self.legs_before
        return legs if window and legs.people else None

    def _hand_over(self, legs: Legs, window: int, class_ms: int, held_ms: int, flags: int) -> int:
        """Take a tap of any button; its record's slot is the place of who ends a leg."""
        if not legs.tap(class_ms):
            self._keep(j.tap_record(0, window, class_ms, 0, held_ms, 0, flags | j.TAP_OUTSIDE))
            return NOTHING
        place = legs.last
        bib, total = legs.people[place], legs.of(place)
        self._keep(j.tap_record(place, window, class_ms, bib, held_ms, total, flags))
        return REACHED

    def _is_live(self, count: SlotCount, class_ms: int) -> bool:
        if not count.asked or count.skipped:
            return False
        return is_counted_live(count.tap_rule) or self.in_tally(class_ms)

    def back(self, slot: int, pressed_ms: int, class_ms: int) -> bool:
        """Take back the last tap, by a hold begun at ``pressed_ms``; False when there is none."""
        count, window = self.at_or_before(slot, pressed_ms)
        if not count.asked or not count.back():
            return False
        self._note(j.BACK, slot, count, window, pressed_ms, class_ms)
        return True

    def leg_back(self, slot: int, pressed_ms: int, class_ms: int) -> bool:
        """Take the last hand-over back, by a hold begun at ``pressed_ms``; False without one."""
        _, window = self.at_or_before(slot, pressed_ms)
        legs = self._legs_of(window)
        if legs is None or not legs.back():
            return False
        place = legs.last
        held_ms = _held_ms(pressed_ms, class_ms)
        payload = struct.pack("<HHH", legs.people[place], held_ms, legs.of(place))
        self._keep(j.record(j.BACK, place, window, class_ms, payload))
        return True

    def forth(self, slot: int, pressed_ms: int, class_ms: int) -> None:
        """Withdraw the take-back of the hold begun at ``pressed_ms``."""
        count, window = self.at_or_before(slot, pressed_ms)
        count.forth()
        self._note(j.FORTH, slot, count, window, pressed_ms, class_ms)

    def confirm(self, slot: int, pressed_ms: int, class_ms: int) -> bool:
        """Close a tally, by a hold begun at ``pressed_ms``; False when nothing was entered."""
        count = self.before[slot]
        if not count.asked or not count.taps:
            return False
        count.confirm()
        self._note(j.CONFIRM, slot, count, self.before_window, pressed_ms, class_ms)
        return True

    def all_made(self) -> bool:
        """Whether everybody at the open window reached a target, so that only rest is left."""
        some = False
        for count in self.now:
            if count.bib:
                if count.ask != ASK_TARGET or not count.made:
                    return False
                some = True
        return some

    def replay(self, kind: int, slot: int, window: int, class_ms: int) -> None:
        """Take a press of the open window or the one before from the journal, telling nobody."""
        legs = self._legs_of(window)
        if legs is not None:
            legs.replay(kind, class_ms)
        elif window == self.window:
            self.now[slot].replay(kind, class_ms)
        elif window == self.before_window:
            self.before[slot].replay(kind, class_ms)

    def skip(self) -> None:
        """Leave the open window out."""
        self.legs.skipped = True
        for count in self.now:
            count.skipped = True

    def skip_again(self, window: int) -> None:
        """Leave a window out that was left out before the power failed."""
        for counts, legs, number in (
            (self.now, self.legs, self.window),
            (self.before, self.legs_before, self.before_window),
        ):
            if window and window == number:
                legs.skipped = True
                for count in counts:
                    count.skipped = True

    def results_before(self) -> None:
        """Tell the results of the window before."""
        self.untold = 0
        self._leg_results(self.legs_before, self.before_window, self.before_start_ms, 0)
        for slot, count in enumerate(self.before):
            self._result(slot, count, self.before_window, self.before_start_ms, 0)

    def result_again(self, slot: int, pressed_ms: int) -> None:
        """Tell a result anew after a late correction, if it has been told."""
        count, window = self.at_or_before(slot, pressed_ms)
        if window == self.before_window and count is self.before[slot] and not self.untold:
            legs = self._legs_of(window)
            if legs is not None:
                self._leg_result(legs, legs.last, window, self.before_start_ms, 0)
            self._result(slot, count, window, self.before_start_ms, 0)

    def results_stopped(self) -> None:
        """Tell the results of the open window, which was stopped."""
        self._leg_results(self.legs, self.window, self.start_ms, j.RES_STOPPED)
        for slot, count in enumerate(self.now):
            self._result(slot, count, self.window, self.start_ms, j.RES_STOPPED)

    def _leg_results(self, legs: Legs, window: int, start_ms: int, flags: int) -> None:
        for place in range(len(legs.people)):
            self._leg_result(legs, place, window, start_ms, flags)

    def _leg_result(self, legs: Legs, place: int, window: int, start_ms: int, flags: int) -> None:
        flags |= j.RES_ASKED | j.RES_LEGS
        if legs.skipped:
            flags |= j.RES_SKIPPED
        bib, done = legs.people[place], legs.of(place)
        payload = struct.pack("<HHiHB", bib, done, -1, j.HELD_TO_END, flags)
        self._keep(j.record(j.RESULT, place, window, start_ms, payload))

    def _result(self, slot: int, count: SlotCount, window: int, start_ms: int, flags: int) -> None:
        if not count.bib:
            return
        if count.asked:
            flags |= j.RES_ASKED
        if count.skipped:
            flags |= j.RES_SKIPPED
        if count.tap_rule == TAP_TALLY and not count.confirmed:
            flags |= j.RES_UNCONFIRMED
        held_ds = j.HELD_TO_END
        if count.drop_ms >= 0:
            held_ds = min((count.drop_ms - start_ms) // 100, j.HELD_TO_END - 1)
        payload = struct.pack("<HHiHB", count.bib, count.reps, count.made_ms, held_ds, flags)
        self._keep(j.record(j.RESULT, slot, window, start_ms, payload))

    def _note(
        self, kind: int, slot: int, count: SlotCount, window: int, pressed_ms: int, class_ms: int
    ) -> None:
        payload = struct.pack("<HHH", count.bib, _held_ms(pressed_ms, class_ms), count.taps)
        self._keep(j.record(kind, slot, window, class_ms, payload))


def _held_ms(pressed_ms: int, class_ms: int) -> int:
    return max(0, min(class_ms - pressed_ms, 0xFFFF))
