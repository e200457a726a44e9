"""Finding boxes: by USB identity, or by the addresses that were given."""

from __future__ import annotations

import os
import shlex

from serial.tools import list_ports

# USB identity of MicroPython on a Raspberry Pi board: vendor 0x2E8A, product 0x0005.
_USB = {(0x2E8A, 0x0005)}


def find_ports(given: list[str] | None = None) -> list[str]:
    """Return port addresses: those given, else HANDBELL_PORTS, else every board found on USB.

    HANDBELL_PORTS separates addresses by blanks, quoted as in a shell.
    """
    if given:
        return given
    named = shlex.split(os.environ.get("HANDBELL_PORTS", ""))
    if named:
        return named
    return sorted(port.device for port in list_ports.comports() if (port.vid, port.pid) in _USB)
