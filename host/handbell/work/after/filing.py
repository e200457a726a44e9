"""Which logs a class has: saying it, joining two classes, parting one, deleting one."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import datetime

from handbell.base.errors import UsageError
from handbell.base.wall import resolved
from handbell.store import open_store
from handbell.store.classes import filing, joining
from handbell.store.classes.newest import meant
from handbell.store.results import sayings
from handbell.store.results.queries import load_class, load_row
from handbell.store.results.records import ClassRecord
from handbell.store.results.sayings import Saying
from handbell.work.in_class.starts import EXAMPLE_DAY, parsed
from handbell.work.upkeep.plugged_in import host_clock

from .backups import before

AS_LOGGED = "logged"


@dataclass(frozen=True)
class Log:
    """One box's log. ``after_s`` is how long after the class's first it began, None: unknown.

    ``dated_by`` is who says when it began where the log does not: "box", by its own clock to within
    ``bound_us``, or "hand".
    """

    box: str
    station: int
    log: str
    after_s: float | None
    reason: str
    dated_by: str | None
    bound_us: int | None


@dataclass(frozen=True)
class Filed:
    """A class and its logs; ``start_utc_us`` None: no box had a clock.

    ``moved`` are sentences on logs and names that went elsewhere by it, ``doubts`` on what is
    not known of its logs.

    ``names`` went along to a class that is new. ``hall`` says how its hall is called where the
    store has classes of more than one, else "".
    """

    class_id: int
    title: str
    start_utc_us: int | None
    collected_utc_us: int
    logs: tuple[Log, ...]
    moved: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    hall: str = ""


@dataclass(frozen=True)
class Deleted:
    """A class that is gone, with so many logs; ``backup`` is the copy made before, None without."""

    deleted: int
    title: str
    start_utc_us: int | None
    collected_utc_us: int
    logs: int
    moved: tuple[str, ...]
    backup: str | None


@dataclass(frozen=True)
class Sayings:
    """What was said of classes and can be taken back, the latest first."""

    sayings: tuple[Saying, ...]


@dataclass(frozen=True)
class TakenBack:
    """What was taken back; ``classes`` are those that its logs are in now.

    ``already``: it was before, and nothing changed. ``moved`` as in ``Filed``.
    """

    saying: Saying
    already: bool
    classes: tuple[int, ...]
    moved: tuple[str, ...]


def class_logs(class_id: int | None, store_at: str | None = None) -> Filed:
    """Return a class, the newest without an id, and its logs."""
    with open_store(store_at, make=False) as store:
        record = load_class(store, meant(store, class_id))
        return replace(_filed(record), doubts=tuple(joining.doubts_of(store, record.row.id)))


def join(class_id: int | None, other: int, store_at: str | None = None) -> Filed:
    """Say that a class is one with another; raises UsageError when they can't be one."""
    moved: list[str] = []
    with open_store(store_at, make=False) as store:
        number = filing.join_classes(store, meant(store, class_id), other, moved, _now_us())
        return _filed(load_class(store, number), moved)


def part(class_id: int | None, boxes: Collection[str], store_at: str | None = None) -> Filed:
    """Say that some boxes' logs of a class are of another, and return that.

    A box is named by its id, its end, or its station; a single log by how its digest begins.
    """
    moved: list[str] = []
    with open_store(store_at, make=False) as store:
        number = filing.set_apart(store, meant(store, class_id), boxes, moved, _now_us())
        record = load_class(store, number)
    names = [f"{w.bib}={w.name}" for _, w in sorted(record.wearers.items()) if w.name]
    return _filed(record, moved, names if number != class_id else ())


def date(class_id: int | None, word: str, store_at: str | None = None) -> Filed:
    """Say when a class began, by the clock on the wall; ``AS_LOGGED``: when its logs say.

    Raises UsageError for what is no day with a time, or lies ahead.
    """
    now_us = _now_us()
    at_us = None if word == AS_LOGGED else _when(word, now_us)
    moved: list[str] = []
    with open_store(store_at, make=False) as store:
        number = filing.set_date(store, meant(store, class_id), at_us, moved, now_us)
        return _filed(load_class(store, number), moved)


def undo(number: int | None = None, store_at: str | None = None) -> TakenBack:
    """Take back what was said of a class, the last one without a number; twice changes nothing.

    Raises UsageError where that can't be done exactly any more.
    """
    with open_store(store_at, make=False) as store:
        done = sayings.undo(store, number)
    return TakenBack(done.saying, done.already, tuple(done.classes), tuple(done.said))


def said(store_at: str | None = None) -> Sayings:
    """Return what was said of classes, the latest first."""
    with open_store(store_at, make=False) as store:
        return Sayings(tuple(sayings.sayings(store)))


def _now_us() -> int:
    return host_clock().utc_us()


def _when(word: str, now_us: int) -> int:
    day, at = parsed(word, "--date")
    if day is None:
        raise UsageError(f"--date {word} says no day", f'Say --date "{EXAMPLE_DAY} {at:%H:%M}"')
    start_s, _, _ = resolved(datetime.combine(day, at), now_us / 1e6, None)
    if start_s * 1e6 > now_us:
        raise UsageError(
            f"--date {word} lies ahead by this computer's clock",
            "Look whether that is right, and write the day like 2026-11-26",
        )
    return round(start_s * 1e6)


def delete(class_id: int, store_at: str | None = None) -> Deleted:
    """Take a class out with all its results; a copy of the store is made before."""
    with open_store(store_at, make=False) as store:
        row = load_row(store, class_id)
        backup = before(store, "delete")
        logs, moved = filing.delete_class(store, row.id, _now_us())
    return Deleted(
        deleted=row.id,
        title=row.title,
        start_utc_us=row.start_utc_us,
        collected_utc_us=row.collected_utc_us,
        logs=logs,
        moved=tuple(moved),
        backup=backup,
    )


def _filed(record: ClassRecord, moved: Collection[str] = (), names: Collection[str] = ()) -> Filed:
    row = record.row
    told = tuple(dict.fromkeys(moved))
    return Filed(
        class_id=row.id,
        title=row.title,
        start_utc_us=row.start_utc_us,
        collected_utc_us=row.collected_utc_us,
        logs=_logs(record),
        moved=told,
        names=tuple(names),
        hall=row.hall,
    )


def _logs(record: ClassRecord) -> tuple[Log, ...]:
    first = record.row.start_utc_us
    told = []
    for run in record.runs:
        after_s = None
        if run.start_utc_us is not None and first is not None:
            after_s = (run.start_utc_us - first) / 1e6
        facts = after_s, run.reason, run.dated_by, run.bound_us
        told.append(Log(run.box_id, run.station, run.digest, *facts))
    return tuple(told)
