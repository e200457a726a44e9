"""What a board may print at its prompt: each answer is read here, before anybody uses it.

A board can run anything, and what it prints becomes file names and lines on a screen.
"""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from handbell.base.errors import BoxError
from handbell.boxes.link.fields import FILES_MOST, form, shown, whole

from .new_board import NEW_BOARD

M = TypeVar("M")
UNSOUND = (ValueError, SyntaxError, TypeError, LookupError, RecursionError, MemoryError)
SAID_MOST = 200  # letters of a text for a screen

_text = shown(SAID_MOST)
_image = form(r"[\w .+-]{0,80}")  # an image's name: it becomes a file's
_small = form(r"[\w]{0,8}")  # what the small files hold
_digest = form("[0-9a-f]{64}")


@dataclass(frozen=True)
class Survey:
    """What board it is: its runtime, the .mpy files it loads, whether it has a board of its own."""

    name: str
    version: tuple[int, ...]
    machine: str
    mpy_version: int
    local: bool


@dataclass(frozen=True)
class Look:
    """Which folder is active, what is on trial, and the digest of every file that matters."""

    active: str
    trial: str
    files: dict[str, str]


@dataclass(frozen=True)
class State:
    """The board's machine, its image's name, its active folder and how many logs it has."""

    machine: str
    image: str
    active: str
    runs: int


def value_of(said: str) -> Any:
    """Return the value that a board printed; raises one of UNSOUND."""
    return ast.literal_eval(said.strip())


def survey(url: str, said: str) -> Survey:
    """Read what SURVEY printed; raises BoxError."""

    def read(name: Any, version: Any, machine: Any, mpy: Any, local: Any) -> Survey:
        numbers = tuple(whole(0, 9_999)(n) for n in version)
        return Survey(_text(name), numbers, _text(machine), whole(0, 255)(mpy), bool(local))

    return _read(url, said, read)


def look(url: str, said: str) -> Look:
    """Read what LOOK printed; raises BoxError."""

    def read(active: Any, trial: Any, files: Any) -> Look:
        found = {_text(path): _digest(digest) for path, digest in files.items()}
        return Look(_small(active), _small(trial), found)

    return _read(url, said, read)


def state(url: str, said: str) -> State:
    """Read what STATE printed; raises BoxError."""

    def read(machine: Any, image: Any, active: Any, runs: Any) -> State:
        return State(_text(machine), _image(image), _small(active), whole(0, FILES_MOST)(runs))

    return _read(url, said, read)


def fault(url: str, said: str) -> str:
    """Read what IMPORT printed: what went wrong, "" if nothing did; raises BoxError."""
    return _read(url, f"({said.strip()},)", _text)


def _read(url: str, said: str, read: Callable[..., M]) -> M:
    try:
        return read(*value_of(said))
    except (*UNSOUND, AttributeError):
        raise BoxError(url, "this board does not answer as MicroPython does", NEW_BOARD) from None
