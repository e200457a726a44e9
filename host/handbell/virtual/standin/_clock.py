"""World time as this box has it, and the ticks of its crystal.

While time flows it follows the machine's monotonic clock; in a jump, and in a hard interrupt's
handler, it is whatever was set last.
"""

import utime

# Two processes whose monotonic clocks are further apart than this don't share one.
_SHARED_US = 5000000

jumping = False
in_handler = False
now_us = 0
speed = 0

_latest_us = 0
_base_us = 0
_base_mono_us = 0
_power_up_us = 0
_tick_origin = 0
_rate = 1000000


def begin(power_up_us, tick_origin, ppm):
    """Sets when power came, at which tick, and how fast the crystal is."""
    global _power_up_us, _tick_origin, _rate
    _power_up_us = power_up_us
    _tick_origin = tick_origin
    _rate = 1000000 + ppm


def flow(world_us, mono_us, new_speed):
    """Time flows from here: it was `world_us` when the monotonic clock stood at `mono_us`."""
    global jumping, speed, _base_us, _base_mono_us, _latest_us
    if jumping:
        _latest_us = now_us
    here_us = utime.ticks_us()
    _base_mono_us = mono_us if abs(here_us - mono_us) < _SHARED_US else here_us
    _base_us = world_us
    speed = new_speed
    jumping = False


def jump():
    """From here on time moves by `reach` only."""
    global jumping, now_us
    now_us = now()
    jumping = True


def now():
    """World time in microseconds; never goes back."""
    global _latest_us
    if jumping or in_handler:
        return now_us
    _latest_us = peek()
    return _latest_us


def peek():
    """As `now`, for waiting: nobody is told, so a hard handler may still read an earlier time."""
    if jumping or in_handler:
        return now_us
    t = _base_us + (utime.ticks_us() - _base_mono_us) * speed
    return t if t > _latest_us else _latest_us


def reach(world_us):
    """In a jump or a handler: it is `world_us` now, if it wasn't later already."""
    global now_us
    if world_us > now_us:
        now_us = world_us


def enter(event_us):
    """A hard handler begins; it reads its event's time, but none earlier than was told before."""
    global in_handler, now_us
    if not jumping:
        now_us = event_us if event_us > _latest_us else _latest_us
    in_handler = True


def leave():
    """A hard handler ends."""
    global in_handler, _latest_us
    in_handler = False
    if not jumping:
        _latest_us = now_us


def tick_of(world_us):
    """The crystal's microseconds, not wrapped, at a world time."""
    return _tick_origin + (world_us - _power_up_us) * _rate // 1000000


def world_at(tick):
    """The first world time at which `tick_of` is at least `tick`."""
    return _power_up_us - (_tick_origin - tick) * 1000000 // _rate
