"""The chip's `time`: ticks with its period of 2^30, sleeps that pass world time, no wall clock."""

import _world
import utime

_MASK = _world.TICKS_MASK
_HALF = (_MASK + 1) >> 1
# A chip without a clock part wakes up at the start of 2021.
_EPOCH_S = 1609459200

gmtime = utime.gmtime
localtime = utime.localtime
mktime = utime.mktime


def ticks_us():
    """Microseconds of the box's crystal, modulo 2^30."""
    return _world.read_ticks() & _MASK


def ticks_ms():
    """Milliseconds of the box's crystal, modulo 2^30."""
    return _world.read_ticks() // 1000 & _MASK


def ticks_cpu():
    """As `ticks_us`."""
    return _world.read_ticks() & _MASK


def ticks_add(ticks, delta):
    """`ticks` moved by `delta`, modulo 2^30."""
    return (ticks + delta) & _MASK


def ticks_diff(end, start):
    """`end - start`, right while the two are less than half a period apart."""
    return ((end - start + _HALF) & _MASK) - _HALF


def sleep_us(us):
    """Passes `us` microseconds."""
    _world.pass_time(us if us > 0 else 0)


def sleep_ms(ms):
    """Passes `ms` milliseconds."""
    _world.pass_time(ms * 1000 if ms > 0 else 0)


def sleep(seconds):
    """Passes `seconds`, a float if wished."""
    _world.pass_time(int(seconds * 1000000) if seconds > 0 else 0)


def time():
    """Seconds of the runtime's epoch, counted from a wake-up at the start of 2021."""
    return _EPOCH_S + _world.read_ticks() // 1000000


def time_ns():
    """Nanoseconds of the runtime's epoch."""
    return _EPOCH_S * 1000000000 + _world.read_ticks() * 1000
