"""A firmware on trial: ``main.py`` started it, and the one before is still the active one.

It makes itself the active one when a host has heard its answer to ``hello`` and it has run for a
while. One that no host hears is no longer well: the watchdog, which ``main.py`` started, ends it.
"""

import os
import sys
import time

from handbell_core.ticks import ticks_diff

from .loop import IDLE

FOLDERS = ("fw_a", "fw_b")
PROVEN_US = 4_000_000  # it has to run so long
UNHEARD_US = 30_000_000  # and to be heard within so long, but in a class


def _read(name: str) -> str:
    try:
        with open(name) as f:
            return f.read(8)
    except (OSError, ValueError):
        return ""


def folder() -> str:
    """Return the folder that this firmware was started from, "" for the image or ``/lib``."""
    return sys.path[0] if sys.path and sys.path[0] in FOLDERS else ""


def is_pending() -> bool:
    """Whether this firmware is on trial."""
    here = folder()
    return bool(here) and _read("trial")[:4] == here and _read("active") != here


def is_last() -> bool:
    """Whether ``main.py`` has no other firmware to start when this one can't be imported."""
    here = folder()
    if is_pending():
        return False
    if not here or _read("active") != here:
        return True
    other = FOLDERS[1 - FOLDERS.index(here)]
    try:
        return not any(name.startswith("begin.") for name in os.listdir(other))
    except OSError:
        return True


class Trial:
    """The trial of the firmware that runs; most times there is none."""

    def __init__(self) -> None:
        self.pending = is_pending()
        self._since = time.ticks_us()
        self._greeted = None  # the host's session that was told who this is
        self._heard = False

    def heard(self, session, do) -> None:
        """A host asks something: who has heard the answer to ``hello`` asks something more."""
        if session == self._greeted:
            self._heard = True
        elif do == "hello":
            self._greeted = session

    def is_well(self, tick: int, in_class: bool) -> bool:
        """Whether it may run on."""
        if not self.pending or self._heard or in_class:
            return True
        return ticks_diff(tick, self._since) < UNHEARD_US

    def due_us(self, tick: int) -> int:
        """Return in how many microseconds it is to be made the active one."""
        if not self.pending or not self._heard:
            return IDLE
        return max(0, PROVEN_US - ticks_diff(tick, self._since))

    def stand(self) -> None:
        """Make this firmware the active one; raises OSError, with the old one still active."""
        with open("active.new", "w") as f:
            f.write(folder())
        os.rename("active.new", "active")
        self.pending = False
        try:
            os.remove("trial")
        except OSError:
            pass  # it names the active one, so nothing is tried
