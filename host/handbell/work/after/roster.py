"""The roster: who there is, and taking a file of names in."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handbell.store import open_store
from handbell.store.halls.own import own_hall
from handbell.store.people.roster import Athlete, athletes, merge
from handbell.store.people.roster_file import read_roster

from .backups import before
from .stored import store_if_there


@dataclass(frozen=True)
class Roster:
    """Everybody on the roster, by group, bib and name."""

    athletes: tuple[Athlete, ...]


@dataclass(frozen=True)
class Changed:
    """One person as the roster had them, and as the file has."""

    was: Athlete
    now: Athlete


@dataclass(frozen=True)
class TakenIn:
    """What a file of names changes. ``backup`` is the copy made before somebody left, or None."""

    new: tuple[Athlete, ...]
    changed: tuple[Changed, ...]
    same: tuple[Athlete, ...]
    gone: tuple[Athlete, ...]
    written: bool
    backup: str | None


def roster(store_at: str | None = None) -> Roster:
    """Return everybody on the roster."""
    store = store_if_there(store_at)
    if store is None:
        return Roster(())
    with store:
        return Roster(tuple(athletes(store)))


def take_in_roster(
    path: Path, replace: bool = False, dry_run: bool = False, store_at: str | None = None
) -> TakenIn:
    """Take a CSV file of names into the roster; with ``replace`` who is not in it leaves.

    Raises RosterError with every fault of the file, UsageError for a bib that two would have.
    """
    wanted = read_roster(path)
    store = store_if_there(store_at) if dry_run else open_store(store_at)
    if store is None:
        return TakenIn(tuple(wanted), (), (), (), written=False, backup=None)
    with store:
        backup = None
        home = own_hall()
        hall = None if home is None else home.number
        if replace and not dry_run and merge(store, wanted, replace, True, hall).gone:
            backup = before(store, "roster")
        found = merge(store, wanted, replace, dry_run, hall)
    return TakenIn(
        new=tuple(found.new),
        changed=tuple(Changed(was, now) for was, now in found.changed),
        same=tuple(found.same),
        gone=tuple(found.gone),
        written=not dry_run,
        backup=backup,
    )
