"""Finding boxes: by USB identity, or by the addresses that were given."""

from __future__ import annotations

import os
import shlex

from natsort import natsorted
from serial.tools import list_ports

from handbell.base.errors import UsageError
from handbell.base.places import PORTS, named

# USB identity of MicroPython on a Raspberry Pi board: vendor 0x2E8A, product 0x0005.
_USB = {(0x2E8A, 0x0005)}


def find_ports(given: list[str] | None = None) -> list[str]:
    """Return port addresses: those given, else HANDBELL_PORTS, else every board found on USB.

    HANDBELL_PORTS separates addresses by blanks, quoted as in a shell; a backslash is one, where
    paths have them. Raises UsageError when a quote in it has no end.
    """
    if given:
        return given
    try:
        said = named(PORTS)
        set_up = shlex.split(said.replace("\\", "\\\\") if os.name == "nt" else said)
    except ValueError as error:
        raise UsageError(
            f"{PORTS} has a quote without an end", "Separate addresses by blanks"
        ) from error
    if set_up:
        return set_up
    found = [port.device for port in list_ports.comports() if (port.vid, port.pid) in _USB]
    return natsorted(found)
