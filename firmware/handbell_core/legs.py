"""A relay in which a tap hands over: how many legs are done, and by whom."""

from .journal import BACK, TAP

SOON_MS = 3_000  # no leg is shorter, so a tap as soon as that after the last one is none


class Legs:
    """The legs of one window, person after person; a tap of any button ends one.

    ``people`` are their bibs (none: it is no such relay). ``last`` is the place of the person
    whose legs have changed last.
    """

    def __init__(self) -> None:
        self.begin((), 0)

    def begin(self, people: "tuple[int, ...]", start_ms: int) -> None:
        """Start a window at ``start_ms`` of the class."""
        self.people = people
        self.done = 0
        self.last = 0
        self.skipped = False
        self._ended_ms = self._before_ms = start_ms  # when the present leg began, and the last

    def of(self, place: int) -> int:
        """Return how many legs the person at a place has done."""
        return (self.done + len(self.people) - 1 - place) // len(self.people)

    def tap(self, class_ms: int) -> bool:
        """Hand over; return False when that is too soon, or the window is left out."""
        if self.skipped or class_ms - self._ended_ms < SOON_MS:
            return False
        self._end(class_ms)
        return True

    def _end(self, class_ms: int) -> None:
        self.last = self.done % len(self.people)
        self.done += 1
        self._before_ms, self._ended_ms = self._ended_ms, class_ms

    def back(self) -> bool:
        """Take the last hand-over back; return False when there is none."""
        if not self.done or self.skipped:
            return False
        self.done -= 1
        self._ended_ms = self._before_ms
        self.last = self.done % len(self.people)
        return True

    def replay(self, kind: int, class_ms: int) -> None:
        """Take a press that counted as a journal's record of type ``kind`` tells it."""
        if kind == TAP:
            self._end(class_ms)
        elif kind == BACK:
            self.back()
