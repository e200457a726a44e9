"""Many classes: who was there, and each person's classes one after another.

A person is who the coach said wore the bib. Where nobody said, a bib is taken for one person
through all classes; that is a guess, and ``Person.named`` tells it apart.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cache, cached_property, partial

from handbell.base.words import few, listed, quoted
from handbell.store import Store
from handbell.store.classes.newest import newest
from handbell.store.people.names import key_of
from handbell.store.people.roster import Athlete, athletes
from handbell.store.results.effort import Effort
from handbell.store.results.efforts import efforts
from handbell.store.results.group import GroupClass, PersonClass, group_rows
from handbell.store.results.queries import load_class, load_row
from handbell.store.results.records import ClassRecord, ClassRow
from handbell.store.results.sums import ExerciseSums

from .load import Rated

MINUTE_MS = 60_000
DAY_US = 86_400_000_000
WEEK_US = 7 * DAY_US
MOST_TOLD = 3  # classes in a sentence


@dataclass(frozen=True)
class Person:
    """Somebody over all classes; ``key`` is the same for the same person.

    ``unsure``: another bib of the class has the name, too, and nobody can tell them apart. That
    one class is all there is of such a person.
    """

    key: str
    name: str
    named: bool
    unsure: bool = False


@dataclass(frozen=True)
class Played:
    """All of one class, with each bib's efforts in order."""

    record: ClassRecord
    by_bib: Mapping[int, tuple[Effort, ...]]


@dataclass(frozen=True)
class Attended:
    """One person in one class: each exercise added up, in order.

    ``there`` False: absent, or never pressed; nothing is missed by it. ``absent``: the coach said
    so.
    """

    person: Person
    bib: int
    exercises: tuple[ExerciseSums, ...]
    rating: int | None
    there: bool
    look: Callable[[], Played] = field(repr=False, compare=False)
    absent: bool = False

    @property
    def efforts(self) -> tuple[Effort, ...]:
        """Every effort one by one; the class is read for it, once."""
        return self.look().by_bib.get(self.bib, ())


@dataclass(frozen=True)
class PastClass:
    """One class, added up; ``look`` reads all of it.

    ``missing`` are those of the group that it was given to, as the roster is now, who have no bib
    in it.
    """

    row: ClassRow
    slot_ms: int
    people: tuple[Attended, ...]
    look: Callable[[], Played] = field(repr=False, compare=False)
    missing: tuple[Person, ...] = ()

    @property
    def record(self) -> ClassRecord:
        """All that the store knows of it; it is read once."""
        return self.look().record

    @property
    def at_us(self) -> int:
        """UTC of the class as well as it is known."""
        return self.row.at_utc_us

    @cached_property
    def rated(self) -> bool:
        """Whether the plan asks how hard it was; the class is read where nobody answered."""
        answered = any(who.rating is not None for who in self.people)
        return answered or any(run.timeline.rated for run in self.record.runs)

    @cached_property
    def day(self) -> date:
        """Its day in this computer's time zone."""
        return datetime.fromtimestamp(self.at_us / 1e6).astimezone().date()


@dataclass(frozen=True)
class Attendance:
    """How often somebody came, of the classes that they should have come to.

    In ``never`` of those nothing tells whether they came: nobody said that they were absent, and
    there is no press.
    """

    planned: int
    came: int
    last: date | None
    never: int = 0

    @property
    def share(self) -> float | None:
        """From 0 to 1; None when nothing was planned."""
        return self.came / self.planned if self.planned else None


def past_classes(store: Store, until: int | None = None, weeks: int = 26) -> list[PastClass]:
    """Return a class (the newest without an id) and those of the weeks before it, oldest first.

    Raises StoreError when there is no such class.
    """
    last = load_row(store, newest(store)[0] if until is None else until)
    end_us = last.at_utc_us
    found = group_rows(store, end_us - weeks * WEEK_US, end_us)
    roster = athletes(store)
    classes = [_past(store, one, roster) for one in found]
    return sorted(classes, key=lambda c: (c.at_us, c.row.id == last.id))


def last_weeks(classes: Sequence[PastClass], weeks: int) -> list[PastClass]:
    """Return those of some classes, oldest first, that ``past_classes`` would give of the last."""
    return [c for c in classes if c.at_us >= classes[-1].at_us - weeks * WEEK_US]


def _past(store: Store, one: GroupClass, roster: Sequence[Athlete]) -> PastClass:
    look = cache(partial(_played, store, one.row.id))
    people = _told_apart(one.row.id, [_attended(who, look) for who in one.people])
    here = {who.person.key for who in people}
    mine = [a for a in roster if one.row.group and a.group == one.row.group]
    group = [_named(a.called or a.name) for a in mine]
    missing = tuple(person for person in group if person.key not in here)
    return PastClass(one.row, one.slot_ms, people, look, missing)


