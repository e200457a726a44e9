"""What every box answers its host, of whatever version and in whatever state.

Who it is, and its logs as bytes: none of it ever changes its meaning, so that a host of any other
version can bring the logs home and renew the firmware.
"""

import binascii
import errno
import sys

from handbell_core import faults, frames, journal, timeline

from . import FIRMWARE
from .storage import RUNS
from .trial import folder


class Refusal(Exception):
    """A request that is not done; carries the fault code."""

    def __init__(self, code: int) -> None:
        super().__init__(code)
        self.code = code


def who(
    box_id: str, board: str, settings: dict, boot: int, buttons: int, pending: bool, hears: bool
) -> dict:
    """Return who a box is, and which versions of the formats it has.

    ``buttons`` is how many its board has pins for; ``hears``: it has a receiver for a remote.
    """
    facts = {
        "id": box_id,
        "fw": FIRMWARE,
        "ln": frames.VERSION,
        "tl": timeline.VERSION,
        "jn": journal.VERSION,
        "board": board,
        "py": "%d.%d.%d" % sys.implementation.version[:3],
        "station": settings.get("station", 0),
        "label": settings.get("label", ""),
        "buttons": min(buttons, settings.get("buttons", 0) or buttons),
        "boot": boot,
        "folder": folder(),
    }
    if settings.get("remote"):
        facts["remote"] = 1
    if hears:
        facts["hears"] = 1
    if pending:
        facts["trial"] = 1
    return facts


def list_file(storage, message: dict, open_run: str) -> dict:
    """Return how many files of a kind there are, and what is to be said of one of them."""
    of = message["of"]
    names = storage.runs() if of == RUNS else storage.timelines()
    reply = {"n": len(names)}
    i = message["i"]
    if 0 <= i < len(names):
        name = names[i]
        reply["name"] = name
        if of == RUNS and name == open_run:
            reply["open"] = True
        else:
            path = storage.find(of, name)
            try:
                if of == RUNS and not storage.join_tail(name):
                    raise OSError(errno.EIO)
                reply["size"] = storage.size(path)
                reply["d"] = storage.digest(path)
            except OSError:
                reply["bad"] = 1  # the others are listed all the same
    return reply


def get_piece(storage, message: dict) -> dict:
    """Return some bytes of a file; raises Refusal."""
    path = storage.find(message["of"], message["name"])
    if not path:
        raise Refusal(faults.NOT_FOUND)
    data = storage.read(path, message["at"], min(message["n"], frames.CHUNK))
    return {"b": binascii.b2a_base64(data).decode().rstrip()}


def drop_file(storage, message: dict, open_run: str) -> bool:
    """Erase a file, only if its digest is the one named; False if it was gone already."""
    of, name = message["of"], message["name"]
    path = storage.find(of, name)
    if not path:
        return False
    if of == RUNS and name == open_run:
        raise Refusal(faults.BUSY)
    if of == RUNS and not storage.join_tail(name):
        raise Refusal(faults.FLASH_ERROR)
    if storage.digest(path) != message["d"]:
        raise Refusal(faults.NOT_WHOLE)
    storage.remove(path)
    return True


def erred_piece(text: bytes, message: dict) -> dict:
    """Return a piece of the last error of the box's own program, and how long all of it is."""
    at = message["at"]
    piece = text[at : at + frames.CHUNK]
    return {"b": binascii.b2a_base64(piece).decode().rstrip(), "n": len(text)}
