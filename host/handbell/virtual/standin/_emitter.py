"""An infra-red diode: the world is told of each telegram as it begins."""

import time

import _channel
import _frames

from handbell_core.bursts_out import lasts_us


class Sender:
    """Sends telegrams as `box/emitter.py` does."""

    def __init__(self):
        self._ends = time.ticks_us()
        self._sends = False

    def is_busy(self):
        """Whether a telegram is being sent."""
        self._sends = self._sends and time.ticks_diff(self._ends, time.ticks_us()) > 0
        return self._sends

    def send(self, data):
        """Begins to send a telegram; gives the tick at which it ends."""
        if self.is_busy():
            raise OSError(16)
        _channel.emit_bytes(_frames.LIT, 0, data)
        self._sends = True
        self._ends = time.ticks_add(time.ticks_us(), lasts_us(data))
        return self._ends

    def close(self):
        """Dark."""
