"""An SSD1306-type screen: what reaches it on the bus, decoded into pixels.

Commands as in the controller's data sheet (from memory): addressing modes, windows, start line,
offset, remaps, contrast, invert, all-on and power. Scrolling is taken and not shown.
"""

from __future__ import annotations

from collections import deque
from pathlib import Path

WIDTH, HEIGHT = 128, 64
# Changes kept, enough for a day of classes; past that the oldest go.
HISTORY = 200_000
_PAGES = HEIGHT // 8
_HORIZONTAL, _VERTICAL, _PAGE = 0, 1, 2
# How many bytes follow a command.
_ARGUMENTS = {
    0x20: 1, 0x21: 2, 0x22: 2, 0x26: 6, 0x27: 6, 0x29: 5, 0x2A: 5, 0x81: 1, 0x8D: 1, 0xA3: 2,
    0xA8: 1, 0xD3: 1, 0xD5: 1, 0xD9: 1, 0xDA: 1, 0xDB: 1,
}  # fmt: skip
# The SH1106 type (from memory): 128 of its 132 columns are on the glass, from the third on; pages
# only, and other commands for its supply.
_PAGED_COLUMNS, _PAGED_FROM = 132, 2
_PAGED_ARGUMENTS = dict.fromkeys((0x81, 0xA8, 0xAD, 0xD3, 0xD5, 0xD9, 0xDA, 0xDB), 1)
_BEZEL = (24, 26, 30)
_DARK = (10, 12, 16)
_PALE = (214, 236, 250)


