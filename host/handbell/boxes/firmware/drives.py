"""The drive that a board shows in its boot mode, and a file copied onto it."""

from __future__ import annotations

import contextlib
import os
import string
import sys
from collections.abc import Iterator
from pathlib import Path

from handbell.base.errors import HandbellError

INFO = "INFO_UF2.TXT"  # by the UF2 specification every such drive has it
BOARD = "RPI-RP2"  # what an RP2040 calls itself there, and its drive


def find_drives() -> list[Path]:
    """Return the folders where this computer shows drives of boards in boot mode."""
    found = []
    for folder in _places():
        with contextlib.suppress(OSError):
            if (folder / INFO).is_file():
                found.append(folder)
    return sorted(found)


def _places() -> Iterator[Path]:
    if sys.platform == "win32":
        yield from (Path(f"{letter}:/") for letter in string.ascii_uppercase[2:])
        return
    for above in ("/Volumes", "/media", "/run/media", "/mnt"):
        for depth in ("*", "*/*"):
            with contextlib.suppress(OSError):
                yield from Path(above).glob(depth)


def check_drive(folder: Path) -> None:
    """Raise HandbellError when a folder is not the drive of an RP2040 in its boot mode."""
    try:
        said = (folder / INFO).read_text(encoding="utf-8", errors="replace")
    except OSError as error:
        raise HandbellError(
            f"{folder} is no drive of a board in boot mode: it has no {INFO}",
            f"Name the folder of the drive {BOARD}",
        ) from error
    boards = [line.partition(":")[2].strip() for line in said.splitlines() if "Board-ID" in line]
    if boards != [BOARD]:
        raise HandbellError(
            f"The board in boot mode at {folder} is a {(boards or ['stranger'])[0]}, and the image "
            "is for the Pico (RP2040)",
            "Unplug it and plug in a Pico",
        )


def copy_onto(folder: Path, name: str, data: bytes) -> OSError | None:
    """Copy a file onto a drive, and return what went wrong once it had begun.

    A board takes its drive away as soon as it has all of it, so an error at the end may be none.
    Raises HandbellError when the drive takes no file at all.
    """
    try:
        file = (folder / name).open("wb")
    except OSError as error:
        raise HandbellError(
            f"Nothing can be written to {folder} ({error.strerror or error})",
            "Unplug the board, hold BOOTSEL while you plug it in, and run this again",
        ) from error
    try:
        with file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        return error
    return None
