"""Where a class is when it isn't simply the next thing: joined again after a power failure.

It reads the flash first, and changes nothing when that fails. A class that a remote leads goes
anywhere by the same way: see ``led.Led``.
"""

from . import journal as j
from .course import SETTLE_T
from .hands import Hands
from .states import PLAY, SETTLE_MS, STANDS, TALLY
from .timeline import GATE, WINDOW, Span

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable


class Placing(Hands):
    """A course that can be gone into anywhere."""

    # Joining again after the power had failed

    def rejoin(self, zero_ms: int, run_ms: int, from_ms: int) -> bool:
        """Go on where the class is that began at ``zero_ms``; False when it is over.

        ``from_ms`` is the last ``class_ms`` known to have been played. At a gate since then the
        others wait, so this box waits there too. Nothing rings before the next cue. Raises what
        reading the timeline raises.
        """
        class_ms = run_ms - zero_ms
        if self.place_at(class_ms, from_ms) < 0:
            return False
        if self._after.kind == GATE:
            self.wait_again(self._after.start_ms, run_ms)
            return True
        self._read_place(class_ms)
        self._past_window(class_ms)
        self.zero_ms = zero_ms
        self.index = self._to_index - 1
        self._do("join", run_ms, 0)
        self._tell(PLAY, j.BY_CLOCK, class_ms, run_ms)
        self._do(self._follows(), run_ms, 0)
        self._ring_on(class_ms)
        return True

    def place_at(self, class_ms: int, from_ms: int) -> int:
        """Return the span in which a class is that was last known to be at ``from_ms``.

        It is the gate at which others wait since, if there is one; -1 when the class is over.
        Raises what reading the timeline raises.
        """
        span = self._after
        self._after_index = -1
        for index in range(self.head.spans):
            self.timeline.span(index, span)
            if span.kind == GATE and from_ms < span.start_ms <= class_ms:
                return index
            if span.start_ms <= class_ms < span.end_ms():
                return index
        return -1

    def end_ms_at(self, class_ms: int) -> int:
        """Return when the span ends in which a class is at ``class_ms``, -1 when it is over."""
        return -1 if self.place_at(class_ms, class_ms) < 0 else self._after.end_ms()

    def wait_again(
        self,
        class_ms: int,
        run_ms: int,
        cause: int = j.BY_CLOCK,
        begin: "Callable[[], None] | None" = None,
    ) -> None:
        """Wait where the class stood at ``class_ms``: at a gate, or where somebody chose to.

        ``begin()`` is called once all is read, before anything is told.
        """
        self._read_place(class_ms)
        if begin is not None:
            begin()
        self._past_window(class_ms)
        self._stop_here(class_ms, run_ms, cause)
        self._do("join_stand" if self.heeds else "join_gate", run_ms, 0)

    def tell_soon(self, run_ms: int) -> None:
        """The results of the window before were not told before the power failed."""
        self.counting.untold = self.counting.before_window
        if self.state != TALLY:
            self._set(SETTLE_T, run_ms + SETTLE_MS)

    @property
    def stands_by(self) -> bool:
        """Whether the class has not begun, and only the remote's word begins it."""
        return self.mode == STANDS and not self.begun

    def _read_place(self, class_ms: int) -> None:
        """Read where a class is at ``class_ms``: the span that it goes into, which is ``_to``.

        What is shown of it while it stands there, and the last window before it.
        """
        span, shown, before = self._to, self._to_shown, None
        at = 0
        while at < self.head.spans and self.timeline.span(at, span).end_ms() <= class_ms:
            if span.kind == WINDOW:
                before = at
            at += 1
        if at >= self.head.spans:  # nothing follows
            span.kind = span.window = span.flags = 0
            span.start_ms = class_ms
        in_its_midst = span.start_ms < class_ms
        if in_its_midst:
            self.timeline.span(at, shown)
        elif at:
            self.timeline.span(at - 1, shown)
        else:
            shown = self._to_shown = Span()
        self._to_before = None if before is None else self.timeline.span(before, Span())
        self._look(at)
        self._to_index = at

    def _opens(self, class_ms: int) -> int:
        """Return the window in whose midst ``class_ms`` is, by the place that was read; or 0."""
        to = self._to
        return to.window if to.kind == WINDOW and to.start_ms < class_ms else 0

    def _past_window(self, class_ms: int) -> None:
        """Take up the windows of the place that was read, so that they can still be corrected."""
        self.counting.begin_anew(self._to_before)
        if self._opens(class_ms):
            self.counting.begin(self._to)

    def _ring_on(self, class_ms: int) -> None:
        """Ring only what comes after ``class_ms`` in the present span."""
        if self.state in (PLAY, TALLY):
            self._next_cue(class_ms - self.span.start_ms + 1)
