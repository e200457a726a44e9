"""What a box may answer: each reply is read here into a message, before anybody uses it.

A box can be broken, a board can run anything, and what it says becomes file names, loop bounds and
lines on a coach's screen. So every field is held against its type and range, and what a reply says
against what was asked: a transfer goes on, a thing done is the thing that was to be done.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Generic, TypeAlias, TypeVar

from handbell.base.errors import BoxError

from . import fields
from .fields import BOX_ID, COUNT, DIGEST, MILLIVOLTS, TIME, VERSION, WORD, shown, whole, yes_no
from .messages import (
    Buttons,
    ClockPart,
    File,
    FlashTest,
    Hello,
    Listed,
    Moments,
    RateKept,
    Status,
)

LABEL_MOST = 32
ERRED_MOST = 80
BUTTONS_MOST = 8
PPB_MOST = 1_000_000
CLASS_MS_MOST = 1 << 29  # run time ends there
MOVED_S_MOST = 4_102_444_800  # from 1970 to 2100

Said: TypeAlias = Mapping[str, Any]
M = TypeVar("M")


@dataclass(frozen=True)
class Kind(Generic[M]):
    """A request, and how its reply is read: from what was asked and what was said.

    ``more`` are fields that the request always has. ``read`` raises ValueError, TypeError or
    KeyError for what no box of ours would say.
    """

    do: str
    read: Callable[[Said, Said], M]
    more: Said = field(default_factory=dict)
    read_any: Callable[[Said, Said], M] | None = None  # of a box with another link


def read(box: str, kind: Kind[M], asked: Said, said: Said, ours: bool = True) -> M:
    """Return the message in a reply; raises BoxError naming ``box`` when it can't be right.

    Not ``ours`` is a box with another link.
    """
    try:
        return kind.read(asked, said) if ours or not kind.read_any else kind.read_any(asked, said)
    except (KeyError, ValueError, TypeError):
        raise strange(box) from None


def fault_code(box: str, reply: Said) -> int:
    """Return the fault code of a refusal, 0 if it is none; raises BoxError for no code at all."""
    if "no" not in reply:
        return 0
    try:
        return whole(1, 255)(reply["no"])
    except ValueError:
        raise strange(box) from None


def strange(box: str) -> BoxError:
    """Return the error for an answer that no box of ours would give."""
    return BoxError(
        box, "answered what no box of ours would", "Check what is plugged in there, or its firmware"
    )


def _may(said: Said, key: str, check: Callable[[Any], M], usual: M) -> M:
    return check(said[key]) if key in said else usual


def _any(said: Said, key: str, check: Callable[[Any], M], usual: M) -> M:
    """Return a field of a box with another link, which may be of any shape."""
    try:
        return check(said[key])
    except (KeyError, ValueError, TypeError):
        return usual


# field -> key in the reply, check, and whether every box of ours says it
_WHO: dict[str, tuple[str, Callable[[Any], Any], bool]] = {
    "station": ("station", whole(0, 99), True),
    "label": ("label", shown(LABEL_MOST), True),
    "buttons": ("buttons", whole(0, BUTTONS_MOST), True),
    "boot": ("boot", COUNT, True),
    "link": ("ln", VERSION, True),
    "plans": ("tl", VERSION, True),
    "logs": ("jn", VERSION, True),
    "firmware": ("fw", shown(LABEL_MOST), False),
    "board": ("board", shown(LABEL_MOST), False),
    "python": ("py", shown(LABEL_MOST), False),
    "folder": ("folder", fields.form("(fw_[ab])?"), False),
    "trial": ("trial", yes_no, False),
    "remote": ("remote", yes_no, False),
    "hears": ("hears", yes_no, False),
}


def _hello(_: Said, said: Said) -> Hello:
    who = Hello(BOX_ID(said["id"]), link=_any(said, "ln", VERSION, 0))
    told: dict[str, Any] = {}
    for name, (key, check, is_sure) in _WHO.items():
        usual = getattr(who, name)
        if not who.ours:
            told[name] = _any(said, key, check, usual)
        else:
            told[name] = check(said[key]) if is_sure else _may(said, key, check, usual)
    return replace(who, **told)


def _status(_: Said, said: Said) -> Status:
    return Status(
        WORD(said["state"]),
        "" if said["sel"] == "" else DIGEST(said["sel"]),
        MILLIVOLTS(said["mv"]),
        yes_no(said["usb"]),
        yes_no(said["low"]),
        whole(0, fields.SIZE_MOST >> 10)(said["kb"]),
        whole(-1, fields.FILES_MOST)(said["runs"]),  # the open one counts as none
        whole(0, 255)(said["fault"]),
        _may(said, "rtc", yes_no, False),
        TIME(said["bound_us"]) if yes_no(said["clock"]) else None,
        _may(said, "age_s", COUNT, None),
        _may(said, "utc_ms", TIME, None),
        _may(said, "erred", shown(ERRED_MOST), ""),
        _may(said, "class_ms", whole(0, CLASS_MS_MOST), None),
        _may(said, "zero_ms", TIME, None),
        _may(said, "waits", yes_no, False),
        _may(said, "led", yes_no, False),
        _may(said, "tells", yes_no, True),
        _may(said, "act", whole(0, 0xFFFF), 0),
        _may(said, "alone", yes_no, False),
    )


def _any_status(_: Said, said: Said) -> Status:
    return Status(
        state=_any(said, "state", WORD, ""),
        fault=_any(said, "fault", whole(0, 255), 0),
        runs=_any(said, "runs", whole(-1, fields.FILES_MOST), 0),
        erred=_any(said, "erred", shown(ERRED_MOST), ""),
    )


def _nothing(_: Said, said: Said) -> None:
    """Read a reply that holds no facts."""


def _moments(_: Said, said: Said) -> Moments:
    return Moments(TIME(said["t2"]), TIME(said["t3"]))


def _rate(_: Said, said: Said) -> RateKept:
    return RateKept(
        _may(said, "ppb", whole(-PPB_MOST, PPB_MOST), None),
        _may(said, "ppb_bound", whole(0, PPB_MOST), None),
        _may(said, "rate_utc_us", TIME, None),
        _may(said, "moved_s", whole(-MOVED_S_MOST, MOVED_S_MOST), 0),
    )


def _at(asked: Said, said: Said) -> int:
    """Return how far a transfer is, -1 for the end: each piece must bring it on."""
    at, size, sent = said["at"], asked["n"], fields.chunk(asked["b"])
    if whole(-1, size)(at) >= 0 and at < min(asked["at"] + len(sent), size):
        raise ValueError
    return int(at)


def _listed(asked: Said, said: Said) -> Listed:
    count = whole(0, fields.FILES_MOST)(said["n"])
    if "name" not in said:
        return Listed(count, None)
    name = fields.NAMES[asked["of"]](said["name"])
    if asked["i"] >= count:
        raise ValueError
    if yes_no(said.get("open", False)):
        return Listed(count, File(name, open=True))
    if yes_no(said.get("bad", False)):
        return Listed(count, File(name, bad=True))
    size = whole(0, fields.SIZE_MOST)(said["size"])
    return Listed(count, File(name, size, DIGEST(said["d"])))


def _piece(asked: Said, said: Said) -> bytes:
    piece = fields.chunk(said["b"])
    if len(piece) > asked["n"]:
        raise ValueError
    return piece


def _gone(_: Said, said: Said) -> None:
    if not yes_no(said["gone"]):
        raise ValueError


def _set(asked: Said, said: Said) -> None:
    if TIME(said["utc_ms"]) != asked["utc_ms"]:
        raise ValueError


def _buttons(_: Said, said: Said) -> Buttons:
    closed = fields.each(yes_no, BUTTONS_MOST)(said["closed"])
    pressed = fields.each(COUNT, BUTTONS_MOST)(said["pressed"])
    if len(closed) != len(pressed):
        raise ValueError
    return Buttons(closed, pressed)


HELLO = Kind("hello", _hello)
STATUS = Kind("status", _status, read_any=_any_status)
TIMES = Kind("time", _moments)
CLOCK = Kind("clock", _rate)
NAME = Kind("name", _nothing)
RING = Kind("ring", _nothing)
PUT = Kind("put", _at)
KEEP = Kind("keep", _nothing)
SELECT = Kind("select", _nothing)
LIST = Kind("list", _listed)
GET = Kind("get", _piece)
DROP = Kind("drop", _gone)
ARM = Kind("arm", _set)
JOIN = Kind("join", _nothing)
DISARM = Kind("disarm", _nothing)
YIELD = Kind("yield", _nothing)
TEST_DISPLAY = Kind("test", lambda _, said: yes_no(said["answers"]), {"part": "display"})
TEST_LAMP = Kind("test", lambda _, said: whole(0, 64)(said["lamps"]), {"part": "lamp"})
TEST_SOUND = Kind("test", _nothing, {"part": "sound"})
TEST_BUTTONS = Kind("test", _buttons, {"part": "buttons"})
TEST_BATTERY = Kind("test", lambda _, said: MILLIVOLTS(said["mv"]), {"part": "battery"})
TEST_FLASH = Kind(
    "test", lambda _, said: FlashTest(yes_no(said["same"]), TIME(said["us"])), {"part": "flash"}
)
TEST_CLOCK_PART = Kind(
    "test",
    lambda _, said: ClockPart(yes_no(said["fitted"]), yes_no(said["stopped"])),
    {"part": "clock part"},
)
TEST_END = Kind("test", _nothing, {"part": "end"})

KERNEL = frozenset(("hello", "status", "erred", "list", "get", "drop", "yield"))
"""What boxes of every version answer, so that logs come home and the firmware can be renewed."""
