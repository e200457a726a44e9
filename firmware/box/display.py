"""The display: a driver for 128 x 64 panels with an SSD1306-type controller on I2C.

Command values are those of the controller's data sheet (Solomon Systech, SSD1306), those of the
SH1106 type from memory: it takes a page and a column for each piece but no ranges, and the glass
shows its 132 columns from the third on. What is drawn on ``canvas`` reaches the glass in small
pieces, so that no transfer keeps a cue waiting, and only where it differs from what the glass shows
already.
"""

import time
from struct import pack_into

import framebuf

WIDTH, HEIGHT = 128, 64
TILE = 32  # columns of one page that are compared and sent together
TILES = WIDTH * HEIGHT // 8 // TILE
ACROSS = WIDTH // TILE
HEAD = 13  # bytes before a piece's pixels: three command bytes twice, each behind a control byte
LIMIT = 32  # pixel bytes a piece: with its head 1.25 ms at 400 kHz
RETRY_MS = 100  # after a transfer that failed; then twice as long each time, up to
RETRY_MOST_MS = 10_000
RETRY_US = 15_000  # a try may take this long: freeing the bus, then a transfer up to its limit
RESET_US = 10  # the reset pulse, and the wait after it: 3 us each at least (SSD1306 data sheet)
PAGED_FROM = 2  # the first column of an SH1106-type memory that is on the glass
NOTHING = 0xE3  # a command that does nothing, on both

_RANGES = (0x20, 0x00)  # addresses run along a page, then to the next
_PUMP, _PAGED_PUMP = (0x8D, 0x14), (0xAD, 0x8B)  # charge pump on
_START = (
    (0x40,)  # first row of memory on top
    + (0xA1, 0xC8)  # columns and rows turned: the panel's cable is at its lower edge
    + (0xA8, 0x3F)  # 64 rows
    + (0xD3, 0x00)  # no offset
    + (0xDA, 0x12)  # how the rows are wired
    + (0xD5, 0x80)  # oscillator
    + (0xD9, 0xF1)  # precharge and
    + (0xDB, 0x30)  # level, for a panel fed by the charge pump
    + (0xA4,)  # show memory
    + (0xA6,)  # a set bit is a lit pixel
    + (0xAF,)  # on
)


class Display:
    """A panel at ``address`` on ``bus``; draw on ``canvas``, call ``drawn``, then ``update``.

    ``present`` is False while the panel doesn't answer; that never raises, and every now and then
    it is tried again: reset, if it has a pin for that, on a bus that no part holds. ``paged`` is
    True for a controller that takes no ranges of columns and pages.
    """

    def __init__(self, bus, address=0x3C, reset=None, paged=False):
        self._bus = bus
        self._address = address
        self._reset = reset
        self._paged = paged
        first = (0xAE,) + (_PAGED_PUMP if paged else _RANGES + _PUMP)
        self._start = bytes((0x00,) + first + _START)  # off, and commands follow
        drawn = bytearray(WIDTH * HEIGHT // 8)
        self._shown = bytearray(WIDTH * HEIGHT // 8)
        self.canvas = framebuf.FrameBuffer(drawn, WIDTH, HEIGHT, framebuf.MONO_VLSB)
        # Views made once: comparing and copying through them takes no memory later.
        self._drawn_tiles = _tiles(memoryview(drawn))
        self._shown_tiles = _tiles(memoryview(self._shown))
        out = bytearray(HEAD + TILE * ACROSS)
        self._out = out
        self._pieces = [memoryview(out)[: HEAD + TILE * (n + 1)] for n in range(ACROSS)]
        for at in range(0, HEAD - 1, 2):
            out[at] = 0x80  # one command byte follows, then another control byte
        out[1], out[7], out[12] = 0x21, 0x22, 0x40  # columns, pages; pixels to the end
        if paged:
            out[7] = out[9] = out[11] = NOTHING
        self._contrast = bytearray((0x00, 0x81, 0x9F))
        self._tile = 0
        self._sure = 0  # tiles of the glass that are known, from the first on
        self._dirty = True
        self._failed_ms = 0
        self._retry_ms = RETRY_MS
        self.present = False
        self._begin()

    def _begin(self):
        self._sure = self._tile = 0
        self._dirty = True
        self.present = True
        if self._reset is not None:
            self._reset(0)
            time.sleep_us(RESET_US)
            self._reset(1)
            time.sleep_us(RESET_US)
        if self._send(self._start):
            self._send(self._contrast)

    def _send(self, piece):
        try:
            self._bus.writeto(self._address, piece)
        except OSError:
            self.present = False
            self._failed_ms = time.ticks_ms()
            self._retry_ms = min(2 * self._retry_ms, RETRY_MOST_MS)
        return self.present

    def drawn(self):
        """Say that ``canvas`` was drawn on."""
        self._dirty = True

    def contrast(self, level):
        """Set the brightness, 0 to 255."""
        self._contrast[2] = level
        if self.present:
            self._send(self._contrast)

    def update(self, limit_bytes=LIMIT, free_us=RETRY_US):
        """Send one piece of at most ``limit_bytes`` of pixels; return whether more is left.

        With less than RETRY_US in ``free_us`` a panel that doesn't answer is not tried again.

        A piece is a run of changed tiles of one page: 45 bytes on the bus for one tile (the least),
        109 for three (1.1 ms at 1 MHz). Nothing is sent when nothing changed.
        """
        if not self.present:
            failed_for_ms = time.ticks_diff(time.ticks_ms(), self._failed_ms)
            if failed_for_ms >= self._retry_ms and free_us >= RETRY_US:
                self._bus.free()
                self._begin()
            return self.present
        if not self._dirty:
            return False
        tile = self._next_changed()
        if tile < 0:
            self._dirty = False
            self._retry_ms = RETRY_MS
            return False
        most = max(1, min(limit_bytes // TILE, ACROSS - tile % ACROSS))
        count = 0
        while count < most and self._changed(tile + count):
            self._take(tile + count, count)
            count += 1
        out = self._out
        column = tile % ACROSS * TILE
        if self._paged:
            first = column + PAGED_FROM
            out[1], out[3], out[5] = 0xB0 | tile // ACROSS, first & 0x0F, 0x10 | first >> 4
        else:
            out[3], out[5] = column, column + count * TILE - 1
            out[9] = out[11] = tile // ACROSS
        self._tile = (tile + count) % TILES
        self._send(self._pieces[count - 1])
        return self.present

    def _changed(self, tile):
        return tile >= self._sure or self._drawn_tiles[tile] != self._shown_tiles[tile]

    def _next_changed(self):
        for tile in range(self._tile, TILES):
            if self._changed(tile):
                return tile
        for tile in range(self._tile):
            if self._changed(tile):
                return tile
        return -1

    def _take(self, tile, place):
        pixels = self._drawn_tiles[tile]
        pack_into("32s", self._out, HEAD + TILE * place, pixels)
        pack_into("32s", self._shown, TILE * tile, pixels)
        if tile == self._sure:
            self._sure += 1


def _tiles(view):
    return [view[at : at + TILE] for at in range(0, len(view), TILE)]
