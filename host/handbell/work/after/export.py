"""Getting the numbers out: tables for a sheet, or a bundle for another coach; taking one in."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path

from handbell.base.choices import BUNDLE, CSV, JSON, MONTHS
from handbell.base.errors import UsageError
from handbell.store import Store, open_store
from handbell.store.bundles.bundle import export_bundle
from handbell.store.bundles.taking_in import opened_bundle, require_fit, take_in
from handbell.store.exports import export as tables
from handbell.store.exports import months
from handbell.store.exports.schema import Wanted
from handbell.store.people.known_names import KnownNames

from .backups import before

BY_SUFFIX = {".json": JSON, ".zip": BUNDLE}


@dataclass(frozen=True)
class Exported:
    """What was written: ``kind`` is one of FORMS, ``rows`` are by table.

    Without ``names``, ``looked_for`` names were, and ``kept_out`` are sentences on those found.
    """

    path: str
    kind: str
    rows: dict[str, int]
    names: bool
    kept_out: tuple[str, ...]
    looked_for: int


@dataclass(frozen=True)
class Apart:
    """A class kept apart from ours, and that of ours which it may be, if any."""

    class_id: int
    alike: int | None


@dataclass(frozen=True)
class Imported:
    """What a bundle brought. ``kept`` are sentences on what stays as it was here, ``doubts`` on how
    logs were filed; ``backup`` is the copy of the store made before, None where nothing was in it.
    ``halls`` says how the hall of each class is called, where the store has more than one.
    """

    runs: int
    runs_new: int
    plans_new: int
    timelines_new: int
    amendments_new: int
    names_new: int
    classes: tuple[int, ...]
    kept: tuple[str, ...] = field(default=())
    apart: tuple[Apart, ...] = field(default=())
    doubts: tuple[str, ...] = field(default=())
    backup: str | None = None
    halls: dict[int, str] = field(default_factory=dict)


def export(
    path: Path,
    classes: Collection[int] = (),
    kind: str | None = None,
    person: str = "",
    names: bool | None = None,
    mark: bool = False,
    store_at: str | None = None,
) -> Exported:
    """Write what is wanted: some classes or all, of one person or all.

    ``kind`` None goes by the path's ending. ``names`` None leaves people's names out of a bundle
    alone. ``mark`` begins CSV files so that spreadsheets know UTF-8.
    """
    kind = kind or BY_SUFFIX.get(path.suffix.lower(), CSV)
    if kind == BUNDLE and person:
        raise UsageError("A bundle holds whole classes, not one person's data", "Use --as json")
    if person and names is False:
        raise UsageError("One person's data without names can't be told", "Leave --no-names out")
    if mark and kind != CSV:
        raise UsageError("--bom is for CSV files only", "Leave it out")
    if path.is_dir() and kind in (JSON, BUNDLE):
        raise UsageError(f"{path} is a folder", "Give a file's name")
    if kind == MONTHS and (classes or person):
        raise UsageError("Months are written whole", "Leave the classes and --person out")
    named = names if names is not None else kind != BUNDLE
    wanted = Wanted(frozenset(classes) or None, person, named)
    with open_store(store_at, make=False, every_hall=kind == MONTHS) as store:
        counts, kept_out = _write(store, kind, path, wanted, mark)
        looked_for = 0 if named else _count_names(store)
    return Exported(str(path), kind, counts, named, tuple(kept_out), looked_for)


def _write(
    store: Store, kind: str, path: Path, wanted: Wanted, mark: bool
) -> tuple[dict[str, int], list[str]]:
    """Write what is wanted; return rows by table, and sentences on names kept out."""
    if kind == BUNDLE:
        done = export_bundle(store, path, wanted)
        return done.rows, done.kept_out
    if kind == CSV:
        return tables.export_csv(store, path, wanted, mark), []
    if kind == JSON:
        return tables.export_json(store, path, wanted), []
    if kind == MONTHS:
        return months.export_months(store, path, wanted.names), []
    return tables.export_parquet(store, path, wanted), []


def _count_names(store: Store) -> int:
    with store.reading() as conn:
        return KnownNames(conn).count


def take_in_bundle(path: Path, store_at: str | None = None) -> Imported:
    """Take in another coach's classes; the same again changes nothing.

    Raises HandbellError for a damaged bundle, of which nothing is taken in.
    """
    # One that is refused makes neither a store nor a copy of one.
    with opened_bundle(path) as bundle, open_store(store_at) as store:
        require_fit(store, bundle)
        backup = before(store, "import")
        done = take_in(store, bundle)
    return Imported(
        runs=done.runs,
        runs_new=done.runs_new,
        plans_new=done.plans_new,
        timelines_new=done.timelines_new,
        amendments_new=done.amendments_new,
        names_new=done.names_new,
        classes=tuple(done.classes),
        kept=tuple(done.kept),
        apart=tuple(Apart(mine, alike) for mine, alike in done.apart.items()),
        doubts=tuple(done.doubts),
        backup=backup,
        halls=done.halls,
    )
