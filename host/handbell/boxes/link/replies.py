"""What a box may answer: each reply is held against one table before anybody uses a field of it.

A box can be broken, a board can run anything, and what it says becomes file names, loop bounds and
lines on a coach's screen. So every field has a type and a range here; ids and digests are hex of
one length, names of files have one form, and texts are made printable.
"""

from __future__ import annotations

import binascii
import re
from collections.abc import Callable, Mapping
from typing import Any, TypeAlias

from handbell.base.errors import BoxError
from handbell_core import frames
from handbell_core.timeline import DIGEST_SIZE
from handbell_core.versions import major

ID_SIZE = 8  # bytes of a box's id
SIZE_MOST = 16 << 20  # bytes of a file: no board's flash holds more
FILES_MOST = 4_096  # files of a kind on a box
TIME_MOST = 1 << 53  # us or ms
PPB_MOST = 1_000_000
LABEL_MOST = 32
ERRED_MOST = 80

Check: TypeAlias = Callable[[Any], Any]
"""Returns the value to go on with; raises ValueError when it can't be right."""
Fields: TypeAlias = Mapping[str, Check]


def whole(least: int, most: int) -> Check:
    """Return a check for an integer from ``least`` to ``most``."""

    def check(value: Any) -> int:
        if type(value) is not int or not least <= value <= most:
            raise ValueError
        return int(value)

    return check


def yes_no(value: Any) -> bool:
    """Check for true or false, which a box may write as 1 or 0."""
    if type(value) is not bool and not (type(value) is int and value in (0, 1)):
        raise ValueError
    return bool(value)


def form(pattern: str) -> Check:
    """Return a check for a text that has a form from end to end."""
    compiled = re.compile(pattern)

    def check(value: Any) -> str:
        if not isinstance(value, str) or not compiled.fullmatch(value):
            raise ValueError
        return value

    return check


def shown(most: int) -> Check:
    """Return a check for a text that people see: cut, and every odd sign in it a question mark."""

    def check(value: Any) -> str:
        if not isinstance(value, str):
            raise ValueError
        return "".join(c if c.isprintable() else "?" for c in value[:most])

    return check


def each(check: Check, most: int) -> Check:
    """Return a check for a list of so many values at most."""

    def check_all(value: Any) -> list[Any]:
        if not isinstance(value, list) or len(value) > most:
            raise ValueError
        return [check(one) for one in value]

    return check_all


def chunk(value: Any) -> str:
    """Check for bytes of a file in base64, as many as a frame carries."""
    text: str = _BASE64(value)
    if len(binascii.a2b_base64(text)) > frames.CHUNK:
        raise ValueError
    return text


def hex_of(size: int) -> Check:
    """Return a check for so many bytes in hex."""
    return form(f"[0-9a-f]{{{2 * size}}}")


_BASE64 = form("[A-Za-z0-9+/]*={0,2}")
DIGEST = hex_of(DIGEST_SIZE)
COUNT = whole(0, 1 << 31)
TIME = whole(0, TIME_MOST)
WORD = form("[a-z ]{1,16}")
NAMES = {"runs": form(r"[0-9]{5,8}\.hbj"), "timelines": DIGEST}

KERNEL = frozenset(("hello", "status", "erred", "list", "get", "drop", "yield"))
"""What boxes of every version answer, so that logs come home and the firmware can be renewed."""

