"""A class's bells as a sound file, from the same cue sheet that the box plays.

The sheet says when what rings; here its tones become sine waves at a moderate level. File time is
``class_ms``, but for gates, which take no class time and last ``GATE_MS`` here.
"""

from __future__ import annotations

import functools
import io
import math
import sys
import wave
from array import array
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import BinaryIO

from handbell_core import cues
from handbell_core import timeline as t

RATE_HZ = 8_000  # twice and more the highest tone of the sheet, 1568 Hz; a minute is 1 MB
LEVEL = 0.25  # of full scale, -12 dB
EDGE_MS = 5  # tones swell and fade, so that they don't click
GATE_MS = 10_000
AFTER_MS = 1_000  # of silence behind the last bell
_PIECE = 65_536


@dataclass(frozen=True)
class Bell:
    """A cue of the sheet: when it rings in the file and in the class.

    ``waited_ms`` is what the gates before its place in the class last in the file.
    """

    at_ms: int
    class_ms: int
    cue: int
    waited_ms: int = 0


def bells(data: bytes) -> list[Bell]:
    """Return every bell of a box's timeline, in order; none when it is silent."""
    reader = t.Reader(io.BytesIO(data))
    head = reader.head
    if head.flags & t.SILENT:
        return []
    found: list[Bell] = []
    waited_ms = 0
    for number in range(head.spans):
        span = reader.span(number, t.Span())
        if span.kind == t.RATING:
            continue
        found += [
            Bell(span.start_ms + at_ms + waited_ms, span.start_ms + at_ms, cue, waited_ms)
            for at_ms, cue in _span_cues(span, head.count_s)
        ]
        if span.kind == t.GATE:  # once somebody has let the box go on, it gives a heads-up
            near_ms = span.start_ms + waited_ms + GATE_MS - cues.NEAR_MS
            found.append(Bell(near_ms, span.start_ms, cues.NEAR, waited_ms))
            waited_ms += GATE_MS
    return [*found, Bell(head.slot_ms + waited_ms, head.slot_ms, cues.CLOSE, waited_ms)]


def _span_cues(span: t.Span, count_s: int) -> Iterator[tuple[int, int]]:
    after_ms = 0
    while True:
        at_ms, cue = cues.next_cue(span.kind, span.duration_ms, span.flags, count_s, after_ms)
        if at_ms < 0:
            return
        yield at_ms, cue
        after_ms = at_ms + 1


def part(ringing: Iterable[Bell], from_ms: int, to_ms: int | None) -> list[Bell]:
    """Return the bells between two times of the class, ``from_ms`` as the file's start."""
    heard = [
        bell
        for bell in ringing
        if from_ms <= bell.class_ms and (to_ms is None or bell.class_ms < to_ms)
    ]
    start_ms = from_ms + (heard[0].waited_ms if heard else 0)
    return [replace(bell, at_ms=bell.at_ms - start_ms) for bell in heard]


def write_wav(file: BinaryIO, ringing: Iterable[Bell], speed: int = 1) -> int:
    """Write bells as a mono 16-bit WAV file and return its length in ms.

    ``speed`` shortens the time between bells, not the bells.
    """
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(RATE_HZ)
        written = 0
        sound: array[int] = array("h")
        for bell in ringing:
            at = bell.at_ms * RATE_HZ // (1000 * speed)
            written += _write(out, sound, at - written)
            sound = samples(bell.cue)  # as on the box, a bell cuts off the one before
        written += _write(out, sound, len(sound) + AFTER_MS * RATE_HZ // 1000)
    return written * 1000 // RATE_HZ


def _write(out: wave.Wave_write, sound: array[int], frames: int) -> int:
    """Write a sound and silence behind it, ``frames`` in all; return how many these are."""
    out.writeframes(_bytes(sound[:frames]))
    left = frames - len(sound)
    while left > 0:
        piece = min(left, _PIECE)
        out.writeframes(bytes(2 * piece))
        left -= piece
    return frames


def _bytes(sound: array[int]) -> bytes:
    if sys.byteorder == "big":
        sound = sound[:]
        sound.byteswap()
    return sound.tobytes()


@functools.cache
def samples(cue: int) -> array[int]:
    """Return a cue's motif as 16-bit samples at ``RATE_HZ``."""
    made = array("h")
    edge = EDGE_MS * RATE_HZ // 1000
    for tone_hz, ms in cues.MOTIFS[cue]:
        frames = ms * RATE_HZ // 1000
        for n in range(frames):
            swell = min(n, frames - 1 - n, edge) / edge
            level = 32_767 * LEVEL * math.sin(swell * math.pi / 2) ** 2
            made.append(round(level * math.sin(2 * math.pi * tone_hz * n / RATE_HZ)))
    return made
