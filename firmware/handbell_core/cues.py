"""The cue sheet: what each kind of span rings and shows, as rules at offsets from its edges.

Cues are not stored in a timeline. Tones are on equal temperament (ISO 16, A4 = 440 Hz) between
500 and 2000 Hz; motifs differ in rhythm, not only in pitch. Colours are from the set that most
people with a colour-vision deficiency tell apart (Okabe & Ito); a pattern always says it too.
"""

from .timeline import (
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

# Cues
NO_CUE, GO, EASE, NEAR, COUNT, SIDES, TURN, AWAIT, MADE, CLOSE, CALL, BACK = range(12)

# Tones in Hz, equal temperament rounded to whole Hz (the chip's PWM takes whole Hz).
C5, E5, G5, A5, C6, E6, G6 = 523, 659, 784, 880, 1047, 1319, 1568

# A motif is (tone Hz, ms) pairs in turn; tone 0 is silence.
MOTIFS = {
    GO: ((E6, 420),),
    EASE: ((C6, 90), (0, 60), (G5, 240)),
    NEAR: ((A5, 70), (0, 60), (A5, 70)),
    COUNT: ((A5, 60),),
    SIDES: ((C6, 60), (0, 50), (C6, 60), (0, 50), (C6, 60)),
    TURN: ((G5, 200), (0, 60), (C6, 200)),
    AWAIT: ((C5, 160), (0, 120), (C5, 160)),
    MADE: ((E6, 60), (0, 40), (G6, 120)),
    CLOSE: ((G5, 130), (0, 40), (C6, 130), (0, 40), (E6, 240)),
    CALL: ((E5, 100), (0, 80), (E6, 100)),
    BACK: ((E5, 150),),
}

NEAR_MS = 3_000
NEAR_LEAST_MS = 8_000  # a shorter span has no heads-up

_AT_START = {
    LEAD_IN: TURN,
    WARM_UP: TURN,
    WINDOW: GO,
    CHANGE: EASE,
    REST: EASE,
    BREAK: EASE,
    GATE: AWAIT,
    COOL_DOWN: TURN,
    RATING: NO_CUE,
}

# Answers to a person's own press; not on the sheet, since nobody else waits for them.
ANSWERS = (MADE, BACK, CALL)

# Colours as RGB and patterns of the light strip, by span kind. The strip shows time left; the
# pattern says how: whole lamps, every other lamp, one travelling lamp, a slow blink.
BLUISH_GREEN = (0, 158, 115)
SKY_BLUE = (86, 180, 233)
BLUE = (0, 114, 178)
ORANGE = (230, 159, 0)
PURPLE = (204, 121, 167)
YELLOW = (240, 228, 66)
WHOLE, ALTERNATE, POINT, BLINK = range(4)
LIGHTS = {
    LEAD_IN: (SKY_BLUE, BLINK),
    WARM_UP: (SKY_BLUE, WHOLE),
    WINDOW: (ORANGE, WHOLE),
    CHANGE: (PURPLE, POINT),
    REST: (BLUE, ALTERNATE),
    BREAK: (BLUE, ALTERNATE),
    GATE: (PURPLE, BLINK),
    COOL_DOWN: (SKY_BLUE, WHOLE),
    RATING: (BLUISH_GREEN, ALTERNATE),
}
BLINK_MS = 1_000  # a full on-off cycle: 1 Hz, under the 3 flashes a second of WCAG 2.3.1


def motif_ms(cue: int) -> int:
    """Return how long a cue sounds."""
    return sum(part[1] for part in MOTIFS.get(cue, ()))


def start_cue(kind: int) -> int:
    """Return the cue with which a span of ``kind`` begins."""
    return _AT_START.get(kind, NO_CUE)


def next_cue(
    kind: int, duration_ms: int, flags: int, count_s: int, after_ms: int
) -> "tuple[int, int]":
    """Return (offset_ms, cue) of the span's first cue at ``after_ms`` or later, or (-1, NO_CUE).

    The sheet: a bell at the start; at half time when sides change; a heads-up 3 s before the end
    of a span of 8 s or more, or a count of the last ``count_s`` seconds instead.
    """
    if after_ms <= 0 and _AT_START[kind]:
        return 0, _AT_START[kind]
    best = duration_ms
    cue = NO_CUE
    if flags & BOTH_SIDES and after_ms <= duration_ms // 2:
        best = duration_ms // 2
        cue = SIDES
    if kind in (GATE, RATING) or after_ms >= duration_ms:
        return (best, cue) if cue else (-1, NO_CUE)
    if count_s:
        left_s = min(count_s, (duration_ms - max(after_ms, 1)) // 1000)
        if left_s > 0 and duration_ms - left_s * 1000 < best:
            return duration_ms - left_s * 1000, COUNT
    elif duration_ms >= NEAR_LEAST_MS:
        at = duration_ms - NEAR_MS
        if after_ms <= at < best:
            return at, NEAR
    return (best, cue) if cue else (-1, NO_CUE)
