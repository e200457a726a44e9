"""The runner: plays a timeline. Time and presses in, effects out, one deadline to wait for.

It lives on ``run_ms`` (see clock.RunTime) and counts ``class_ms`` from the class start; a gate or
a wait stops ``class_ms``, and whatever comes after is later by as much. It is made of machines,
each a table: the class (``class_table``), the choices (``menu``), a press a button (``press``).
"""

from . import faults
from .course import (
    ACT_T,
    CUE_T,
    GIVE_UP_T,
    HOLD_T,
    LOOK_T,
    OWED_T,
    SPAN_T,
    START_T,
    STAY_T,
)
from .cues import CLOSE, NO_CUE
from .placing import Placing
from .states import (
    AGAIN,
    AGAIN_MS,
    ASKING,
    AT_GATE,
    CLOSING,
    DOOR,
    FAULT,
    GIVE_UP_MS,
    HELD,
    HOLD_MS,
    KNOWN_MS,
    LEAVING,
    MENU_MS,
    NEVER,
    OVER,
    PLAY,
    READY,
    RETURN,
    SET,
    SETTLE_MS,
    SKIP,
    STATES,
    STOP,
    SURE,
    TALLY,
    WAIT,
)
from .timeline import FormatError

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .agreement import Act
    from .clock import RunTime

    __all__ = [  # what the users of a run need to know of its words
        "AGAIN",
        "AGAIN_MS",
        "ASKING",
        "AT_GATE",
        "CLOSING",
        "DOOR",
        "FAULT",
        "GIVE_UP_MS",
        "HELD",
        "HOLD_MS",
        "KNOWN_MS",
        "LEAVING",
        "MENU_MS",
        "NEVER",
        "OVER",
        "PLAY",
        "READY",
        "RETURN",
        "Runner",
        "SET",
        "SETTLE_MS",
        "SKIP",
        "STATES",
        "STOP",
        "SURE",
        "TALLY",
        "WAIT",
        "fault_of",
    ]

# These read the flash before they change anything. One that failed is tried again; the class
# stands still for all but the last two.
_AGAIN = (ACT_T, SPAN_T, START_T, STAY_T, LOOK_T, OWED_T)


class Runner(Placing):
    """One run of one timeline.

    What a screen may read: state, kind, span, counting, down, shown, menu, rating, by_hand,
    starts_ms (run time of a start that is set), waiting, owed, fault.
    """

    def step(self, run_ms: int) -> int:
        """Do what is due up to ``run_ms``, each at its own time; return the next deadline.

        What fails holds nothing else up: the last error is raised when all else has been done,
        and what carries the class on stays due, until the run gives up.
        """
        failed = None
        again: "tuple[tuple[int, int, int, int], ...]" = ()
        while self.due_ms <= run_ms and self.due_ms < NEVER:
            due = self.due_ms
            timer = self._timers.index(due)
            self._set(timer, NEVER)
            try:
                if timer >= HOLD_T:
                    self._hold_due(timer - HOLD_T, due)
                elif timer == GIVE_UP_T:
                    self._do("give_up", due, fault_of(failed))
                else:
                    _TIMED[timer](self, due)
            except Exception as error:  # noqa: BLE001 - whatever it is, the others are still due
                failed = error
                if timer in _AGAIN:
                    again += ((timer, due, self.state, self.index),)
        for timer, due, state, index in again:
            too_late = timer == OWED_T and run_ms >= due + GIVE_UP_MS
            # Unless somebody has stopped the class, or moved its start, meanwhile.
            is_due = self._timers[timer] == NEVER
            if timer != ACT_T:  # an act is due wherever the class has got to meanwhile
                is_due = is_due and (self.state, self.index) == (state, index)
            if is_due and not too_late:
                self._set(timer, due)
                if timer < LOOK_T and self._timers[GIVE_UP_T] == NEVER:
                    self._set(GIVE_UP_T, run_ms + GIVE_UP_MS)
            elif timer == OWED_T:
                self.owed = ()
        self._stepped_ms = run_ms
        if failed is not None and self.state != FAULT:  # else it is told by that
            raise failed
        return self.due_ms

    def _start_due(self, run_ms: int) -> None:
        if self._do("begin", run_ms, 0):
            self._do(self._follows(), run_ms, 0)

    def _act_due(self, run_ms: int) -> None:
        self._come_due(run_ms)

    def hear(self, act: "Act", run_ms: int) -> bool:
        """Take an act of a remote; False when nothing comes of it. See ``led.Led``."""
        return False

    def _come_due(self, run_ms: int) -> None:
        """An act comes into force; see ``led.Led``."""

    def _span_due(self, run_ms: int) -> None:
        """The present span, or a rating, is over."""
        self._look(self.index + 1)
        if self._timers[CUE_T] <= run_ms:
            self._ring(self._timers[CUE_T])
        self._set(CUE_T, NEVER)
        self._do("span_over", run_ms, 0)
        if self.mode != ASKING and self.span.end_ms() >= self.head.slot_ms:
            self.sink.bell(CLOSE, run_ms)
        self._do(self._follows(), run_ms, 0)

    def _look_ahead(self, run_ms: int) -> None:
        self._look(self.index + 1)
        if self._end_cue == NO_CUE:
            self._end_cue = self._cue_after()

    # The host

    def arm(self, start_ms: int, now_ms: int = -NEVER) -> None:
        """Set the class start, by the host, at ``start_ms`` in run time.

        Its heads-up is left out if it should have come before ``now_ms``. Raises ValueError once
        the run has begun, and what reading the timeline raises.
        """
        if not self._do("arm", -NEVER, start_ms):
            raise ValueError(self.state)
        if self._timers[CUE_T] < now_ms:
            self._set(CUE_T, NEVER)

    def live_on(self, clock: "RunTime", later_ms: int) -> None:
        """Live on another clock, whose run time is ``later_ms`` ahead: nothing happens sooner."""
        self.clock = clock
        for timer, due_ms in enumerate(self._timers):
            if due_ms != NEVER:
                self._timers[timer] = due_ms + later_ms
        self.due_ms = min(self._timers)
        for press in self._presses:
            press.at_ms += later_ms
        self._since_ms += later_ms
        self._stepped_ms += later_ms

    def stop(self, run_ms: int, cause: int) -> None:
        """End the run from outside: the host disarms it, or its timeline can't be read."""
        self._do("end_it", run_ms, cause)


def fault_of(error: "Exception | None") -> int:
    """Return the fault code of what a plan could not be read for."""
    if isinstance(error, OSError):
        return faults.FLASH_ERROR
    return faults.TIMELINE_BROKEN if isinstance(error, FormatError) else faults.FIRMWARE


# What each timer does when it is due, in the order of the timers.
_TIMED = (
    Runner._act_due,
    Runner._span_due,
    Runner._settle,
    Runner._start_due,
    Runner._ring,
    Runner._menu_over,
    Runner._stay_over,
    Runner._show_over,
    Runner._look_ahead,
    Runner._owed_due,
)
