"""Who was there, as far as presses tell: who never pressed, and who may have left early."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from handbell.store.results.effort import LOST, Effort, Outcome
from handbell_core import timeline as t

# Common practice, no source: a quarter of the class, and three windows that wanted a tap.
LEFT_BEFORE = 0.75
LEFT_WINDOWS = 3
_NOT_ASKED = (Outcome.NOT_ASKED, Outcome.LEFT_OUT, Outcome.NO_RECORD)


def never_pressed(own: Sequence[Effort], rating: int | None) -> bool:
    """Whether somebody was asked for something in a class and nothing tells that they were there.

    A press does, also the one that answers how hard it was, and what a coach said of an effort. A
    hold kept to the end has no press, so it tells nothing by itself.
    """
    asked = any(e.outcome not in _NOT_ASKED for e in own)
    return asked and rating is None and not any(e.pressed for e in own)


def left_early(own: Sequence[Effort], rating: int | None, end_ms: int) -> int | None:
    """Return the ``class_ms`` after which somebody pressed nothing and may have gone, else None.

    That is where the last window with a press ended: before three quarters of the class, with
    three windows or more after it that wanted a tap and got none. Who answered how hard it was
    stayed to the end; windows that the log tells not all of say nothing.
    """
    last_ms = max((e.end_ms for e in own if e.pressed), default=None)
    if last_ms is None or rating is not None or last_ms > LEFT_BEFORE * end_ms:
        return None
    later = [e for e in own if e.start_ms >= last_ms]
    if any(e.outcome in LOST for e in later):
        return None
    return last_ms if len(list(_wanted_a_tap(later))) >= LEFT_WINDOWS else None


def _wanted_a_tap(some: Iterable[Effort]) -> Iterable[Effort]:
    """Yield whole windows in which whoever was there would have tapped."""
    for e in some:
        if e.ask != t.ASK_HOLD and e.tap != t.TAP_LEG and e.outcome is Outcome.DONE:
            yield e
