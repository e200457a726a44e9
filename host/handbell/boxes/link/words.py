"""The words for a box's fault codes: what happened, and what to do next."""

from __future__ import annotations

from handbell.base.errors import BoxError
from handbell.base.words import several
from handbell_core import faults, frames
from handbell_core.versions import name

from .messages import Hello

_WORDS: dict[int, tuple[str, str]] = {
    faults.UNKNOWN: ("does not know that request", "Run handbell prepare to renew its firmware"),
    faults.BAD_REQUEST: (
        "could not read the request",
        "Run the command again; if it stays so, the box's firmware and this program differ",
    ),
    faults.NO_ROOM: ("has no room left", "Run handbell collect to empty it, then try again"),
    faults.NOT_FOUND: ("does not have that file", "Run handbell send again"),
    faults.NOT_WHOLE: ("got a file that is not whole", "Run the command again"),
    faults.BAD_OFFSET: ("missed a part of a file", "Run the command again"),
    faults.BUSY: (
        "is in a class or about to start one",
        "Before it, handbell arm --cancel takes a start back; else wait, or stop it at the box",
    ),
    faults.CLOCK_LOST: ("has lost its clock", "Run handbell send again to set it"),
    faults.CLOCK_OLD: ("had its clock set too long ago", "Plug it in and run the command again"),
    faults.CLOCK_UNSURE: (
        "has a clock that may be off too far",
        "Plug it straight into the computer or a powered hub and run the command again",
    ),
    faults.TOO_LATE: ("can't start so soon", "Choose a later start"),
    faults.TOO_FAR: ("can't keep a start so far ahead", "Choose one within three days"),
    faults.BATTERY_LOW: ("has a low battery", "Charge it, or change its cells if they come out"),
    faults.VERSION: ("speaks another version", "Run handbell prepare to renew its firmware"),
    faults.WRONG_BOX: ("has too few buttons for this plan", "Lower buttons in the plan"),
    faults.LATE_CUE: ("rang a cue late", ""),
    faults.STORAGE_FULL: ("had no room for its log", "Run handbell collect to empty it"),
    faults.EDGES_LOST: ("missed presses", ""),
    faults.BATTERY_WARNING: (
        "has a low battery",
        "Charge it, or change its cells if they come out",
    ),
    faults.FLASH_ERROR: (
        "can't read or write its flash",
        "Try again, and bring its logs home with handbell collect before you replace the box",
    ),
    faults.TIMELINE_BROKEN: ("holds a broken timeline", "Run handbell send again"),
    faults.FIRMWARE: ("met an error of its own", "Switch it off and on; tell the developers"),
}


_STATES = {
    "cut": "may go on after a power cut",
    "awaits": "waits for the remote to begin",
    "held": "being started by hand",
    "again": "being started by hand",
    "fault": "class ended early",
    "asking": "asking how hard it was",
    "leaving": "leaving a gate",
}


def state_words(state: str) -> str:
    """Return a box's state as a coach would say it."""
    return _STATES.get(state, state)


def fault_words(code: int) -> str:
    """Return a fault code as words that follow a box's name."""
    return _WORDS.get(code, (f"reports fault {code}", ""))[0]


def fault_error(box: str, code: int) -> BoxError:
    """Return the error for a fault code that ``box`` reported."""
    what, remedy = _WORDS.get(code, (f"reports fault {code}", "Run the command again"))
    return BoxError(box, what, remedy, code)


def other_version(box: str, who: Hello, runs: int = 0) -> BoxError:
    """Return the error for a box with another link; ``runs`` logs wait on it."""
    logs = ""
    if runs > 0:
        logs = f"Bring its {several(runs, 'log')} home with handbell collect first, as it is. Then "
    remedy = f"{logs}run handbell prepare to renew its firmware"
    its, ours = name(who.link), name(frames.VERSION)
    what = f"speaks another version of the link, {its} and here it is {ours}"
    return BoxError(box, what, remedy[0].upper() + remedy[1:], faults.VERSION)


def other_logs(box: str, version: int, runs: int) -> BoxError:
    """Return the error for a box that is not renewed while logs wait which nobody here reads."""
    return BoxError(
        box,
        f"it holds {several(runs, 'log')} of version {name(version)}, "
        "which this Handbell does not read",
        "Run handbell collect first, which brings them home as they are, then prepare it",
        faults.VERSION,
    )


BROKEN = "broken"  # the state of a box that could not make its parts


def erred_words(box: str, said: str, state: str) -> str:
    """Return the sentence for the last error of a box's own firmware, in the box's short words."""
    if state == BROKEN:
        return (
            f"{box}: its firmware can't start ({said}). Bring its logs home with handbell collect,"
            " then run handbell prepare; if it stays so, a part of the box is broken."
        )
    return (
        f"{box}: its firmware met an error and went on ({said}). If it comes again, tell the"
        " developers this line."
    )
