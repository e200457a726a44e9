"""The board the firmware finds first on a desktop: a Pico whose waiting is the world's.

It has the buttons of its box, since a box says to hosts how many its board names.
"""

import _receiver
import _world
import machine

import boards.pico
from boards.pico import *  # noqa: F403 - all of it, but for the waiting

NAME = "virtual"
BUTTON_PINS = getattr(boards.pico, "BUTTON_PINS", ())[: machine._boot["buttons"]]
REPEATS = machine._boot["repeats"]


def edges():
    """What an infra-red receiver sees, None without one."""
    return _receiver.start()


def sender():
    """What sends by an infra-red diode."""
    import _emitter  # which needs the firmware's core

    return _emitter.Sender()


def idle(until_ticks_us):
    """Waits until the tick, a button edge, a timer or a byte on the serial line.

    `None` means that nothing is scheduled: at most a second.
    """
    _world.idle(until_ticks_us)
