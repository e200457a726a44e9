"""Finding boxes: by USB identity, or by the addresses that were given."""

from __future__ import annotations

import os

from serial.tools import list_ports

# USB identity of MicroPython on a Raspberry Pi board: vendor 0x2E8A, product 0x0005.
_USB = {(0x2E8A, 0x0005)}


def find_ports(given: list[str] | None = None) -> list[str]:
    """Return port addresses: those given, else HANDBELL_PORTS (blank-separated), else USB's."""
    if given:
        return given
    named = os.environ.get("HANDBELL_PORTS", "").split()
    if named:
        return named
    return sorted(port.device for port in list_ports.comports() if (port.vid, port.pid) in _USB)
