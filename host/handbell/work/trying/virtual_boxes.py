"""Boxes on this computer, for as long as somebody wants them."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError, UsageError
from handbell.base.files import private_folder
from handbell.base.places import data_folder

if TYPE_CHECKING:
    from handbell.virtual.world import World

MOST = 24
BUTTONS_MOST = 4


@contextlib.contextmanager
def virtual_boxes(
    count: int,
    buttons: int,
    folder: Path | None = None,
    *,
    tcp: bool = False,
    speed: int = 1,
    clock_part: bool = False,
) -> Iterator[World]:
    """Give a world of ``count`` boxes that are on; they go off at the end, their flash stays.

    ``folder`` keeps it (a usual one unless told); time runs ``speed`` times as fast while no
    program has a port open. A ``clock_part`` is one that was never set. Raises HandbellError where
    they can't run or run already.
    """
    from handbell.virtual.box import BoxSpec
    from handbell.virtual.process import find_micropython
    from handbell.virtual.world import World

    if not 1 <= count <= MOST:
        raise UsageError(f"{count} boxes are too few or too many", f"Choose 1 to {MOST}")
    if not 1 <= buttons <= BUTTONS_MOST:
        raise UsageError(f"A box with {buttons} buttons can't be", f"Choose 1 to {BUTTONS_MOST}")
    find_micropython()
    folder = (folder or data_folder() / "virtual").absolute()
    try:
        str(folder).encode()
    except UnicodeEncodeError:
        raise HandbellError(
            f"{folder} has letters that virtual boxes can't read", "Name another with --folder"
        ) from None
    if folder.exists() and not folder.is_dir():
        raise HandbellError(f"{folder} is no folder", "Name another with --folder")
    try:
        private_folder(folder)
    except OSError as error:
        raise HandbellError(
            f"{folder} can't be made ({error.strerror})", "Name another with --folder"
        ) from error
    with _only_one(folder), World(folder, speed=speed) as world:
        for n in range(1, count + 1):
            spec = BoxSpec(
                name=f"box{n}",
                unique_id=bytes([0xB0, 0, 0, 0, 0, 0, 0, n]),
                flash=folder / f"box{n}.flash",
                buttons=buttons,
                serve="tcp" if tcp else "pty",
                ppm=(7 * n) % 41 - 20,
                rtc=clock_part,
                rtc_lost=clock_part,
            )
            world.add_box(spec)
        yield world


@contextlib.contextmanager
def _only_one(folder: Path) -> Iterator[None]:
    """Hold the folder, so that two worlds don't share flash files and ports."""
    import fcntl  # virtual boxes need a POSIX system anyway

    with (folder / "lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise HandbellError(
                f"Virtual boxes of {folder} are running already",
                "Leave those first, or name another folder with --folder",
            ) from error
        yield
