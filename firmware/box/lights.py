"""The light strip: time left as a number of lamps, and what it is time for as a pattern.

Colours and patterns are those of the cue sheet. A write keeps interrupts off for 280 us, so the
strip is written only when a lamp changes; nothing changes faster than the sheet's slow blink.
"""

from handbell_core.cues import (
    ALTERNATE,
    BLINK,
    BLINK_MS,
    BLUISH_GREEN,
    LIGHTS,
    POINT,
    SKY_BLUE,
    WHOLE,
    YELLOW,
)
from handbell_core.timeline import GATE, REST

LAMPS = 8
STEADY_MS = 60_000  # "nothing changes by itself"
DIM = 8  # a dim lamp has an eighth of a lamp's light

# Looks: what a run's state shows instead of its span's kind.
BY_KIND, MADE, TO_START, RESTING, TROUBLE, OVER, DARK = range(7)

# Patterns beside the cue sheet's: the first lamp faint, both ends, the middle.
_FAINT, _ENDS, _MIDDLE = range(BLINK + 1, BLINK + 4)
_LOOKS = {
    MADE: LIGHTS[REST],  # what is earned is a rest
    TO_START: (SKY_BLUE, POINT),
    RESTING: (SKY_BLUE, _FAINT),
    TROUBLE: (YELLOW, _ENDS),
    OVER: (BLUISH_GREEN, _MIDDLE),
    DARK: ((0, 0, 0), WHOLE),
}
_OFF = (0, 0, 0)


class Lights:
    """Lights on a strip of 8 lamps; ``cap`` (0 to 255) is the most that one colour may get."""

    def __init__(self, strip, cap):
        self._strip = strip
        self._cap = cap
        self._lamps: list = [None] * LAMPS
        self._changed = False
        self._colour = None
        self._full = self._dim = self._faint = _OFF

    def set(self, kind, left_ms, duration_ms, now_ms, extra=BY_KIND):
        """Set the lamps for a span of ``kind`` with ``left_ms`` of ``duration_ms`` left, or for
        the look ``extra``; ``write`` shows them.

        Return in how many milliseconds they change by themselves.
        """
        look = _LOOKS.get(extra) or LIGHTS.get(kind) or _LOOKS[DARK]
        pattern = look[1]
        if look[0] is not self._colour:
            self._take_colour(look[0])
        count, wait_ms = LAMPS, STEADY_MS
        if duration_ms > 0 and kind != GATE:
            left_ms = max(0, left_ms)
            count = min(LAMPS, (left_ms * LAMPS + duration_ms - 1) // duration_ms)
            if count:
                wait_ms = left_ms - duration_ms * (count - 1) // LAMPS
        if pattern == BLINK:
            half_ms = BLINK_MS // 2
            if now_ms // half_ms % 2:
                count = 0
            wait_ms = min(wait_ms, half_ms - now_ms % half_ms)
        elif pattern > BLINK:
            wait_ms = STEADY_MS
        self._light(pattern, count)
        return max(1, wait_ms)

    def _take_colour(self, colour):
        self._colour = colour
        self._full = self._part_of(colour, 1)
        self._dim = self._part_of(colour, DIM)
        self._faint = self._part_of(colour, 4 * DIM)

    def _part_of(self, colour, part):
        r, g, b = colour
        whole = 255 * part
        cap = self._cap
        return (
            (r * cap + whole - 1) // whole,
            (g * cap + whole - 1) // whole,
            (b * cap + whole - 1) // whole,
        )

    def _light(self, pattern, count):
        lamps, strip = self._lamps, self._strip
        for at in range(LAMPS):
            colour = self._lamp(pattern, count, at)
            if lamps[at] != colour:
                lamps[at] = strip[at] = colour
                self._changed = True

    def test(self, only, colour):
        """Light the lamp ``only`` and no other, and write the strip."""
        for at in range(LAMPS):
            self._lamps[at] = self._strip[at] = colour if at == only else _OFF
        self._strip.write()

    def write(self):
        """Write the strip if a lamp was changed."""
        if self._changed:
            self._changed = False
            self._strip.write()

    def _lamp(self, pattern, count, at):
        if pattern == ALTERNATE:
            if at >= count:
                return _OFF
            return self._dim if at % 2 else self._full
        if pattern == POINT:
            lit = at == count - 1
        elif pattern == _FAINT:
            return _OFF if at else self._faint
        elif pattern == _ENDS:
            lit = at == 0 or at == LAMPS - 1
        elif pattern == _MIDDLE:
            lit = at == LAMPS // 2 or at == LAMPS // 2 - 1
        else:
            lit = at < count
        return self._full if lit else _OFF
