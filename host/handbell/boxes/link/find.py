"""Finding boxes: by USB identity, or by the addresses that were given."""

from __future__ import annotations

import shlex

from serial.tools import list_ports

from handbell.base.places import PORTS, named

# USB identity of MicroPython on a Raspberry Pi board: vendor 0x2E8A, product 0x0005.
_USB = {(0x2E8A, 0x0005)}


def find_ports(given: list[str] | None = None) -> list[str]:
    """Return port addresses: those given, else HANDBELL_PORTS, else every board found on USB.

    HANDBELL_PORTS separates addresses by blanks, quoted as in a shell.
    """
    if given:
        return given
    set_up = shlex.split(named(PORTS))
    if set_up:
        return set_up
    return sorted(port.device for port in list_ports.comports() if (port.vid, port.pid) in _USB)