class Screen:
    """A 128 x 64 panel, fitted so that remapped segments and rows (0xA1, 0xC8) read upright."""

    def __init__(self, paged: bool = False) -> None:
        self.history: deque[int] = deque(maxlen=HISTORY)
        self._across = _PAGED_COLUMNS if paged else WIDTH
        self._first = _PAGED_FROM if paged else 0
        self._arguments = _PAGED_ARGUMENTS if paged else _ARGUMENTS
        self._reset()

    def _reset(self) -> None:
        self._ram = bytearray(self._across * _PAGES)
        self.is_on = False
        self.contrast = 0x7F
        self._mode = _PAGE
        self._columns = (0, self._across - 1)
        self._window = (0, _PAGES - 1)
        self._column = self._page = 0
        self._start_line = self._offset = 0
        self._inverted = self._all_on = False
        self._mirrored = self._upturned = True
        self._pending: list[int] = []

    def lose_power(self, world_us: int) -> None:
        """Dark, and every setting forgotten."""
        was_on = self.is_on
        self._reset()
        if was_on:
            self.history.append(world_us)

    def take(self, data: bytes, world_us: int) -> None:
        """One write on the bus: control bytes, each saying what follows it."""
        before = self._shown()
        at = 0
        while at < len(data):
            control = data[at]
            single = control & 0x80
            body = data[at + 1 : at + 2] if single else data[at + 1 :]
            if control & 0x40:
                self._write(body)
            else:
                for byte in body:
                    self._command(byte)
            at += 1 + len(body) if body else 1
        if before != self._shown():
            self.history.append(world_us)

    def _shown(self) -> tuple[bytes, bool, bool, bool, int]:
        return bytes(self._ram), self.is_on, self._inverted, self._all_on, self._start_line

    def _write(self, body: bytes) -> None:
        at = 0
        while at < len(body):
            end = self._columns[1] if self._mode != _PAGE else self._across - 1
            run = 1 if self._mode == _VERTICAL else max(1, end - self._column + 1)
            part = body[at : at + run]
            place = self._page * self._across + self._column
            self._ram[place : place + len(part)] = part
            at += len(part)
            self._advance(len(part), end)

    def _advance(self, written: int, end: int) -> None:
        if self._mode == _VERTICAL:
            self._next_page()
            if self._page == self._window[0]:
                self._next_column(1, end)
        elif self._next_column(written, end) and self._mode == _HORIZONTAL:
            self._next_page()

    def _next_column(self, by: int, end: int) -> bool:
        self._column += by
        wrapped = self._column > end
        if wrapped:
            self._column = self._columns[0] if self._mode != _PAGE else 0
        return wrapped

    def _next_page(self) -> None:
        self._page = self._window[0] if self._page == self._window[1] else (self._page + 1) % _PAGES

    def _command(self, byte: int) -> None:
        self._pending.append(byte)
        if len(self._pending) <= self._arguments.get(self._pending[0], 0):
            return
        op, *arguments = self._pending
        self._pending = []
        if arguments:
            self._set(op, arguments)
        elif op < 0x10:
            self._column = self._column & 0xF0 | op
        elif op < 0x20:
            self._column = ((op & 0x0F) << 4 | self._column & 0x0F) % self._across
        elif 0x40 <= op < 0x80:
            self._start_line = op & 0x3F
        elif 0xB0 <= op < 0xB8:
            self._page = op & 0x07
        else:
            self._switch(op)

    def _set(self, op: int, arguments: list[int]) -> None:
        if op == 0x20:
            self._mode = arguments[0] & 3
        elif op == 0x21:
            self._columns = (arguments[0] & 0x7F, arguments[1] & 0x7F)
            self._column = self._columns[0]
        elif op == 0x22:
            self._window = (arguments[0] & 7, arguments[1] & 7)
            self._page = self._window[0]
        elif op == 0x81:
            self.contrast = arguments[0]
        elif op == 0xD3:
            self._offset = arguments[0] & 0x3F

    def _switch(self, op: int) -> None:
        if op in (0xAE, 0xAF):
            self.is_on = op == 0xAF
        elif op in (0xA0, 0xA1):
            self._mirrored = op == 0xA1
        elif op in (0xA4, 0xA5):
            self._all_on = op == 0xA5
        elif op in (0xA6, 0xA7):
            self._inverted = op == 0xA7
        elif 0xC0 <= op <= 0xCF:
            self._upturned = op >= 0xC8

    def pixels(self) -> bytes:
        """Row by row from the top left, one byte a pixel, 1 where it is lit."""
        if not self.is_on:
            return bytes(WIDTH * HEIGHT)
        if self._all_on:
            return b"\x01" * (WIDTH * HEIGHT)
        out = bytearray()
        flip = 1 if self._inverted else 0
        for y in range(HEIGHT):
            row = y if self._upturned else HEIGHT - 1 - y
            line = (row + self._start_line + self._offset) % HEIGHT
            start = line // 8 * self._across + self._first
            page = self._ram[start : start + WIDTH]
            if not self._mirrored:
                page.reverse()
            bit = line % 8
            out += bytes((byte >> bit & 1) ^ flip for byte in page)
        return bytes(out)

    def png(self, path: Path, scale: int = 4, look: str = "panel") -> None:
        """Writes a picture: `panel` with bezel and gaps between pixels, `plain` black and white."""
        from PIL import Image

        plain = Image.frombytes("L", (WIDTH, HEIGHT), bytes(255 * on for on in self.pixels()))
        plain = plain.resize((WIDTH * scale, HEIGHT * scale), Image.Resampling.NEAREST)
        if look == "plain":
            plain.save(path)
            return
        edge = 6 * scale
        lit = Image.new("RGB", plain.size, _PALE)
        glass = Image.new("RGB", plain.size, _DARK)
        dot = Image.new("L", (scale, scale), 255)
        for i in range(scale if scale > 2 else 0):
            dot.putpixel((scale - 1, i), 150)
            dot.putpixel((i, scale - 1), 150)
        grid = Image.new("L", plain.size)
        for x in range(0, grid.width, scale):
            grid.paste(dot, (x, 0))
        row = grid.crop((0, 0, grid.width, scale))
        for y in range(scale, grid.height, scale):
            grid.paste(row, (0, y))
        mask = Image.composite(grid, Image.new("L", plain.size), plain)
        glass.paste(lit, (0, 0), mask)
        whole = Image.new("RGB", (glass.width + 2 * edge, glass.height + 2 * edge), _BEZEL)
        whole.paste(glass, (edge, edge))
        whole.save(path)
