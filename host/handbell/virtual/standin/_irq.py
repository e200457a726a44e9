"""Interrupts: button edges, timers and the watchdog, each called at its own time.

With interrupts masked, edges are latched: one call for each pin afterwards, whatever bounced
meanwhile, as the chip's two latch bits give.
"""

import sys

import _clock
import _heap
from _frames import FOREVER_US

FALL, RISE = 4, 8
PINS = 30
_SCHEDULER_DEPTH = 8

levels = bytearray(PINS)
pins = [None] * PINS
timers = []
edges = []
watchdog_due_us = FOREVER_US
on_watchdog = None
# A part that moves a pin by itself; its edges are queued one at a time.
wave = None
wave_pin = -1
# What follows a pin without interrupts, by the pin's number.
watches = {}
# While a C call or a soft callback runs, further soft callbacks wait for its end.
hold_soft = False

_masked = 0
_soft = []


def next_us():
    """When the next thing happens."""
    event_us = watchdog_due_us
    if edges and edges[0] >> 8 < event_us:
        event_us = edges[0] >> 8
    if not _masked:
        for timer in timers:
            if timer.due_us < event_us:
                event_us = timer.due_us
    return event_us


def add_edge(edge):
    """Takes an edge to come; they mostly come in order, which the runtime's sort is worst at."""
    at = len(edges)
    edges.append(edge)
    while at > 0 and edges[at - 1] > edge:
        edges[at] = edges[at - 1]
        at -= 1
    edges[at] = edge


def fire(event_us):
    """Makes one thing happen that is due at `event_us`."""
    if edges and edges[0] >> 8 <= event_us:
        _edge(edges.pop(0), event_us)
        return
    if not _masked:
        for timer in timers:
            if timer.due_us <= event_us:
                timer.take_next()
                _interrupt(timer, 0, event_us)
                return
    if watchdog_due_us <= event_us:
        on_watchdog()


def mask():
    """Interrupts off; may nest."""
    global _masked
    _masked += 1


def unmask():
    """Interrupts on again: one call for each pin with a latched edge. Timers are the caller's."""
    global _masked
    _masked -= 1
    if _masked:
        return
    for pin in pins:
        if pin is not None and pin.latched:
            flags = pin.latched
            pin.latched = 0
            _interrupt(pin, flags, _clock.now())


def run_soft():
    """Runs the callbacks that the scheduler holds, one after another."""
    global hold_soft
    hold_soft = True
    while _soft:
        _call(_soft.pop(0), _clock.now(), False)
    hold_soft = False


def _edge(edge, event_us):
    number = edge >> 1 & 0x7F
    level = edge & 1
    if number == wave_pin:
        wave.follow(event_us)
    elif levels[number] == level:
        return
    levels[number] = level
    if number in watches:
        watches[number].edge(level, event_us)
    pin = pins[number]
    flag = RISE if level else FALL
    if pin is None or not pin.enabled & flag:
        return
    if _masked:
        pin.latched |= flag
    else:
        _interrupt(pin, flag, event_us)


def _interrupt(source, flags, event_us):
    if not source.handler:
        return
    source.now_flags = flags
    if source.hard:
        _call(source, event_us, True)
    elif len(_soft) < _SCHEDULER_DEPTH:
        _soft.append(source)
        if not hold_soft:
            run_soft()


def _call(source, event_us, hard):
    """A handler that fails is called no more, and its fault is printed, as on the chip."""
    if hard:
        _clock.enter(event_us)
    try:
        _heap.lock(hard)
        source.handler(source.subject)
    except Exception as fault:
        _heap.unlock()
        sys.print_exception(fault, sys.stderr)
        source.handler = None
    _heap.unlock()
    if hard:
        _clock.leave()
