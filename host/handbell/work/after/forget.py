"""Forgetting a person completely: in the store, in its backups, in the files of the data folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from handbell.base.errors import StoreError
from handbell.base.places import data_folder
from handbell.store.database import backups
from handbell.store.database.connect import address_of, file_of, link_of
from handbell.store.people.forget import Forgotten, forget
from handbell.store.people.forget_backups import forget_in_backup
from handbell.store.people.forget_files import forget_in_files, forget_left_over
from handbell.store.people.names import plain_text

from .stored import store_if_there


@dataclass(frozen=True)
class Forgot:
    """Where a name stood, or stands: ``rows`` by table, backups, files.

    ``alike`` are those who nearly are called so, where nobody is. ``warnings`` are sentences on
    what could not be done; then it is not ``ok``.
    """

    ok: bool
    forgotten: bool
    rows: dict[str, int]
    backups: tuple[str, ...]
    files: tuple[str, ...]
    warnings: tuple[str, ...]
    alike: tuple[str, ...] = ()


def forget_person(
    name: str, *, dry_run: bool = False, keep_plans: bool = False, store_at: str | None = None
) -> Forgot:
    """Forget a person; with ``dry_run`` only say where the name stands. Twice does no harm.

    ``keep_plans`` leaves the words of plans alone, where a name may be an exercise's too. Raises
    UsageError for no name at all.
    """
    path = file_of(address_of(store_at))
    store = store_if_there(store_at)
    if store is None:
        found = Forgotten(plain_text(name))  # it may stand in other files
    else:
        with store:
            found = forget(store, name, dry_run=dry_run, keep_plans=keep_plans)
    if path is not None:
        link = link_of(store_at)  # older versions wrote backups beside a link
        copies = backups.backups_of(path) + ([] if link is None else backups.backups_of(link))
        try:
            copies += backups.elsewhere(path)
        except StoreError as error:
            found.warnings.append(str(error))
        _in_backups(copies, found, dry_run, keep_plans)
    in_files = []
    for name_there in found.names:
        in_files.append(forget_in_files(data_folder(), name_there, dry_run))
        if path is not None and path.parent != data_folder():
            in_files.append(forget_left_over(path.parent, name_there, dry_run))
    for files, warnings in in_files:
        found.files += [one for one in files if one not in found.files]
        found.warnings += [words for words in warnings if words not in found.warnings]
    return Forgot(
        ok=not found.warnings,
        forgotten=not dry_run,
        rows=found.rows,
        backups=tuple(found.backups),
        files=tuple(found.files),
        warnings=tuple(found.warnings),
        alike=tuple(found.alike),
    )


def _in_backup(copy: Path, found: Forgotten, dry_run: bool, keep_plans: bool) -> bool:
    """Forget in a backup under each name that the person has; return whether one stood there."""
    stood = [forget_in_backup(copy, n, dry_run, keep_plans, found.ids) for n in found.names]
    return any(stood)


def _in_backups(copies: list[Path], found: Forgotten, dry_run: bool, keep_plans: bool) -> None:
    """Forget in backups, and name those out of reach."""
    for copy in dict.fromkeys(copies):
        if copy.exists():
            try:
                if _in_backup(copy, found, dry_run, keep_plans):
                    found.backups.append(str(copy))
            except OSError as error:
                found.warnings.append(
                    f"The backup {copy} could not be cleaned ({error}): delete it."
                )
        elif copy.parent.exists():  # an empty folder may stand where a stick is at other times
            found.warnings.append(
                f"The backup {copy} is not there now. Plug in what it is on and run this again. If "
                "you put it elsewhere: handbell forget NAME --store FILE. If you deleted it: "
                "handbell store gone FILE."
            )
        else:
            found.warnings.append(
                f"The backup {copy} can't be reached. Plug in what it is on and run this again, "
                "or delete it. If you deleted it before: handbell store gone FILE."
            )
