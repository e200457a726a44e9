"""What is made to fail in the firmware of a box: one method, once, now and then, or for good."""

from __future__ import annotations

import random
from dataclasses import dataclass

# Module, class, method, and what can't be asked of the box while that fails:
# b bells, l logs whole and ended, f the fault told in status (it is caught where it happens),
# a answers to a host, c that a class can be armed, s the screen's and lamps' only.
METHODS = (
    ("view", "View", "draw", ""),
    ("view", "View", "send", ""),
    ("view", "View", "strip", ""),
    ("view", "View", "strip_due_us", ""),
    ("view", "View", "changed", "c"),
    ("view", "View", "open", ""),
    ("view", "View", "look_ahead", ""),
    ("health", "Health", "fault", "af"),
    ("desk", "Desk", "test_due_us", ""),
    ("trouble", "Trouble", "keep", ""),
    ("screens", "Screens", "show", ""),
    ("screens", "Screens", "rest", ""),
    ("lights", "Lights", "set", ""),
    ("lights", "Lights", "write", ""),
    ("display", "Display", "update", ""),
    ("sound", "Sound", "play", "b"),
    ("sound", "Sound", "arm", "b"),
    ("sound", "Sound", "_go_on", "b"),
    ("log", "Log", "write", "lcf"),
    ("log", "Log", "keep", "lc"),
    ("log", "Log", "close", "l"),
    ("log", "Log", "make_room", "l"),
    ("account", "Account", "keep", "l"),
    ("account", "Account", "rang", ""),
    ("account", "Account", "over", "l"),
    ("account", "Account", "finish", "lc"),
    ("storage", "Storage", "save", "c"),
    ("storage", "Storage", "runs", "lc"),
    ("storage", "Storage", "new_run", "lc"),
    ("storage", "Storage", "free_kb", "lcf"),
    ("rtc", "Rtc", "read_s", "f"),
    ("rtc", "Rtc", "write", "f"),
    ("keeper", "Keeper", "poll", ""),
    ("link", "Link", "poll", "a"),
    ("link", "Link", "send", "a"),
    ("requests", "Requests", "answer", "a"),
    ("power", "Power", "read", "c"),
)
ERRORS = ("OSError(5)", "MemoryError", "ValueError", "OSError(28)")


@dataclass(frozen=True)
class Trouble:
    """One method that fails."""

    module: str
    owner: str
    method: str
    spares: str
    error: str
    when: str  # in terms of n, the call
    how: str

    def __str__(self) -> str:
        return f"{self.owner}.{self.method} raises {self.error} {self.how}"

    def code(self) -> str:
        """Return the lines of MicroPython that put it in."""
        return f"""
from box.requests import TABLE
def put_in():
    from box.{self.module} import {self.owner}
    whole = {self.owner}.{self.method}
    calls = [0, 0]
    def fails(self, *a):
        calls[0] += 1
        n = calls[0]
        if {self.when}:
            calls[1] += 1
            raise {self.error}
        return whole(self, *a)
    {self.owner}.{self.method} = fails
    TABLE["failed"] = lambda self, message: {{"failed": calls[1], "calls": calls[0]}}
put_in()
"""


@dataclass(frozen=True)
class OddPart:
    """A part that misbehaves, though no method fails: the class must go on as if nothing was."""

    what: str
    spares: str
    lines: str

    def __str__(self) -> str:
        return self.what

    def code(self) -> str:
        """Return the lines of MicroPython that put it in."""
        return NONE_CODE + self.lines


_HELD = """
def held():
    import _bus
    from box.bus import Bus
    whole = Bus.writeto
    calls = [0]
    def writeto(self, address, data):
        calls[0] += 1
        if calls[0] == {at}:
            _bus.hold({pulses})
        return whole(self, address, data)
    Bus.writeto = writeto
held()
"""
_LIES = """
def lies():
    try:
        from box.rtc import Rtc
    except ImportError:
        return
    whole = Rtc.read_s
    Rtc.read_s = lambda self: whole(self) + {off_s}
lies()
"""


def odd_part(dice: random.Random) -> OddPart:
    """Return a part that misbehaves at random."""
    if dice.random() < 0.6:
        at, pulses = dice.randint(1, 3_000), dice.choice((1, 5, 9, 20, 1 << 20))
        what = f"a part holds the bus from transfer {at} on, for {pulses} pulses"
        return OddPart(what, "", _HELD.format(at=at, pulses=pulses))
    off_s = dice.choice((-86_400, -40, 7, 3_600, 400_000_000))
    return OddPart(f"the clock part is {off_s} s off", "bl", _LIES.format(off_s=off_s))


NONE_CODE = """
from box.requests import TABLE
TABLE["failed"] = lambda self, message: {"failed": 0, "calls": 0}
"""


def draw(dice: random.Random) -> Trouble:
    """Return a trouble at random."""
    module, owner, method, spares = dice.choice(METHODS)
    after = dice.choice((0, 3, dice.randint(0, 40), dice.randint(0, 600)))
    when, how = dice.choice(
        (
            (f"n == {after + 1}", f"once, at call {after + 1}"),
            (f"n > {after} and n * 7919 % 13 == 0", f"now and then after call {after}"),
            (f"{after} < n < {after + 40}", f"40 times after call {after}"),
            (f"n > {after}", f"for good after call {after}"),
        )
    )
    if "a" in spares and "for good" in how:
        when, how = f"n == {after + 1}", f"once, at call {after + 1}"
    return Trouble(module, owner, method, spares, dice.choice(ERRORS), when, how)
