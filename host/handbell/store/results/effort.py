"""One effort: what a bib was to do in one window, and what its numbers say."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from handbell_core import timeline as t

MINUTE_MS = 60_000


class Outcome(Enum):
    """How far an effort's numbers can be read."""

    DONE = "done"
    NOT_ASKED = "not asked"  # nobody was to tap
    NO_COUNT = "no count"  # a tally that nobody entered
    SET_ASIDE = "set aside"  # the coach said that it tells nothing
    SKIPPED = "skipped"
    PAUSED = "paused"  # the class stood in its midst: not to be held against a whole one
    STOPPED = "stopped"  # ended before the window was over
    SHORT = "cut short"  # the coach went on before it was over
    PARTLY = "partly"  # the box was without power in it: at least this much
    LATE = "late"  # the box heard the remote late and missed a part of it: at least this much
    CUT = "cut"  # the log breaks off: at least this much
    LEFT_OUT = "left out"  # the coach went past it, or ended the class before it
    NO_RECORD = "no record"  # the box tells nothing of it


OR_MORE = (Outcome.PARTLY, Outcome.LATE, Outcome.CUT)
BROKEN = (Outcome.PAUSED, Outcome.STOPPED, Outcome.SHORT)  # by somebody, with all that was done
COUNTED = (Outcome.DONE, *BROKEN, *OR_MORE)  # reps stand in these
LOST = (*OR_MORE, Outcome.NO_RECORD)  # there may be more that nobody knows


@dataclass(slots=True)  # not frozen: that takes four times as long, and a year holds 100,000
class Effort:
    """One bib in one window. Times are ``class_ms``; lengths are ms.

    ``made_ms`` is None when the target or goal was not reached or the moment is not known;
    ``drop_ms`` is None when a position was kept to the end. ``agreed`` False marks a count on
    which box and recount differ, ``confirmed`` False a tally nobody closed. ``every`` is how many
    reps a tap stands for; ``run``, ``window`` and ``slot`` lead to its taps. ``said_utc_us`` is
    when a coach last said what it comes to, 0 if nobody did; ``log`` is its log's digest.
    ``touched``: something was pressed that is not counted, such as what was set aside.
    ``gap_ms`` is the usual time from rep to rep, None where too few taps tell.
    """

    bib: int
    who: str
    station: int
    block: int
    item: int
    round: int
    name: str
    ask: int
    tap: int
    goal: int
    start_ms: int
    end_ms: int
    outcome: Outcome
    both_sides: bool = False
    reps: int | None = None
    made_ms: int | None = None
    drop_ms: int | None = None
    agreed: bool = True
    confirmed: bool = True
    every: int = 1
    run: int = 0
    window: int = 0
    slot: int = 0
    said_utc_us: int = 0
    log: str = ""
    touched: bool = False
    gap_ms: float | None = None

    @property
    def made(self) -> bool | None:
        """Whether the target or goal was reached or the position kept; None: can't be said."""
        if self.outcome is not Outcome.DONE:
            return None
        if self.ask == t.ASK_HOLD:
            return self.drop_ms is None
        if not self.goal or self.reps is None:
            return None
        return self.reps >= self.goal

    @property
    def pressed(self) -> bool:
        """Whether it tells that somebody was there: by a press, or by what a coach said of it."""
        counted = bool(self.reps) or self.drop_ms is not None or self.made_ms is not None
        said = self.said_utc_us > 0 and self.outcome is not Outcome.SET_ASIDE
        return counted or self.touched or said

    @property
    def finish_ms(self) -> int | None:
        """How long after the window's start the target or goal was reached."""
        return None if self.made_ms is None else self.made_ms - self.start_ms

    @property
    def earned_rest_ms(self) -> int | None:
        """What was left of the window when the target was made; an open window earns none.

        Nor does one of which nobody had the rest as planned.
        """
        if self.ask != t.ASK_TARGET or self.made_ms is None or self.outcome in BROKEN:
            return None
        return self.end_ms - self.made_ms

    @property
    def held_ms(self) -> int | None:
        """How long a position was kept."""
        if self.ask != t.ASK_HOLD or self.outcome is not Outcome.DONE:
            return None
        return (self.end_ms if self.drop_ms is None else self.drop_ms) - self.start_ms

    @property
    def rate(self) -> float | None:
        """Reps a minute, or seconds held; None where the taps don't tell it.

        Of a target that was made, the time to it counts; else the whole window.
        """
        if self.outcome is not Outcome.DONE or not self.confirmed:
            return None
        if self.ask == t.ASK_HOLD:
            return None if self.held_ms is None else self.held_ms / 1000
        if self.ask == t.ASK_TARGET and self.finish_ms and self.made:
            return self.goal * MINUTE_MS / self.finish_ms
        if self.reps is None or self.tap in (t.TAP_FINISH, t.TAP_LEG):
            return None
        return self.reps * MINUTE_MS / (self.end_ms - self.start_ms)
