"""A telegram as bursts of a 38 kHz carrier, read from edges one at a time; ``bursts_out`` writes.

Laid out in ``docs/engineers/formats.md``. Two bits are the time from the begin of one burst to the
begin of the next; how long a burst is seen hangs on how bright it is, when it begins much less so.
"""

SIZE = 16  # bytes of a telegram
SYMBOLS = 64  # two bits each, the lowest of a byte first

# In cycles of the carrier. A long burst begins a telegram; the burst that ends it ends the last
# symbol too. So that common receivers take it (data sheets in formats.md): bursts of 10 to 35
# cycles, then 10 of dark at the very least, and never more than 800 bursts a second.
CARRIER_HZ = 38_000
BURST = 16
LONG_BURST = 34
START = 136  # from the long burst to the first of the symbols
LEAST = 48  # what symbol 0 takes, and STEP more for each one after it
STEP = 20
DARK = 48  # after the last burst, before anything else may be sent

# The same in microseconds, as far apart as they may be taken for each other.
_STEP_US = STEP * 500 // 19
_LEAST_US = LEAST * 500 // 19 - _STEP_US // 2
_START_LEAST_US = START * 500 // 19 - _STEP_US // 2
_START_MOST_US = START * 500 // 19 + _STEP_US // 2
_BURST_LEAST_US = 180
_LONG_LEAST_US = (BURST + LONG_BURST) * 250 // 19
_LONG_MOST_US = 1_150
_WAITS, _STARTS = -2, -1  # for a long burst; for the first symbol to begin


class Reader:
    """Reads telegrams from edges, as they come; what is none is passed over.

    ``data`` holds the 16 bytes of a telegram from its end to the next edge.
    """

    def __init__(self) -> None:
        self.data = bytearray(SIZE)
        self._at = _WAITS  # or which symbol is being timed
        self._lit = False
        self._lit_us = 0  # how long the last burst was

    def edge(self, lit: bool, us: int) -> bool:
        """The light came (``lit``) or went, ``us`` after the edge before; True as a telegram ends.

        Any whole number will do for ``us``.
        """
        if lit == self._lit:  # an edge is missing
            self._at = _WAITS
        self._lit = lit
        if not lit:
            self._lit_us = us
            if _LONG_LEAST_US <= us <= _LONG_MOST_US:
                self._at = _STARTS
            elif not _BURST_LEAST_US <= us < _LONG_LEAST_US:
                self._at = _WAITS
            return False
        at = self._at
        if at == _WAITS:
            return False
        us += self._lit_us
        if at == _STARTS:
            self._at = 0 if _START_LEAST_US <= us <= _START_MOST_US else _WAITS
            return False
        symbol = (us - _LEAST_US) // _STEP_US
        if not 0 <= symbol <= 3:
            self._at = _WAITS
            return False
        data = self.data
        data[at >> 2] = data[at >> 2] >> 2 | symbol << 6
        if at < SYMBOLS - 1:
            self._at = at + 1
            return False
        self._at = _WAITS
        return True
