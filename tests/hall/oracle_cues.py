"""When which cue rings, by docs/engineers/timing.md, docs/engineers/architecture.md and the words of the cue sheet."""

from __future__ import annotations

from handbell_core.cues import AWAIT, COUNT, EASE, GO, NEAR, SIDES, TURN
from handbell_core.timeline import (
    BOTH_SIDES,
    BREAK,
    CHANGE,
    COOL_DOWN,
    GATE,
    LEAD_IN,
    RATING,
    REST,
    WARM_UP,
    WINDOW,
)

HEADS_UP_MS = 3_000
HEADS_UP_LEAST_MS = 8_000
FIRST = {
    LEAD_IN: TURN, WARM_UP: TURN, COOL_DOWN: TURN, WINDOW: GO, CHANGE: EASE, REST: EASE,
    BREAK: EASE, GATE: AWAIT,
}  # fmt: skip


def cues_of(span, count_s: int) -> dict[int, int]:
    """Return the cue at each offset in ms from a span's start."""
    cues: dict[int, int] = {}
    if span.kind == RATING:
        return cues
    length_ms = span.duration_ms
    if span.kind != GATE:
        if count_s:
            for left_s in range(1, count_s + 1):
                if left_s * 1000 < length_ms:
                    cues[length_ms - left_s * 1000] = COUNT
        elif length_ms >= HEADS_UP_LEAST_MS:
            cues[length_ms - HEADS_UP_MS] = NEAR
        if span.flags & BOTH_SIDES:
            cues[length_ms // 2] = SIDES
    cues[0] = FIRST[span.kind]
    return cues


def heads_up_ms(start_ms: int) -> int:
    """Return when a start that is set is announced; it is not counted down, whatever the plan."""
    return start_ms - HEADS_UP_MS
