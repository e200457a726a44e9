"""Raspberry Pi Pico 2 (RP2350): a Pico's pins and parts, another chip.

Its pin 24 senses USB as a Pico's does (Pico 2 datasheet, from memory).
"""

import machine

from boards.pico import *  # noqa: F403 - all of it, but for what follows

NAME = "pico2"


def watchdog_off() -> None:  # type: ignore[no-redef]
    """Stop the watchdog, which MicroPython can't: clear ENABLE in WATCHDOG_CTRL.

    RP2350 datasheet, address map: the watchdog is elsewhere than in an RP2040; its bit is the same.
    """
    machine.mem32[0x400D8000] &= ~(1 << 30)
