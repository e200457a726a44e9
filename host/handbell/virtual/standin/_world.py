"""How time passes in a virtual box: in sleeps, on the bus, in flash stalls and in `idle`.

While time flows, waiting is real; it may also stand still until the next jump. In a jump time
steps from event to event and code costs nothing. Either way what is due on the way happens at
its own time.
"""

import json
import select
import sys

import _channel
import _clock
import _irq
import utime
from _frames import ADC, BEAT, CONFIG, EDGES, FLOW, MORE, REACHED, RUN

TICKS_MASK = (1 << 30) - 1
_HALF = 1 << 29
_IDLE_US = 1000000
_BEAT_IDLES = 256
# In a jump, or while time stands still, code takes no time, so a loop that only reads the clock
# would never end: after this many reads without a wait each further one costs 10 us.
_FREE_READS = 1000
_READ_US = 10
# Where time stands still, how long to wait before another look.
_STILL_US = 1000000

adc_u16 = {}

_control = select.poll()
_serial = select.poll()
_both = select.poll()
_run_to_us = 0
_horizon_us = 0
_reads = 0
_idles = 0


def begin(rx_fd, tx_fd):
    """Joins the world at the moment of power-up; gives the configuration."""
    _channel.begin(rx_fd, tx_fd)
    _serial.register(sys.stdin, select.POLLIN)
    _control.register(_channel.reader, select.POLLIN)
    _both.register(_channel.reader, select.POLLIN)
    _both.register(sys.stdin, select.POLLIN)
    kind, _, _, _, body = _channel.receive()
    assert kind == CONFIG
    config = json.loads(body)
    _clock.begin(config["power_up_us"], config["tick_origin"], config["ppm"])
    for pin, level in config["levels"]:
        _irq.levels[pin] = level
    for channel, value in config["adc"]:
        adc_u16[channel] = value
    _obey()
    return config


def read_ticks():
    """The crystal's microseconds now, not wrapped, for code that asks the time."""
    global _reads
    if (_clock.jumping or not _clock.speed) and not _clock.in_handler:
        _reads += 1
        if _reads > _FREE_READS:
            pass_time(_READ_US)
            _reads = _FREE_READS
    return _clock.tick_of(_clock.now())


def horizon_us():
    """The time before which all edges are known."""
    return _horizon_us


def pass_time(us):
    """Lets `us` microseconds go by with interrupts live, as a sleep does."""
    _pass_to(_clock.now() + us, False)


def pass_bus_time(us, act=None, act_at_us=0):
    """As `pass_time`, but soft callbacks wait for the end, as they do for a C call.

    `act`, if there is one, is called on the way, `act_at_us` after the start.
    """
    held = _irq.hold_soft
    _irq.hold_soft = True
    start_us = _clock.now()
    if act is not None:
        _pass_to(start_us + act_at_us, False)
        act()
    _pass_to(start_us + us, False)
    _irq.hold_soft = held
    if not held:
        _irq.run_soft()


def stall(us):
    """Lets `us` microseconds go by with interrupts off; what came is latched till the end."""
    _irq.mask()
    _pass_to(_clock.now() + us, False)
    unmask()


def unmask():
    """Interrupts on again, and what is overdue happens."""
    _irq.unmask()
    _pass_to(_clock.now(), False)


def idle(until_ticks_us):
    """Waits until the tick, an interrupt or a byte on stdin; `None` waits at most a second."""
    global _idles
    start_us = _clock.now()
    target_us = start_us + _IDLE_US
    if until_ticks_us is not None:
        tick = _clock.tick_of(start_us)
        ahead = ((until_ticks_us - tick + _HALF) & TICKS_MASK) - _HALF
        target_us = _clock.world_at(tick + ahead) if ahead > 0 else start_us + 1
    # A chip idles a millisecond at a time, so its loop always comes round to feed the watchdog.
    if start_us < _irq.watchdog_due_us - 1000 < target_us:
        target_us = _irq.watchdog_due_us - 1000
    if _clock.jumping:
        _idles += 1
        if _idles >= _BEAT_IDLES:
            _idles = 0
            _channel.tell(BEAT, 0, 0)
        for _ in _serial.ipoll(0):
            # Bytes carry no time in a jump: a loop that leaves them unread must still get on.
            target_us = min(target_us, start_us + 1000)
    _pass_to(target_us, True)


def _pass_to(target_us, wake):
    """Passes time up to `target_us`, or with `wake` up to the first event before it."""
    global _reads
    _reads = 0
    if _clock.in_handler:
        _clock.reach(target_us)
        return
    while True:
        event_us = _irq.next_us()
        stop_us = min(event_us, target_us)
        if stop_us >= _horizon_us:
            _ask_for_edges()
            continue
        if not _clock.jumping:
            if not _wait(stop_us, wake):
                continue
        elif stop_us > _run_to_us:
            _stand_at_end()
            continue
        else:
            _clock.reach(stop_us)
        if event_us <= target_us and event_us <= _clock.peek():
            _irq.fire(event_us)
            if wake:
                return
        elif wake or stop_us == target_us:
            return


def _wait(stop_us, wake):
    """Waits in real time; False when the caller must look again, since the world spoke."""
    _channel.flush()
    left_ms = max(0, _real_us(stop_us) // 1000)
    for stream, _ in (_both if wake else _control).ipoll(left_ms):
        if stream is _channel.reader:
            _obey()
            return False
        return True
    left_us = _real_us(stop_us)
    if 0 < left_us < 1000:
        utime.sleep_us(left_us)
    return _clock.peek() >= stop_us


def _real_us(stop_us):
    left_us = stop_us - _clock.peek()
    if left_us > 0 and not _clock.speed:
        return _STILL_US
    return left_us // (_clock.speed or 1)


def _ask_for_edges():
    known_us = _horizon_us
    _channel.tell(MORE, 0, known_us)
    while _horizon_us == known_us:
        _obey()


def _stand_at_end():
    _clock.reach(_run_to_us)
    _channel.tell(REACHED, 0, 0)
    while _clock.jumping:
        _obey()


def _obey():
    """Takes one frame from the world."""
    global _run_to_us, _horizon_us
    kind, arg, at_us, value, body = _channel.receive()
    if kind == FLOW:
        _clock.flow(at_us, value, arg)
    elif kind == RUN:
        _clock.jump()
        _run_to_us = at_us
    elif kind == EDGES:
        for i in range(0, len(body), 8):
            _irq.add_edge(int.from_bytes(body[i : i + 8], "little"))
        _horizon_us = at_us
    elif kind == ADC:
        adc_u16[arg] = value
