"""The roster: who there is, which bib each usually wears, in which group. Only on the host."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, delete, select

from handbell.base.errors import UsageError
from handbell.store.database import tables
from handbell.store.database.bulk import put_row
from handbell.store.database.database import Database
from handbell.store.results.queries import load_class
from handbell.store.results.records import Wearer

from .names import key_of
from .wearers import set_wearers


@dataclass(frozen=True)
class Athlete:
    """One person; ``bib`` is the usual one, None for none; ``group`` may be empty."""

    name: str
    bib: int | None = None
    group: str = ""


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
        return _athletes(conn)


def _athletes(conn: Connection) -> list[Athlete]:
    t = tables.athletes
    found = [Athlete(a.name, a.bib, a.group_name) for a in conn.execute(select(t))]
    return sorted(found, key=lambda a: (a.group, a.bib is None, a.bib or 0, key_of(a.name)))


def merge(
    store: Database, wanted: Sequence[Athlete], replace: bool = False, dry_run: bool = False
) -> Merged:
    """Take people in; with ``replace`` whoever is not among them goes.

    A person is known by the name, whatever its case. Raises UsageError when two people of one
    group would have the same bib; with ``dry_run`` nothing is written.
    """

    def work(conn: Connection) -> Merged:
        before = {key_of(a.name): a for a in _athletes(conn)}
        after = {} if replace else dict(before)
        after |= {key_of(a.name): a for a in wanted}
        _check_bibs(after.values())
        found = Merged(
            new=[a for key, a in after.items() if key not in before],
            changed=[
                (before[key], a) for key, a in after.items() if key in before and a != before[key]
            ],
            same=[a for key, a in after.items() if before.get(key) == a],
            gone=[a for key, a in before.items() if key not in after],
        )
        if not dry_run:
            _write(conn, found)
        return found

    return store.doing(work)


def _write(conn: Connection, found: Merged) -> None:
    t = tables.athletes
    for athlete in found.gone:
        conn.execute(delete(t).where(t.c.key == key_of(athlete.name)))
    for athlete in [*found.new, *(now for _, now in found.changed)]:
        row = {"key": key_of(athlete.name), "name": athlete.name, "bib": athlete.bib}
        put_row(conn, t, row | {"group_name": athlete.group})


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

    Who is named for another bib already wore that one. Raises UsageError when a bib is usually
    worn by several people and no group says which.
    """
    record = load_class(store, class_id)
    unnamed = {b for b in record.bibs if b not in record.wearers}
    elsewhere = {key_of(w.name) for w in record.wearers.values() if w.name}
    by_bib: dict[int, list[Athlete]] = {}
    for athlete in athletes(store):
        if key_of(athlete.name) in elsewhere:
            continue
        if athlete.bib in unnamed and (group is None or athlete.group == group):
            by_bib.setdefault(athlete.bib, []).append(athlete)
    for bib, some in sorted(by_bib.items()):
        if len(some) > 1:
            who = " and ".join(f"{a.name} ({a.group or 'no group'})" for a in some)
            raise UsageError(f"Bib {bib} is usually worn by {who}", "Say which --group it was")
    names = {bib: some[0].name for bib, some in by_bib.items()}
    return set_wearers(store, record.row.id, names)
