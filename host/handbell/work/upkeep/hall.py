"""The hall of this computer: shown, named, shared with a second computer."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from handbell.base.errors import HandbellError, StoreError, UsageError
from handbell.store import open_store
from handbell.store.halls.known import put_hall
from handbell.store.halls.own import (
    Hall,
    checked_name,
    hall_file,
    made_hall,
    own_hall,
    read_hall,
    save_hall,
)


@dataclass(frozen=True)
class HallTold:
    """The hall of this computer, by its ``number`` in hex, None before it has one; and its file.

    ``before`` says which it was of until now, None where that is the same or it was of none;
    ``shared`` is the file written for another computer.
    """

    number: str | None
    name: str
    file: str
    before: str | None = None
    shared: str | None = None


def hall() -> HallTold:
    """Return the hall of this computer; raises HandbellError where its file is damaged."""
    return _told(own_hall())


def name_hall(name: str, store_at: str | None = None) -> HallTold:
    """Say how the hall of this computer is called; raises UsageError for what is no name."""
    if not checked_name(name):
        raise UsageError("A hall needs a name that can be seen", 'Say handbell hall --name "North"')
    named = replace(made_hall(), name=checked_name(name))
    save_hall(named)
    _keep(named, store_at)
    return _told(named)


def share_hall(path: Path) -> HallTold:
    """Write the file by which a second computer joins the hall of this one."""
    mine = made_hall()
    save_hall(mine, path)
    return replace(_told(mine), shared=str(path))


def join_hall(path: Path, store_at: str | None = None) -> HallTold:
    """Let this computer be of the hall that a file of another one tells; raises HandbellError."""
    try:
        theirs = read_hall(path)
    except FileNotFoundError:
        raise HandbellError(f"{path} is not there", "Name the file that --share wrote") from None
    try:
        mine = own_hall()
        was = mine.words if mine is not None and mine.number != theirs.number else None
    except HandbellError:
        mine, was = None, "one that can't be read any more"
    if mine is not None:
        _keep(mine, store_at)
    save_hall(theirs)
    _keep(theirs, store_at)
    return replace(_told(theirs), before=was)


def _keep(hall: Hall, store_at: str | None) -> None:
    """Tell a store that is there how a hall is called; else the next sending does."""
    with suppress(StoreError), open_store(store_at, make=False) as store:
        put_hall(store, hall)


def _told(hall: Hall | None) -> HallTold:
    number, name = (None, "") if hall is None else (hall.number, hall.name)
    return HallTold(number, name, str(hall_file()))
