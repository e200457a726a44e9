"""Many classes: who was there, and each person's classes one after another.

A person is who the coach said wore the bib. Where nobody said, a bib is taken for one person
through all classes; that is a guess, and ``Person.named`` tells it apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from handbell.store import Store
from handbell.store.queries import ClassRecord, ClassRow, list_classes, load_class

from .efforts import Effort, efforts
from .load import Rated

MINUTE_MS = 60_000
DAY_US = 86_400_000_000


@dataclass(frozen=True)
class Person:
    """Somebody over all classes; ``key`` is the same for the same person."""

    key: str
    name: str
    named: bool


@dataclass(frozen=True)
class Attended:
    """One person in one class; ``efforts`` in order. ``there`` False: absent, or never pressed."""

    person: Person
    bib: int
    efforts: tuple[Effort, ...]
    rating: int | None
    there: bool


@dataclass(frozen=True)
class PastClass:
    """One class, worked out; ``at_us`` is its start, or when it was collected without a clock."""

    row: ClassRow
    record: ClassRecord
    slot_ms: int
    people: tuple[Attended, ...]

    @property
    def at_us(self) -> int:
        """UTC of the class as well as it is known."""
        return when(self.row)

    @property
    def day(self) -> date:
        """Its day in this computer's time zone."""
        return datetime.fromtimestamp(self.at_us / 1e6).astimezone().date()


@dataclass(frozen=True)
class Attendance:
    """How often somebody came, of the classes that the bib or name was planned for."""

    planned: int
    came: int
    last: date | None

    @property
    def share(self) -> float | None:
        """From 0 to 1; None when nothing was planned."""
        return self.came / self.planned if self.planned else None


def when(row: ClassRow) -> int:
    """Return when a class was, in UTC microseconds."""
    return row.start_utc_us or row.collected_utc_us


def person_of(record: ClassRecord, bib: int) -> Person:
    """Return who wore a bib in a class."""
    wearer = record.wearers.get(bib)
    if wearer is not None and wearer.name:
        return Person(f"name {wearer.name.casefold()}", wearer.name, True)
    return Person(f"bib {bib}", f"Bib {bib}", False)


def past_class(record: ClassRecord) -> PastClass:
    """Work one class out."""
    by_bib: dict[int, list[Effort]] = {}
    for effort in efforts(record):
        by_bib.setdefault(effort.bib, []).append(effort)
    people = tuple(_attended(record, bib, by_bib.get(bib, [])) for bib in record.bibs)
    slot_ms = max((run.timeline.slot_ms for run in record.runs), default=0)
    return PastClass(record.row, record, slot_ms, people)


def _attended(record: ClassRecord, bib: int, own: list[Effort]) -> Attended:
    """Somebody who never pressed was absent as far as anyone can tell; nothing is missed by it."""
    rating = record.ratings.get(bib)
    wearer = record.wearers.get(bib)
    pressed = rating is not None or any(e.reps or e.drop_ms is not None for e in own)
    there = pressed and not (wearer is not None and wearer.absent)
    return Attended(person_of(record, bib), bib, tuple(own), rating, there)


def past_classes(store: Store, until: int | None = None, weeks: int = 26) -> list[PastClass]:
    """Return a class (the newest without an id) and those of the weeks before it, oldest first.

    Raises StoreError when there is no such class.
    """
    newest = load_class(store, until)
    end_us = when(newest.row)
    begin_us = end_us - weeks * 7 * DAY_US
    before = [
        row.id
        for row in list_classes(store)
        if begin_us <= when(row) <= end_us and row.id != newest.row.id
    ]
    found = [past_class(load_class(store, id_)) for id_ in before] + [past_class(newest)]
    return sorted(found, key=lambda c: (c.at_us, c.row.id == newest.row.id))


def classes_of(classes: Iterable[PastClass], key: str) -> list[tuple[PastClass, Attended]]:
    """Return one person's classes that they came to, oldest first."""
    return [
        (one, who) for one in classes for who in one.people if who.person.key == key and who.there
    ]


def everybody(classes: Sequence[PastClass]) -> list[Person]:
    """Return everybody who came to any class, by name."""
    found = {w.person.key: w.person for c in classes for w in c.people if w.there}
    return sorted(found.values(), key=lambda p: (not p.named, len(p.key), p.key))


def rated_of(classes: Iterable[PastClass], key: str) -> list[Rated]:
    """Return one person's ratings, as the sums of load take them."""
    return [
        Rated(one.day, one.slot_ms / MINUTE_MS, who.rating) for one, who in classes_of(classes, key)
    ]


def attendance(classes: Iterable[PastClass], key: str) -> Attendance:
    """Return how often somebody came, of the classes planned for them."""
    planned = [(c, w) for c in classes for w in c.people if w.person.key == key]
    came = [c.day for c, w in planned if w.there]
    return Attendance(len(planned), len(came), max(came, default=None))