# request -> what its reply must hold, and what it may hold
_NOTHING: tuple[Fields, Fields] = ({}, {})
_TABLE: dict[str, tuple[Fields, Fields]] = {
    "hello": (
        {
            "id": hex_of(ID_SIZE),
            **dict.fromkeys(("ln", "tl", "jn"), whole(0, 255)),
            "station": whole(0, 99),
            "label": shown(LABEL_MOST),
            "buttons": whole(0, 8),
            "boot": COUNT,
        },
        {
            **dict.fromkeys(("fw", "board", "py"), shown(LABEL_MOST)),
            "folder": form("(fw_[ab])?"),
            "trial": yes_no,
        },
    ),
    "status": (
        {
            "state": WORD,
            "sel": lambda digest: digest if digest == "" else DIGEST(digest),
            "mv": whole(0, 100_000),
            "kb": whole(0, SIZE_MOST >> 10),
            "runs": whole(-1, FILES_MOST),  # the open one counts as none
            "fault": whole(0, 255),
            **dict.fromkeys(("usb", "low", "clock"), yes_no),
        },
        {
            "rtc": yes_no,
            "age_s": COUNT,
            "bound_us": TIME,
            "heap": COUNT,
            "utc_ms": TIME,
            "erred": shown(ERRED_MOST),
        },
    ),
    "erred": ({"b": chunk, "n": COUNT}, {}),
    "time": ({"t2": TIME, "t3": TIME}, {}),
    "clock": (
        {},
        {
            "ppb": whole(-PPB_MOST, PPB_MOST),
            "ppb_bound": whole(0, PPB_MOST),
            "rate_utc_us": TIME,
        },
    ),
    "put": ({"at": whole(-1, SIZE_MOST)}, {}),
    "list": ({"n": whole(0, FILES_MOST)}, {}),  # and a file's fields, see _listed
    "get": ({"b": chunk}, {}),
    "drop": ({"gone": yes_no}, {}),
    "arm": ({"utc_ms": TIME}, {}),
    **dict.fromkeys(("name", "ring", "keep", "select", "disarm", "yield"), _NOTHING),
}
# Of a box with another link only this is sure; what else it says may be of any shape.
_OF_ANY: dict[str, dict[str, tuple[Check, Any]]] = {
    "hello": {
        **dict.fromkeys(("ln", "tl", "jn"), (whole(0, 255), 0)),
        **dict.fromkeys(("fw", "board", "py", "label"), (shown(LABEL_MOST), "")),
        "station": (whole(0, 99), 0),
    },
    "status": {
        "state": (WORD, ""),
        "fault": (whole(0, 255), 0),
        "runs": (whole(-1, FILES_MOST), 0),
        "erred": (shown(ERRED_MOST), ""),
    },
}
_PARTS: dict[str, tuple[Fields, Fields]] = {
    "display": ({"answers": yes_no}, {}),
    "lamp": ({"lamps": whole(0, 64)}, {}),
    "sound": ({}, {"silent": yes_no}),
    "buttons": ({"closed": each(yes_no, 8), "pressed": each(COUNT, 8)}, {}),
    "battery": ({"mv": whole(0, 100_000)}, {"usb": yes_no, "low_mv": whole(0, 100_000)}),
    "flash": ({"same": yes_no, "us": whole(0, TIME_MOST)}, {}),
    "clock part": ({"fitted": yes_no, "stopped": yes_no}, {}),
}


def checked(
    box: str, asked: Mapping[str, Any], reply: Mapping[str, Any], ours: bool = True
) -> dict[str, Any]:
    """Return the facts of a reply that can be right; raises BoxError naming ``box`` otherwise.

    Of a request in the table, fields that are not in it are left out; what a firmware with
    requests of its own answers to those is for its makers to judge. Not ``ours`` is a box with
    another link.
    """
    do = asked["do"]
    try:
        if do == "hello" and not speaks_ours(reply):
            return {"id": hex_of(ID_SIZE)(reply["id"])} | _any(do, reply)
        if do == "status" and not ours:
            return _any(do, reply)
        if do == "test":
            return _taken(_PARTS.get(asked.get("part", ""), _NOTHING), reply)
        if do not in _TABLE:
            return dict(reply)
        facts = _taken(_TABLE[do], reply)
        if do == "list":
            facts |= _listed(asked, reply)
        impossible = (
            (do == "status" and facts["clock"] and "bound_us" not in facts)
            or (do == "put" and facts["at"] > asked["n"])
            or (do == "drop" and not facts["gone"])
            or (do == "arm" and facts["utc_ms"] != asked["utc_ms"])
        )
    except (KeyError, ValueError, TypeError):
        impossible = True
    if impossible:
        raise strange(box)
    return facts


def speaks_ours(hello: Mapping[str, Any]) -> bool:
    """Whether a box has our link, by its major version; else its facts may be of any shape."""
    link = hello.get("ln")
    return type(link) is int and 0 <= link <= 255 and major(link) == major(frames.VERSION)


def _any(do: str, reply: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a reply of any shape may be used for."""
    facts = {}
    for key, (check, usual) in _OF_ANY[do].items():
        try:
            facts[key] = check(reply[key])
        except (KeyError, ValueError, TypeError):
            facts[key] = usual
    return facts


def fault_code(box: str, reply: Mapping[str, Any]) -> int:
    """Return the fault code of a refusal, 0 if it is none; raises BoxError for no code at all."""
    if "no" not in reply:
        return 0
    try:
        return int(whole(1, 255)(reply["no"]))
    except ValueError:
        raise strange(box) from None


def strange(box: str) -> BoxError:
    """Return the error for an answer that no box of ours would give."""
    return BoxError(
        box, "answered what no box of ours would", "Check what is plugged in there, or its firmware"
    )


def _taken(wanted: tuple[Fields, Fields], reply: Mapping[str, Any]) -> dict[str, Any]:
    must, may = wanted
    facts = {key: check(reply[key]) for key, check in must.items()}
    return facts | {key: check(reply[key]) for key, check in may.items() if key in reply}


def _listed(asked: Mapping[str, Any], reply: Mapping[str, Any]) -> dict[str, Any]:
    """Return a file's entry: open, ``bad`` (it can't be read), or with its size and digest."""
    if "name" not in reply:
        return {}
    entry = {"name": NAMES[asked["of"]](reply["name"])}
    for flag in ("open", "bad"):
        if flag in reply and yes_no(reply[flag]):
            return entry | {flag: True}
    return entry | {"size": whole(0, SIZE_MOST)(reply["size"]), "d": DIGEST(reply["d"])}
