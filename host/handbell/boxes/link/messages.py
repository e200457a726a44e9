"""What a box says, once its reply was read: each message as a type of its own."""

from __future__ import annotations

from dataclasses import dataclass

from handbell_core import frames
from handbell_core.versions import major


@dataclass(frozen=True)
class Hello:
    """Who a box is; the versions are those of its link, its plans and its logs.

    A ``remote`` leads, and is no box of a station; a box that ``hears`` can follow one.
    """

    id: str
    station: int = 0
    label: str = ""
    buttons: int = 0
    boot: int = 0
    link: int = 0
    plans: int = 0
    logs: int = 0
    firmware: str = ""
    board: str = ""
    python: str = ""
    folder: str = ""
    trial: bool = False
    remote: bool = False
    hears: bool = False

    @property
    def ours(self) -> bool:
        """Whether it has our link; of another one only what every box answers is asked."""
        return major(self.link) == major(frames.VERSION)


@dataclass(frozen=True)
class Status:
    """How a box is: ``selected`` is its plan's digest, ``start_utc_ms`` when it is set to start.

    ``runs`` counts logs but for one still open; ``bound_us`` is by how much its clock may be off,
    None where it has lost it; ``erred`` the last error of its own firmware, "" for none;
    ``class_ms`` is where its class is, None for one that has not begun; ``zero_utc_ms`` when that
    began, but for what it stood since, None too without a clock. It ``waits`` where somebody chose
    that, at the end of what is running; ``led`` says that it follows a remote, whose last word had
    the number ``act``; it is ``alone`` if it went on without. A remote ``tells`` that word, if it
    can.
    """

    state: str = ""
    selected: str = ""
    battery_mv: int = 0
    usb: bool = False
    low: bool = False
    room_kb: int = 0
    runs: int = 0
    fault: int = 0
    clock_part: bool = False
    bound_us: int | None = None
    age_s: int | None = None
    start_utc_ms: int | None = None
    erred: str = ""
    class_ms: int | None = None
    zero_utc_ms: int | None = None
    waits: bool = False
    led: bool = False
    tells: bool = True
    act: int = 0
    alone: bool = False


@dataclass(frozen=True)
class Moments:
    """When a request came and its reply left, by the box's clock."""

    arrived_us: int
    left_us: int


@dataclass(frozen=True)
class RateKept:
    """The rate that a box keeps of its crystal, None where it keeps none.

    ``moved_s`` is by how much the clock that it had was moved, 0 for less than a minute.
    """

    ppb: int | None = None
    bound_ppb: int | None = None
    measured_utc_us: int | None = None
    moved_s: int = 0


@dataclass(frozen=True)
class File:
    """A file on a box; ``bad`` is one that it can't read, which has no size and no digest.

    ``name`` is "" where an older firmware refused to say it.
    """

    name: str = ""
    size: int = 0
    digest: str = ""
    open: bool = False
    bad: bool = False


@dataclass(frozen=True)
class Listed:
    """How many files of a kind there are, and the one that was asked for, if there is one."""

    count: int
    file: File | None


@dataclass(frozen=True)
class Buttons:
    """Which buttons are closed, and how often each was pressed."""

    closed: tuple[bool, ...]
    pressed: tuple[int, ...]


@dataclass(frozen=True)
class FlashTest:
    """Whether what was written is what was read, and how long that took."""

    same: bool
    took_us: int


@dataclass(frozen=True)
class ClockPart:
    """Whether a clock part is fitted, and whether it had stopped."""

    fitted: bool
    stopped: bool