def _told_apart(class_id: int, people: Sequence[Attended]) -> tuple[Attended, ...]:
    """Return the people of a class, each once: of two bibs with one name it is who was there.

    Where both were there, both are ``unsure``: one class never counts twice for one person.
    """
    by_key: dict[str, list[Attended]] = {}
    for who in people:
        by_key.setdefault(who.person.key, []).append(who)
    told = []
    for who in people:
        same = by_key[who.person.key]
        there = [one for one in same if one.there] or same[:1]
        if len(same) > 1 and there != [who]:
            key = f"bib {who.bib} of class {class_id}"
            who = replace(who, person=replace(who.person, key=key, unsure=True))
        told.append(who)
    return tuple(told)


def names_unsure(one: PastClass) -> dict[str, list[int]]:
    """Return the bibs of a class, by name, that nobody can tell apart since all were there."""
    found: dict[str, list[Attended]] = {}
    for who in one.people:
        if who.there and who.person.unsure:
            found.setdefault(key_of(who.person.name), []).append(who)
    return {some[0].person.name: [who.bib for who in some] for some in found.values()}


def left_out(classes: Iterable[PastClass], key: str | None = None) -> list[str]:
    """Return a sentence for each name that two bibs of a class have, which then counts for none.

    With ``key`` only for that person.
    """
    found: dict[str, tuple[str, list[int]]] = {}
    for one in classes:
        for name in names_unsure(one):
            found.setdefault(key_of(name), (name, []))[1].append(one.row.id)
    said = []
    for name, some in found.values():
        if key not in (None, f"name {key_of(name)}"):
            continue
        which = "class" if len(some) == 1 else "classes"
        counts = "counts" if len(some) == 1 else "count"
        where = f"{which} {listed(few([str(n) for n in some], MOST_TOLD))}"
        said.append(
            f"{quoted(name)} is more than one bib in {where}, which {counts} for none of them. "
            f"What to do: handbell report {some[-1]}"
        )
    return said


def _played(store: Store, class_id: int) -> Played:
    record = load_class(store, class_id)
    by_bib: dict[int, list[Effort]] = {}
    for effort in efforts(record):
        by_bib.setdefault(effort.bib, []).append(effort)
    return Played(record, {bib: tuple(own) for bib, own in by_bib.items()})


def _attended(who: PersonClass, look: Callable[[], Played]) -> Attended:
    """Somebody who never pressed was absent as far as anyone can tell; nothing is missed by it."""
    pressed = who.rating is not None or any(e.pressed for e in who.exercises)
    there = pressed and not who.absent
    return Attended(_person(who), who.bib, who.exercises, who.rating, there, look, who.absent)


def _person(who: PersonClass) -> Person:
    if who.name:
        return _named(who.name)
    return Person(f"bib {who.bib}", f"Bib {who.bib}", False)


def _named(name: str) -> Person:
    return Person(f"name {key_of(name)}", name, True)


def classes_of(classes: Iterable[PastClass], key: str) -> list[tuple[PastClass, Attended]]:
    """Return one person's classes that they came to, oldest first."""
    return [
        (one, who) for one in classes for who in one.people if who.person.key == key and who.there
    ]


def everybody(classes: Sequence[PastClass]) -> list[Person]:
    """Return everybody who came to any class, by name."""
    found = {
        w.person.key: w.person for c in classes for w in c.people if w.there and not w.person.unsure
    }
    return sorted(found.values(), key=_by_name)


def _by_name(person: Person) -> tuple[bool, int, str]:
    """Return what people stand in order by: their names, then bibs that nobody named."""
    bib = 0 if person.named else int(person.key.removeprefix("bib "))
    return not person.named, bib, person.key


def rated_of(classes: Iterable[PastClass], key: str) -> list[Rated]:
    """Return one person's ratings, as the sums of load take them."""
    return [
        Rated(one.day, one.slot_ms / MINUTE_MS, who.rating) for one, who in classes_of(classes, key)
    ]


def attendance(classes: Sequence[PastClass], key: str) -> Attendance:
    """Return how often somebody came, of the classes (oldest first) that they should have come to.

    Those are the ones with a bib of theirs, and from the first that they came to on those of their
    group.
    """
    mine = [(c, w) for c in classes for w in c.people if w.person.key == key]
    came = [c for c, w in mine if w.there]
    never = sum(not w.there and not w.absent for _, w in mine)
    gone = sum(missing_from(c, classes, key) for c in classes)
    last = max((c.day for c in came), default=None)
    return Attendance(len(mine) + gone, len(came), last, never)


def missing_from(one: PastClass, classes: Iterable[PastClass], key: str) -> bool:
    """Whether somebody of a class's group has no bib in it, and came to one before it."""
    return any(person.key == key for person in one.missing) and any(
        before.at_us < one.at_us and any(w.there and w.person.key == key for w in before.people)
        for before in classes
    )


def expected(one: PastClass, classes: Sequence[PastClass], came: Collection[str]) -> int:
    """Return how many people should have come to one of some classes.

    ``came`` are the keys of all who came to any. A bib that nobody is named for, and that nobody
    pressed for in any class, is nobody's.
    """
    here = sum(w.person.named or w.person.key in came for w in one.people)
    return here + sum(missing_from(one, classes, person.key) for person in one.missing)
