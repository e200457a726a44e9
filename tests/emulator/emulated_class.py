"""A short class for an emulated box, and what it should ring and when."""

from __future__ import annotations

import random
import struct
from typing import NamedTuple

from emulated_box import UTC_AT_POWER_US, EmulatedBox

from handbell_core import journal
from handbell_core.cues import MOTIFS, next_cue
from made import lead_in, rest, timeline_bytes, window

COUNT_S = 2
LEAD_IN_MS, WINDOW_MS, REST_MS = 5_000, 6_000, 5_000
BIBS = (7, 0, 0, 0)


class Due(NamedTuple):
    """A cue and its place in the class; ``opens`` where a span begins with it."""

    class_ms: int
    cue: int
    opens: bool


def spans(rounds: int) -> list:
    """Return a lead-in and windows with rests between: every 5 s leave a gap for the flash."""
    out = [lead_in(LEAD_IN_MS)]
    for _ in range(rounds):
        out += [window(WINDOW_MS, bibs=BIBS), rest(REST_MS)]
    return out


def timeline(rounds: int) -> bytes:
    return timeline_bytes(spans(rounds), count_s=COUNT_S)


def dues(rounds: int) -> list[Due]:
    """Return every cue of the class by the cue sheet."""
    out: list[Due] = []
    begin_ms = 0
    for span in spans(rounds):
        after_ms = 0
        while True:
            at_ms, cue = next_cue(span.kind, span.duration_ms, span.flags, COUNT_S, after_ms)
            if not cue:
                break
            out.append(Due(begin_ms + at_ms, cue, at_ms == 0))
            after_ms = at_ms + 1
        begin_ms += span.duration_ms
    return out


def class_length_ms(rounds: int) -> int:
    return LEAD_IN_MS + rounds * (WINDOW_MS + REST_MS)


def motif(cue: int) -> list[int]:
    """Return the tones that a cue sounds, in Hz."""
    return [tone for tone, _ in MOTIFS[cue] if tone]


def press_through(box: EmulatedBox, start_us: float, rounds: int, every_us: int = 250_000) -> None:
    """Press the first button ``1e6 / every_us`` times a second in every window, with bounce.

    Bounce to 6.2 ms: Ganssle, A Guide to Debouncing. The first press comes 0.4 s into a window.
    """
    chance = random.Random(3)
    for n in range(rounds):
        begin_us = start_us + 1000 * (LEAD_IN_MS + n * (WINDOW_MS + REST_MS))
        at_us = begin_us + 400_000
        while at_us < begin_us + WINDOW_MS * 1000 - 200_000:
            bounce = sorted(chance.sample(range(200, 6_200), 4))
            box.buttons[0].press(at_us + chance.randrange(20_000), bounce_us=bounce)
            at_us += every_us


def taps(run: bytes) -> list[tuple[int, int]]:
    """Return (class_ms, flags) of every tap in a journal; a broken record is an error."""
    records, broken = journal.parse(run)
    assert not broken
    found = [r for r in records if r[0] == journal.TAP]
    return [(r[3], struct.unpack("<HHHB", r[4][:7])[3]) for r in found]


def counted(run: bytes) -> int:
    """Return the reps that the box counted in all windows."""
    records, _ = journal.parse(run)
    return sum(struct.unpack("<HH", r[4][:4])[1] for r in records if r[0] == journal.RESULT)


def clock_error_us(model_utc_us: int, model_box_us: int, power_tick: int) -> int:
    """Return how far ahead of UTC the box believes to be, exactly.

    ``power_tick`` is the chip's microsecond at which its ``box_us`` was 0.
    """
    return model_utc_us - UTC_AT_POWER_US - model_box_us - power_tick
