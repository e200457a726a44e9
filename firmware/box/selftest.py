"""The self-test: each part worked by itself, one request a part, for a host that asks a person.

Loaded only when it is asked for, and forgotten when nobody asked for a while.
"""

import os
import time

from handbell_core.ticks import ticks_add, ticks_diff

from .display import HEIGHT, WIDTH
from .lights import LAMPS

KEPT_US = 60_000_000  # after this long without a request the box is itself again
SCRATCH = "selftest.tmp"
SCRATCH_BYTES = 4096
SWEEP = ((523, 250), (0, 80), (1047, 250), (0, 80), (1568, 250))
WHITE = 255


class SelfTest:
    """Works the parts of a box; ``until`` is the tick at which it ends by itself."""

    def __init__(self, board, storage, rtc, buttons, sound, view) -> None:
        self._board = board
        self._storage = storage
        self._rtc = rtc
        self._buttons_in = buttons
        self._sound_out = sound
        self._view = view
        self.until = 0
        self._pressed = [0] * buttons.count

    def do(self, message: dict) -> dict:
        """Work the part that the message names; raises KeyError for an unknown one."""
        self.until = ticks_add(time.ticks_us(), KEPT_US)
        facts: dict = _PARTS[message["part"]](self, message)
        return facts

    def pressed(self, slot: int) -> None:
        """A button was pressed."""
        self._pressed[slot] += 1

    def left_us(self, tick: int) -> int:
        """Return in how many microseconds it ends, if nobody asks for more."""
        return max(0, ticks_diff(self.until, tick))

    def _display(self, message: dict) -> dict:
        self._view.show_instead(self._chequer, KEPT_US)
        return {"answers": self._view.display.present}

    def _chequer(self, facts) -> None:
        canvas = self._view.display.canvas
        canvas.fill(0)
        for x in range(0, WIDTH, 16):
            for y in range(0, HEIGHT, 16):
                canvas.fill_rect(x + (y & 16) // 2, y, 8, 16, 1)
        canvas.rect(0, 0, WIDTH, HEIGHT, 1)
        self._view.display.drawn()

    def _lamp(self, message: dict) -> dict:
        """Light one lamp, 1 to 8, or none with 0."""
        only = message["n"]
        level = self._board.LAMP_CAP
        self._view.lights.test(only - 1, (level, level, level))
        return {"lamps": LAMPS}

    def _sound(self, message: dict) -> dict:
        self._sound_out.sweep(SWEEP, time.ticks_us())
        return {"silent": self._sound_out.silent}

    def _buttons(self, message: dict) -> dict:
        """Tell which contacts are closed, and how often each was pressed in this test."""
        buttons = self._buttons_in
        closed = [buttons.is_closed(slot) for slot in range(buttons.count)]
        return {"closed": closed, "pressed": self._pressed}

    def _battery(self, message: dict) -> dict:
        board = self._board
        return {"mv": board.battery_mv(), "usb": board.on_usb(), "low_mv": board.BATTERY_LOW_MV}

    def _flash(self, message: dict) -> dict:
        """Write a file as large as a block, read it back, and take it away again."""
        path = self._storage.path(SCRATCH)
        start = time.ticks_us()
        data = bytes([n * 89 + 17 & 0xFF for n in range(256)])
        same = True
        try:
            with open(path, "wb") as f:
                for _ in range(SCRATCH_BYTES // len(data)):
                    f.write(data)
            with open(path, "rb") as f:
                for _ in range(SCRATCH_BYTES // len(data)):
                    same = same and f.read(len(data)) == data
            os.remove(path)
        except OSError:
            same = False
        return {"same": same, "us": ticks_diff(time.ticks_us(), start)}

    def _clock_part(self, message: dict) -> dict:
        rtc = self._rtc
        return {"fitted": rtc is not None, "stopped": rtc is not None and rtc.stopped}

    def _end(self, message: dict) -> dict:
        self.until = time.ticks_us()
        return {}


_PARTS = {
    "display": SelfTest._display,
    "lamp": SelfTest._lamp,
    "sound": SelfTest._sound,
    "buttons": SelfTest._buttons,
    "battery": SelfTest._battery,
    "flash": SelfTest._flash,
    "clock part": SelfTest._clock_part,
    "end": SelfTest._end,
}
