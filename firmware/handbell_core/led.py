"""A run that a remote leads: an act says where the class is, and a box goes there from anywhere.

It is loaded where a remote leads only. It reads the flash first, and changes nothing when that
fails.
"""

from . import journal as j
from .agreement import OVER, RUNS, STANDS, Agreement
from .class_table import CLASS
from .course import ACT_T, CUE_T, LOOK_T, OWED_T, SETTLE_T, SPAN_T, START_T, STAY_T
from .cues import AWAIT, CLOSE, NO_CUE, start_cue
from .runner import Runner
from .states import ASKING, AT_GATE, LEAVING, LEFT_LEAST_MS, NEVER, PLAY, SETTLE_MS, TALLY, row_of
from .states import OVER as STATE_OVER
from .states import STANDS as STANDS_MODE
from .timeline import TAKES_TALLY, Span

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .agreement import Act
    from .clock import RunTime
    from .course import Sink
    from .timeline import Reader

SAME_MS = 100  # an act that leads so near to where a class will be leads nowhere else
_BEGUN = (PLAY, TALLY, AT_GATE, LEAVING, ASKING)


class Led(Runner):
    """A run that heeds a remote, once it is told so."""

    def __init__(self, timeline: "Reader", clock: "RunTime", sink: "Sink") -> None:
        Runner.__init__(self, timeline, clock, sink)
        self.agreement = Agreement()
        self._nowhere = False  # it has begun, and no act has said yet where it is

    def heed(self, number: int = 0) -> None:
        """A remote leads from now on; acts up to ``number`` are of before."""
        self.heeds = True
        self.agreement.number = number

    def resume(self, class_ms: int, run_ms: int) -> None:
        """It had come to ``class_ms`` as the power failed; an act will say where it is by now."""
        self._nowhere = True
        self.gate_class_ms = class_ms
        self.zero_ms = run_ms - class_ms

    def live_on(self, clock: "RunTime", later_ms: int) -> None:
        """Live on another clock; see ``Runner``."""
        Runner.live_on(self, clock, later_ms)
        self.agreement.live_on(later_ms)

    def hear(self, act: "Act", run_ms: int) -> bool:
        """Take an act that was heard; False when nothing comes of it: none leads, or it is old."""
        if not self.heeds or not self._may_move() or not self.agreement.hear(act):
            return False
        self._await_act(run_ms)
        self.sink.changed()
        return True

    def _may_move(self) -> bool:
        """Whether an act can still do something: after the end nothing steps back."""
        return row_of(CLASS, self.mode, "run") >= 0

    def _await_act(self, run_ms: int) -> None:
        """Be ready for the next act: its instant, its cue, and a start that it sets."""
        act = self.agreement.next
        at_ms = self.agreement.due_ms
        if act is not None and self._goes_on_alone(act):
            try:
                at_ms = max(at_ms, run_ms + self._onward()[1])
            except Exception:  # noqa: BLE001 - it goes on as the others do
                pass
        self._set(ACT_T, at_ms)
        self._act_cue = NO_CUE
        if act is None or at_ms <= run_ms:  # in force already: nothing begins by it
            return
        if act.what != RUNS:
            self._act_cue = AWAIT if act.what == STANDS else CLOSE
            return
        if self._plays_on(act):
            return
        try:
            if self.state in (PLAY, TALLY):
                self._make_ready(act, run_ms)
            self._act_cue = self._read_cue(act.class_ms)
        except Exception:  # noqa: BLE001 - the act comes all the same, without its bell
            pass
        self._do("announce", run_ms, at_ms)

    def _behind(self, act: "Act") -> bool:
        """Whether an act leads back behind where this box went on alone to."""
        return self.alone and act.class_ms <= self.class_ms(act.at_ms) - SAME_MS

    def _plays_on(self, act: "Act") -> bool:
        """Whether an act that lets the class run does nothing, as this box runs on alone."""
        return act.what == RUNS and self.state in (PLAY, TALLY) and self._behind(act)

    def _goes_on_alone(self, act: "Act") -> bool:
        """Whether an act lets this box go on from where it stands, alone, with notice for that."""
        return act.what == RUNS and self.state in (AT_GATE, LEAVING) and self._behind(act)

    def _onward(self) -> "tuple[int, int]":
        """Return where the class goes on from where it stands, and after how long."""
        from .acts import SOON_MS, go_on  # seldom needed

        onward = go_on(self.timeline, self.gate_class_ms)
        return (self.head.slot_ms, SOON_MS) if onward is None else (onward.class_ms, onward.in_ms)

    def _make_ready(self, act: "Act", run_ms: int) -> None:
        """Stand until an act leads elsewhere, so that people can get there."""
        if abs(act.at_ms - self.zero_ms - act.class_ms) > SAME_MS:
            class_ms = self.class_ms(run_ms)
            self._read_place(class_ms)
            self._move(class_ms, class_ms, run_ms)
            self._do("stand", run_ms, class_ms)

    def _read_cue(self, class_ms: int) -> int:
        """Return the cue with which a class goes on at ``class_ms``.

        None with so little left that it would crowd the cues that follow (compile/gaps.py).
        """
        if class_ms >= self.head.slot_ms:
            return CLOSE
        span = Span()
        for index in range(self.head.spans):
            if self.timeline.span(index, span).end_ms() > class_ms:
                break
        if span.start_ms < class_ms and span.end_ms() - class_ms < LEFT_LEAST_MS:
            return NO_CUE
        return start_cue(span.kind)

    def _come_due(self, run_ms: int) -> None:
        """The next act comes into force: read where it leads, then go there."""
        act = self.agreement.next
        if act is None or not self._may_move():
            self.agreement.forget()
            return
        place_ms = act.class_ms
        is_there = self.state in _BEGUN and self.begun and not self._nowhere
        own_ms = self.class_ms(run_ms)
        plays_on, behind = self._plays_on(act), self._behind(act)
        if behind or act.what == OVER and place_ms >= self.head.slot_ms and is_there:
            place_ms = own_ms  # it has gone on alone; or a stop says no place
        # One that is taken after its instant goes back behind what was counted meanwhile.
        to_ms = self.class_ms(max(run_ms, self._stepped_ms)) if is_there else -1
        if plays_on:
            place_ms = own_ms = to_ms
        elif self._goes_on_alone(act):
            place_ms = self._onward()[0]
        self._read_place(place_ms)
        was_ms = own_ms if is_there or behind else -1
        self._nowhere = False
        self.alone = behind
        self.agreement.step(act.at_ms)
        self.owed = ()
        self._set(OWED_T, NEVER)
        early = self._act_cue != NO_CUE
        opens = self._opens(place_ms)
        self.sink.keep(j.act_record(act.number, act.what, place_ms, opens, was_ms, early))
        if act.what == OVER:
            self.sink.bell(CLOSE, run_ms if early else NEVER)
            self._act_cue = CLOSE
            if place_ms < to_ms and not behind:  # it was over by then: what came after is void
                self._move(place_ms, to_ms, run_ms)
                self._do("stand", run_ms, place_ms)
            self._tell(STATE_OVER, j.BY_WORD, self.class_ms(run_ms), run_ms)
            self._do("end_it", run_ms, j.BY_WORD)
        elif plays_on:
            self._tell(PLAY, j.BY_WORD, place_ms, run_ms)
        elif place_ms < self.head.slot_ms or self.mode != ASKING:
            self._come(act, place_ms, to_ms, run_ms)
        self._await_act(run_ms)

    def _come(self, act: "Act", class_ms: int, was_ms: int, run_ms: int) -> None:
        """Let the class do what an act says at ``class_ms``, from ``was_ms`` on."""
        if act.what == STANDS and class_ms < self.head.slot_ms:
            if self.mode != STANDS_MODE or class_ms != self.gate_class_ms:
                self._move(class_ms, was_ms, run_ms)
                self._do("stand", run_ms, class_ms)
            return
        rings = self._act_cue != NO_CUE
        self._move(class_ms, was_ms, run_ms)
        if self._do("run", run_ms, class_ms):
            self._do(self._follows(), run_ms, 0)
            if not rings:
                self._ring_on(class_ms)
            elif class_ms >= self.head.slot_ms:
                self.sink.bell(CLOSE, run_ms)

    def _move(self, class_ms: int, was_ms: int, run_ms: int) -> None:
        """Bring the counts from ``was_ms`` to ``class_ms``, into the place that was read."""
        opens = self._opens(class_ms)
        if class_ms < was_ms or self.counting.window != opens:
            self._keep_taken_back()
        if class_ms < was_ms or was_ms < 0:
            self._count_anew(opens, class_ms, run_ms)
        else:
            self._count_on(opens, class_ms, run_ms)
        if self._to.flags & TAKES_TALLY:
            self._open_its_tally()
        elif self.counting.untold:
            self._set(SETTLE_T, run_ms + SETTLE_MS)
        for timer in (SPAN_T, CUE_T, START_T, STAY_T, LOOK_T):
            self._set(timer, NEVER)
        self._page("close", 0, run_ms)

    def _count_anew(self, opens: int, class_ms: int, run_ms: int) -> None:
        """The class goes back, or comes from nowhere: count what of the log still holds."""
        counting, before = self.counting, self._to_before
        again = counting.untold in (opens, 0 if before is None else before.window)
        if counting.untold and not again and counting.before_start_ms < class_ms:
            self._tell_results()  # it holds, and is at hand no more
        counting.begin_anew(before)
        if opens:
            counting.begin(self._to)
        self.sink.recall(counting)
        if counting.before_window:
            self.tell_soon(run_ms)

    def _count_on(self, opens: int, class_ms: int, run_ms: int) -> None:
        """The class goes on, out of the open window unless it is the same."""
        counting = self.counting
        if counting.window and counting.window != opens:
            if class_ms <= counting.start_ms:  # it has only just begun, and will again
                counting.begin_none()
            else:
                self._window_over(run_ms, 0)
        if opens and counting.window != opens:
            counting.begin(self._to)

    def _open_its_tally(self) -> None:
        """The place is a rest in which the window before it is entered."""
        counting, before = self.counting, self._to_before
        if before is not None and counting.before_window != before.window:
            if counting.untold:
                self._tell_results()
            counting.begin_anew(before)
            counting.untold = counting.before_window
        counting.begin_tally(self._to)
        self._set(SETTLE_T, NEVER)
