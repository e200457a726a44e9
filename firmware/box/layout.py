"""What all screens are made of: the time, rules and corners, lines of text, press marks."""

import framebuf

from .display import HEIGHT, WIDTH
from .font import digits, digits_height, digits_width, fit, text, width

TIME = 40  # rows of the seconds, and of what stands beside them
LAST_S = 5  # from here on the seconds take the whole height
LINES = (43, 55)  # top rows of the two small lines

# Rules beside the seconds: (rows of a dash, rows from dash to dash, how many rules)
SOLID, LONG, SHORT, TWICE = (HEIGHT, HEIGHT, 1), (9, 14, 1), (2, 5, 1), (2, 5, 2)
LEFT, RIGHT = range(2)
_DOTS = b"\x01\x00\x00" * (WIDTH // 3 + 1)  # a row of pixels, as a picture


class Layout:
    """Parts of screens, drawn on ``canvas``."""

    def __init__(self, canvas):
        self._canvas = canvas

    def _time(self, left_s, x, room, side):
        """Draw the time left; return whether it has the whole height."""
        last = 0 < left_s <= LAST_S
        left = clock(left_s)
        height = digits_height(left, room, HEIGHT if last else TIME)
        if side == RIGHT:
            x += room - digits_width(height, left)
        digits(self._canvas, x, 0 if last else (TIME - height) // 2, height, left)
        return last

    def _rule(self, x, style, whole):
        dash, step, rules = style
        rows = HEIGHT if whole else TIME
        for rule in range(rules):
            for y in range(0, rows, step):
                self._canvas.fill_rect(x - 4 * rule, y, 2, min(dash, rows - y), 1)

    def _corners(self):
        canvas = self._canvas
        for y in (0, HEIGHT - 10):
            canvas.fill_rect(0, y, 2, 10, 1)
            canvas.fill_rect(WIDTH - 2, y, 2, 10, 1)
        for y in (0, HEIGHT - 2):
            canvas.fill_rect(0, y, 10, 2, 1)
            canvas.fill_rect(WIDTH - 10, y, 10, 2, 1)

    def _bar(self, down, x, y, wide, share=-1):
        """Draw the line under a number: thick while pressed, else ``share`` columns of it done."""
        canvas = self._canvas
        if down:
            canvas.fill_rect(x, y, wide, 3, 1)
        elif share >= 0:
            canvas.blit((_DOTS, wide, 1, framebuf.MONO_VLSB), x, y + 1, 0)
            canvas.fill_rect(x, y + 1, share, 2, 1)

    def _presses(self, runner, x, y, room):
        buttons = max(1, runner.head.buttons)
        wide = room // buttons
        for slot in range(buttons):
            self._bar(runner.down[slot], x + wide * slot, y, wide - 2)

    def _column(self, x, room, bib, height, value, y=11):
        canvas = self._canvas
        bib = as_bytes(str(bib))
        text(canvas, x + (room - width(bib)) // 2, y, bib)
        digits(canvas, x + (room - digits_width(height, value)) // 2, y + 10, height, value)

    def _pair(self, x, end, y, left, right):
        """Draw one text from the left and one up to the right; the left one gives way."""
        canvas = self._canvas
        if right:
            text(canvas, end - width(right), y, right)
            end -= width(right) + 6
        text(canvas, x, y, fit(left, end - x))

    def _big(self, x, end, s, y=46):
        """Draw a text twice as large if it fits, else on two lines."""
        if width(s, 2) <= end - x:
            text(self._canvas, x, y, s, 2)
            return
        first, second = broken(s, end - x)
        text(self._canvas, x, y - 3, first)
        text(self._canvas, x, y + 9, fit(second, end - x))

    def _centred(self, y, s, scale=1, room=WIDTH):
        s = fit(s, room, scale)
        text(self._canvas, (WIDTH - width(s, scale)) // 2, y, s, scale)


def as_bytes(s):
    """Return a string of plain letters as bytes."""
    return s.encode()


def seconds(left_ms):
    """Return the seconds to show: the last one stands until time is up."""
    return (left_ms + 999) // 1000


def clock(left_s):
    """Return seconds as they are shown: minutes and seconds above 99."""
    return str(left_s) if left_s <= 99 else "%d:%02d" % (left_s // 60, left_s % 60)


def broken(s, room):
    """Return ``s`` in two parts, the first no wider than ``room``."""
    if width(s) <= room:
        return s, b""
    at = s.rfind(b" ")
    while at > 0 and width(s[:at]) > room:
        at = s[:at].rfind(b" ")
    if at > 0:
        return s[:at], s[at + 1 :]
    return fit(s, room), b""
