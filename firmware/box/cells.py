"""The cells beside the seconds: each bib's number and how it stands in its window."""

from handbell_core.runner import TALLY
from handbell_core.timeline import ASK_HOLD, ASK_NONE, ASK_TARGET, TAP_DROP, TAP_NONE, TAP_TALLY

from .font import digits, digits_height, digits_width, fit, text, width
from .layout import TIME, Layout, as_bytes

BIB = b"Bib"
SMALLEST = 9  # lower numerals give way to the small face's


class Cells(Layout):
    """Parts of screens that tell of bibs."""

    def _cells(self, runner, counts, slots, x, room):
        """Draw each bib's number and how it stands, 40 rows high."""
        if not slots:
            return
        across = 1 if len(slots) == 1 else 2
        rows = TIME if len(slots) < 3 else TIME // 2
        wide = (room + 3) // across - 3
        values = [_value(runner, slot, counts[slot]) for slot in slots]
        labels = [as_bytes(str(counts[slot].bib)) for slot in slots]
        height = min([_cell_height(v, labels[i], wide, rows) for i, v in enumerate(values)])
        for place, slot in enumerate(slots):
            left = x + place % across * (wide + 3)
            top = place // across * rows
            self._cell(labels[place], values[place], left, top, wide, rows, height)
            share = _share(runner, counts[slot], wide)
            self._bar(runner.down[slot], left, top + rows - 3, wide, share)

    def _leg(self, runner, bib, x, room):
        """Draw whose leg it is, where one person works at a time."""
        value = b"Skipped" if runner.counting.legs.skipped else str(bib)
        height = _cell_height(value, BIB, room, TIME)
        self._cell(BIB, value, x, 0, room, TIME, height)
        self._bar(any(runner.down), x, TIME - 3, room, -1)

    def _cell(self, label, value, x, y, wide, rows, height):
        canvas = self._canvas
        beside = text(canvas, x, y, label) + 3
        if isinstance(value, str):
            if value == "-1":
                height = height * 3 // 4  # not to be read as part of the number beside it
            top = y + (rows - 4 - height) // (2 if rows < TIME or wide > 40 else 1)
            if height < SMALLEST:
                value = as_bytes(value)
                text(canvas, x + wide - width(value), top, value)
            else:
                digits(canvas, x + wide - digits_width(height, value), top, height, value)
        elif rows < TIME:
            self._sign(value, x + beside, y + 3, wide - beside, 9)
        elif width(value, 2) <= wide:
            self._sign(value, x + beside + 8, y, wide - beside - 8, 15)
            text(canvas, x, y + 20, value, 2)
        else:
            self._sign(value, x, y + 10, wide, 14)
            text(canvas, x, y + 28, fit(value, wide))

    def _sign(self, word, x, y, wide, rows):
        """Draw a tick for what is made, two level bars for what is held."""
        canvas = self._canvas
        if word == b"Made it":
            half = rows // 2
            x += max(0, wide - half - rows) // 2
            for row in range(3):
                canvas.line(x, y + half + row - 2, x + half, y + rows + row - 3, 1)
                canvas.line(x + half, y + rows + row - 3, x + half + rows, y + row, 1)
        elif word == b"Hold on":
            wide = min(wide, 2 * rows)
            canvas.fill_rect(x, y + 2, wide, 3, 1)
            canvas.fill_rect(x, y + rows - 4, wide, 3, 1)


def _value(runner, slot, count):
    """Return the number a bib's cell shows (a string), or its word (bytes)."""
    if runner.shown[slot] < 0:
        return "-1"
    if count.skipped:
        return b"Skipped"
    if count.tap_rule == TAP_TALLY:
        return str(count.reps) if runner.state == TALLY else b"Count"
    if count.ask == ASK_HOLD:
        if count.drop_ms < 0:
            return b"Hold on"
        return str((count.drop_ms - runner.counting.start_ms) // 1000)
    if count.ask == ASK_NONE:
        return b"Rest"
    if count.tap_rule in (TAP_NONE, TAP_DROP):
        return b"Go on"
    if count.ask == ASK_TARGET:
        return b"Made it" if count.made else str(count.to_do())
    return str(count.reps)


def _share(runner, count, wide):
    """Return how many columns of a bib's line are done, -1 for no line."""
    if runner.state == TALLY:
        return wide if count.confirmed else 0
    if not count.goal or count.tap_rule in (TAP_NONE, TAP_DROP, TAP_TALLY):
        return -1
    return wide * min(count.reps, count.goal) // count.goal


def _cell_height(value, label, wide, rows):
    """Return how high a cell's number can be."""
    if not isinstance(value, str):
        return TIME
    if rows < TIME or wide > 40:
        wide -= width(label) + 3
    return digits_height(value, wide, 15 if rows < TIME else 34 if wide > 40 else 26)
