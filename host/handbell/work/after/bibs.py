"""Saying who wore which bib."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from handbell.base.errors import UsageError
from handbell.store import open_store
from handbell.store.classes.newest import meant
from handbell.store.people.roster import wear_as_usual
from handbell.store.people.wearers import set_wearers
from handbell.store.results.queries import load_row
from handbell.store.results.records import ClassRow, Wearer


@dataclass(frozen=True)
class Bibs:
    """All that is said of a class's bibs; ``start_utc_us`` None: no box had a clock."""

    class_id: int
    title: str
    start_utc_us: int | None
    collected_utc_us: int
    wearers: tuple[Wearer, ...]


def say_bibs(
    class_id: int | None,
    names: Mapping[int, str],
    absent: Collection[int] = (),
    store_at: str | None = None,
) -> Bibs:
    """Say who wore which bib of a class, the newest without an id, and who was absent.

    An empty name forgets what was said of a bib. Raises UsageError for a bib that was not there.
    """
    both = sorted(set(names) & set(absent))
    if both:
        raise UsageError(f"Bib {both[0]} can't be both worn and absent", "Say one of the two")
    with open_store(store_at, make=False) as store:
        row = load_row(store, meant(store, class_id))
        return _told(row, set_wearers(store, row.id, names, absent))


def bibs_as_usual(
    class_id: int | None, group: str | None = None, store_at: str | None = None
) -> Bibs:
    """Name the bibs of a class that nobody named yet as the roster has them.

    ``group``: only its people. Raises UsageError where a bib is usually worn by several.
    """
    with open_store(store_at, make=False) as store:
        row = load_row(store, meant(store, class_id))
        return _told(row, wear_as_usual(store, row.id, group))


def _told(row: ClassRow, wearers: Iterable[Wearer]) -> Bibs:
    return Bibs(row.id, row.title, row.start_utc_us, row.collected_utc_us, tuple(wearers))
