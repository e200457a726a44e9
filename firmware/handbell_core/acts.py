"""Where a class goes on: what going on, or going to the next block, means at each of its times.

A gate is a pause that the plan asked for, so both are left in the same way.
"""

from .states import LEFT_LEAST_MS
from .timeline import (
    BREAK,
    CHANGE,
    COOL_DOWN,
    GATE,
    LEAD_IN,
    RATING,
    REST,
    WARM_UP,
    WINDOW,
    Span,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from .timeline import Reader

SOON_MS = 2_000  # no act that lets a class run comes sooner: a write to the flash may be on
LEAD_MS = 10_000  # to be ready before a window goes on

# How a stretch goes on: from its beginning, or from where it stood, at once or with time to be
# ready; at a gate as the stretch after it would begin; a rating is not stopped at all.
ANEW, HERE, READY, PASSED, NEVER_STOPS = range(5)
GOES_ON = {
    LEAD_IN: ANEW,
    WARM_UP: HERE,
    WINDOW: READY,
    CHANGE: HERE,
    REST: HERE,
    BREAK: HERE,
    GATE: PASSED,
    COOL_DOWN: HERE,
    RATING: NEVER_STOPS,
}


class Onward:
    """Where a class that stands goes on (``class_ms``), and how long after the word."""

    def __init__(self, class_ms: int, in_ms: int) -> None:
        self.class_ms = class_ms
        self.in_ms = in_ms


def go_on(timeline: "Reader", class_ms: int) -> "Onward | None":
    """Return where a class goes on that stands at ``class_ms``; None when nothing is left of it.

    Raises what reading the timeline raises.
    """
    span = Span()
    passed = False
    for index in range(timeline.head.spans):
        timeline.span(index, span)
        if span.kind == GATE and span.start_ms == class_ms:
            passed = True
        elif span.end_ms() > class_ms and span.kind != RATING:
            if GOES_ON[span.kind] == READY and span.end_ms() - class_ms < LEFT_LEAST_MS:
                return _after(timeline, index, span.end_ms())
            return _onward(span, span.start_ms if passed else class_ms)
    return None


def _onward(span: Span, class_ms: int) -> "Onward":
    how = GOES_ON[span.kind]
    if how == ANEW:
        return Onward(span.start_ms, SOON_MS)
    return Onward(class_ms, LEAD_MS if how == READY else SOON_MS)


def _after(timeline: "Reader", index: int, end_ms: int) -> "Onward":
    """Return where a class goes on that leaves a window's last seconds out."""
    kind = 0
    if index + 1 < timeline.head.spans:
        kind = timeline.span(index + 1, Span()).kind
    if kind == GATE:
        return Onward(end_ms - 1, SOON_MS)  # to go on at a gate would be to pass it
    return Onward(end_ms, LEAD_MS if kind == WINDOW else SOON_MS)


def next_block(timeline: "Reader", class_ms: int) -> "Onward | None":
    """Return where the block after the present one begins, None when this is the last.

    Before the first window that is the first block. Raises what reading the timeline raises.
    """
    span = Span()
    block = 0
    for index in range(timeline.head.spans):
        timeline.span(index, span)
        if span.kind != WINDOW:
            continue
        if span.start_ms <= class_ms:
            block = span.block
        elif span.block != block:
            return Onward(span.start_ms, LEAD_MS)
    return None


def gate_after(timeline: "Reader", class_ms: int) -> int:
    """Return the ``class_ms`` of the first gate after ``class_ms``, or of the end.

    Raises what reading the timeline raises.
    """
    span = Span()
    for index in range(timeline.head.spans):
        timeline.span(index, span)
        if span.kind == GATE and span.start_ms > class_ms:
            return span.start_ms
    return timeline.head.slot_ms
