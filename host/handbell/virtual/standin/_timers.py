"""Timers and the watchdog, on the box's own crystal."""

import _channel
import _clock
import _frames
import _heap
import _irq

_WDT_RESET = 3
_WDT_MAX_MS = 8388


class Timer:
    """A virtual timer of the chip's alarm pool; `callback(timer)` hard or by the scheduler."""

    ONE_SHOT, PERIODIC = 0, 1

    def __init__(
        self, id=-1, *, mode=1, freq=-1, period=-1, callback=None, tick_hz=1000, hard=False
    ):
        self.subject = self
        self.handler = None
        self.now_flags = 0
        self.hard = False
        self.due_us = _frames.FOREVER_US
        self._mode = mode
        self._period_us = self._due_tick = 0
        if freq != -1 or period != -1:
            self.init(
                mode=mode, freq=freq, period=period, callback=callback, tick_hz=tick_hz, hard=hard
            )

    def init(self, *, mode=1, freq=-1, period=-1, callback=None, tick_hz=1000, hard=False):
        """Starts it: `freq` in Hz, or `period` in units of 1/`tick_hz` s."""
        self._mode = mode
        self.handler = callback
        self.hard = hard
        if freq != -1:
            self._period_us = int(1000000 / freq)
        else:
            self._period_us = period * 1000000 // tick_hz
        if self._period_us < 1:
            self._period_us = 1
        self._due_tick = _clock.tick_of(_clock.now()) + self._period_us
        self.due_us = _clock.world_at(self._due_tick)
        if self not in _irq.timers:
            was_locked = _heap.unlock()
            _irq.timers.append(self)
            _heap.lock(was_locked)

    def deinit(self):
        """Stops it."""
        self.due_us = _frames.FOREVER_US
        if self in _irq.timers:
            _irq.timers.remove(self)

    def take_next(self):
        """Moves on to the next time it is due, before the callback runs."""
        if self._mode == Timer.ONE_SHOT:
            self.deinit()
        else:
            self._due_tick += self._period_us
            self.due_us = _clock.world_at(self._due_tick)


class WDT:
    """The watchdog; once started it can't be stopped."""

    def __init__(self, id=0, timeout=5000):
        if not 0 < timeout <= _WDT_MAX_MS:
            raise ValueError("timeout exceeds %d" % _WDT_MAX_MS)
        self._timeout_us = timeout * 1000
        _irq.on_watchdog = _bite
        self.feed()

    def feed(self):
        """Puts the reset off by the whole timeout."""
        _irq.watchdog_due_us = _clock.now() + self._timeout_us


def _bite():
    _channel.end_of_power(_frames.RESET, _WDT_RESET)
