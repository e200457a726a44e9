"""The roster: who there is, which bib each usually wears, in which group. Only on the host."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from sqlalchemy import Connection, delete, select, update

from handbell.base.errors import UsageError
from handbell.base.words import listed, quoted
from handbell.store.database import tables
from handbell.store.database.bulk import put_row
from handbell.store.database.database import Database
from handbell.store.results.queries import load_class
from handbell.store.results.records import Wearer

from .names import key_of
from .people import People, hall_of_class
from .prune import prune
from .wearers import set_wearers


@dataclass(frozen=True)
class Athlete:
    """One person; ``bib`` is the usual one, None for none; ``group`` may be empty.

    ``called`` is the name with what tells it from others' of that name, if the store has any.
    """

    name: str
    bib: int | None = None
    group: str = ""
    called: str = field(default="", compare=False)


@dataclass(frozen=True)
class Merged:
    """What taking in a roster does: who is new, who changes from what to what, who stays.

    ``gone`` are those the file no longer has, removed only if that was asked for.
    """

    new: list[Athlete]
    changed: list[tuple[Athlete, Athlete]]
    same: list[Athlete]
    gone: list[Athlete]


def athletes(store: Database) -> list[Athlete]:
    """Return everybody, by group, bib and name."""
    with store.reading() as conn:
        return sorted(_athletes(conn, People(conn)).values(), key=_order)


def _order(a: Athlete) -> tuple[object, ...]:
    return (a.group, a.bib is None, a.bib or 0, key_of(a.name))


def _athletes(conn: Connection, people: People) -> dict[str, Athlete]:
    """Return everybody, by person."""
    found = {}
    for row in conn.execute(select(tables.athletes)).all():
        label, name = people.label(row.person), people.name(row.person)
        found[row.person] = Athlete(name, row.bib, row.group_name, label or name)
    return found


def merge(
    store: Database,
    wanted: Sequence[Athlete],
    replace: bool = False,
    dry_run: bool = False,
    hall: str | None = None,
) -> Merged:
    """Take people of a hall in; with ``replace`` whoever is not among them goes.

    A person is known by the name, whatever its case; of several by the group, then by the bib.
    Raises UsageError when two people of one group would have the same bib, or when nobody can say
    which of two it is; with ``dry_run`` nothing is written.
    """

    def work(conn: Connection) -> Merged:
        people = People(conn)
        before = _athletes(conn, people)
        rows = _matched(people, before, wanted, hall)
        after = dict[str, Athlete]() if replace else dict(before)
        after |= {person: a for person, a in rows if person is not None}
        fresh = [a for person, a in rows if person is None or person not in before]
        news = [a for person, a in rows if person is None]
        _check_bibs([*after.values(), *news])
        found = Merged(
            new=fresh,
            changed=[
                (before[key], a) for key, a in after.items() if key in before and a != before[key]
            ],
            same=[a for key, a in after.items() if before.get(key) == a],
            gone=[a for key, a in before.items() if key not in after],
        )
        if not dry_run:
            gone = before.keys() - after.keys()
            _write(conn, people, [(p, a) for p, a in rows if before.get(p or "") != a], hall)
            t = tables.athletes
            conn.execute(delete(t).where(t.c.person.in_(gone)))
            prune(conn, gone)
        return found

    return store.doing(work)


def _matched(
    people: People, before: Mapping[str, Athlete], wanted: Sequence[Athlete], hall: str | None
) -> list[tuple[str | None, Athlete]]:
    """Return the person whom each row means, None for somebody new."""
    by_key: dict[str, list[Athlete]] = {}
    for athlete in wanted:
        by_key.setdefault(key_of(athlete.name), []).append(athlete)
    found: list[tuple[str | None, Athlete]] = []
    for key, rows in by_key.items():
        known = [p for p in people.named(key) if people.in_hall(p, hall)]
        left, open_ = list(known), list(rows)
        for alike in (_group, _bib):
            for row in list(open_):
                same = [p for p in left if p in before and alike(before[p]) == alike(row) != ""]
                if len(same) == 1:
                    found.append((same[0], row))
                    left.remove(same[0])
                    open_.remove(row)
        if len(open_) == len(left) == 1 and len(rows) == len(known):
            found.append((left[0], open_[0]))
        elif left and open_:
            which = " or ".join(quoted(people.label(one) or "") for one in left)
            raise UsageError(
                f"Nobody can say whether {quoted(open_[0].name)} of the file is {which}",
                "Call them otherwise first, handbell roster --rename; nothing is changed",
            )
        else:
            found += [(None, row) for row in open_]
    return found


def _group(a: Athlete) -> str:
    return key_of(a.group)


def _bib(a: Athlete) -> str:
    return "" if a.bib is None else str(a.bib)


def _write(
    conn: Connection,
    people: People,
    some: Sequence[tuple[str | None, Athlete]],
    hall: str | None,
) -> None:
    for person, a in some:
        if person is None:
            person = people.add(a.name, hall)
        elif people.name(person) != a.name:  # the case alone
            people.write(person, name=a.name)
        row = {"person": person, "bib": a.bib, "group_name": a.group}
        put_row(conn, tables.athletes, row)


def _check_bibs(people: Iterable[Athlete]) -> None:
    worn: dict[tuple[str, int], Athlete] = {}
    for athlete in people:
        if athlete.bib is None:
            continue
        other = worn.setdefault((athlete.group, athlete.bib), athlete)
        if other is not athlete:
            where = f" of group {athlete.group}" if athlete.group else ""
            raise UsageError(
                f"Bib {athlete.bib}{where} would be {other.name}'s and {athlete.name}'s",
                "Give one of them another bib or group; nothing is changed",
            )


def wear_as_usual(store: Database, class_id: int, group: str | None = None) -> list[Wearer]:
    """Name the bibs of a class that nobody named yet, as the roster has them; return all of it.

    Who is named for another bib already wore that one, and who is of another hall was not there; a
    bib said to be absent stays so. With a ``group`` the class is that group's from then on. Raises
    UsageError when a bib is usually worn by several people and no group says which, or nobody is in
    the group.
    """
    record = load_class(store, class_id)
    everybody = _of_hall(store, class_id)
    if group and all(athlete.group != group for athlete in everybody):
        known = listed(sorted({quoted(a.group) for a in everybody if a.group})) or "none"
        raise UsageError(f"Nobody on the roster is in {quoted(group)}", f"Its groups: {known}")
    w = tables.wearers.c
    forgotten = select(w.bib).where(w.class_id == record.row.id, w.said == "")
    with store.reading() as conn:
        nobodys = set(conn.scalars(forgotten))  # what was counted of them is nobody's from then on
    absent = {b for b, worn in record.wearers.items() if worn.absent and not worn.name} - nobodys
    unnamed = set(record.bibs) - record.wearers.keys() | absent
    elsewhere = {key_of(w.name) for w in record.wearers.values() if w.name}
    by_bib: dict[int, list[Athlete]] = {}
    for athlete in everybody:
        if key_of(athlete.called) in elsewhere:
            continue
        if athlete.bib in unnamed and (group is None or athlete.group == group):
            by_bib.setdefault(athlete.bib, []).append(athlete)
    for bib, some in sorted(by_bib.items()):
        if len(some) > 1:
            who = " and ".join(f"{a.name} ({a.group or 'no group'})" for a in some)
            raise UsageError(f"Bib {bib} is usually worn by {who}", "Say which --group it was")
    names = {bib: some[0].called for bib, some in by_bib.items()}
    if group:
        c = tables.classes
        given = update(c).where(c.c.id == record.row.id).values(group_name=group)
        store.doing(lambda conn: conn.execute(given) and None)
    return set_wearers(store, record.row.id, names, absent & names.keys())


def _of_hall(store: Database, class_id: int) -> list[Athlete]:
    """Return those of the roster who may have been in a class."""
    with store.reading() as conn:
        people, hall = People(conn), hall_of_class(conn, class_id)
        some = _athletes(conn, people)
    return sorted((a for p, a in some.items() if people.in_hall(p, hall)), key=_order)
