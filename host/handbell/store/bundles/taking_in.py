"""Taking in a bundle: all of it checked first, then all of it in one transaction, or none."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, delete, select

from handbell.base.digest import whole_hex
from handbell.base.errors import HandbellError, StoreError
from handbell.store.classes import joining
from handbell.store.classes.doubts import never_one
from handbell.store.classes.moves import moves_told
from handbell.store.classes.together import START_APART_US
from handbell.store.database import tables
from handbell.store.database.database import Database
from handbell.store.halls import known as halls
from handbell.store.logs import dating, journals, timelines
from handbell.store.logs.damaged import PUT_BACK
from handbell.store.logs.ingest import Ingested, ingest_in
from handbell.store.logs.kept import put_plan, put_timeline
from handbell.store.people.wearers import names_twice

from .amended import names_of, settle_names, take_amendments
from .classes import Mark, marks_of
from .dates import dated_otherwise
from .form import checked_list
from .names import Runs, take_names
from .packed import CHECK, LIST, UNREADABLE, Parts
from .people import Met
from .same import require_same
from .sound import check_parts
from .told import beside, joined_by_rule, otherwise


@dataclass
class Imported:
    """What a bundle brought: how many of each were new, and in which classes its runs are.

    ``kept`` are sentences on what stays as it is here though the bundle says another thing: names,
    classes, and logs that were put back. ``apart`` are the classes of which nothing says that they
    are ours, by the class of ours each might be or None. ``doubts`` are sentences on how logs were
    filed; ``halls`` says of which hall each class is, where the store has more than one.
    """

    runs: int = 0
    runs_new: int = 0
    plans_new: int = 0
    timelines_new: int = 0
    amendments_new: int = 0
    names_new: int = 0
    classes: list[int] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    apart: dict[int, int | None] = field(default_factory=dict)
    doubts: list[str] = field(default_factory=list)
    halls: dict[int, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Bundle:
    """A bundle that was found sound: its list, and its parts by name."""

    told: dict[str, Any]
    parts: Parts


def take_in(store: Database, bundle: Bundle) -> Imported:
    """Take a bundle in; the same again changes nothing. Raises as ``require_same``."""
    return store.doing(lambda conn: _take_in(conn, bundle))


def require_fit(store: Database, bundle: Bundle) -> None:
    """Raise StoreError, before anything is written, where a store has something that excludes it.

    ``take_in`` asks again, since others may write meanwhile.
    """
    with store.reading() as conn:
        require_same(conn, bundle.told, bundle.parts)


@contextmanager
def opened_bundle(path: Path) -> Iterator[Bundle]:
    """Give a bundle that was checked; raises HandbellError that says what is wrong with it."""
    with ExitStack() as stack:
        try:
            parts = stack.enter_context(closing(Parts(path)))
            bundle = _checked(parts)
        except UNREADABLE as error:
            if not _begins_as_zip(path):
                raise HandbellError(
                    f"{path} is no bundle of handbell",
                    "Nothing of it was taken in; ask for what handbell export --as bundle writes",
                ) from None
            raise _damaged(path, f"it is no whole ZIP file ({error})") from None
        except OSError as error:
            raise HandbellError(
                f"{path} can't be read: {error.strerror or error}", "Check its name"
            ) from error
        except (ValueError, KeyError, RecursionError) as error:
            raise _damaged(path, str(error)) from None
        except (StoreError, journals.UnreadableError) as error:
            raise _damaged(path, getattr(error, "what", str(error))) from None
        yield bundle


def _checked(parts: Parts) -> Bundle:
    listed = parts.raw(LIST)
    if whole_hex(listed).encode() != parts.raw(CHECK):
        raise ValueError("its list does not have the digest that it says")
    told = checked_list(listed)
    for name, digest in told["parts"].items():
        if name in parts.names() and whole_hex(parts.raw(name)) != digest:
            raise ValueError(f"{name} does not have the digest that the list says")
    parts.sums = told["parts"]
    check_parts(told, parts)
    return Bundle(told, parts)


def _begins_as_zip(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(2) == b"PK"


def _damaged(path: Path, why: str) -> HandbellError:
    return HandbellError(
        f"{path} is damaged or no bundle of handbell: {why}",
        "Nothing of it was taken in; ask for it once more",
    )


def _take_in(conn: Connection, bundle: Bundle) -> Imported:
    told, parts, done = bundle.told, bundle.parts, Imported()
    require_same(conn, told, parts)
    twice = names_twice(conn)
    for one in told["plans"]:
        words = parts.get(f"plans/{one['digest']}.toml")
        row = {name: one[name] for name in ("digest", "title", "altered")}
        row["source"] = None if words is None else words.decode("utf-8", "replace")
        done.plans_new += put_plan(conn, row)
    for one in told["timelines"]:
        data = parts[f"timelines/{one['digest']}"]
        found = replace(timelines.decode(data), digest=one["digest"])
        done.timelines_new += put_timeline(conn, found, data, bool(one["altered"]))
    for one in told["halls"]:
        halls.named_in(conn, one["number"], one["name"])
    joining.take_turn(conn)
    ids: list[int] = []
    new: list[int] = []
    whose = marks_of(conn, told, parts)
    aside = _put_back(conn, [one["digest"] for one in told["runs"]])
    done.kept += [
        f"Log {log[:8]} was put back here and stays aside, with what the bundle says of it. "
        f"To read it: handbell unread {log[:8]} --of CLASS"
        for log in sorted(aside)
    ]
    moved: list[str] = []
    with moves_told(conn, moved):
        for one in told["runs"]:
            if one["digest"] in aside:
                continue
            taken = _take_in_log(conn, bundle, one, whose[one["digest"]])
            ids.append(taken.run_id)
            done.runs += 1
            done.runs_new += taken.new
            new += [taken.run_id] * taken.new
            done.kept += taken.differ
    done.kept += moved
    r = tables.runs.c
    now = conn.execute(select(r.digest, r.id, r.class_id, r.origin).where(r.id.in_(ids))).all()
    runs: Runs = {row.digest: (row.id, row.class_id) for row in now}
    done.classes = sorted({row.class_id for row in now if row.class_id is not None})
    for class_id in sorted({row.class_id for row in now if row.class_id and row.origin}):
        done.apart[class_id] = _alike(conn, class_id)
    met = Met(conn, told, runs)
    amended = take_amendments(conn, met.told["amendments"], runs)
    done.amendments_new, before = amended.new, names_of(conn, amended.named)
    done.kept += amended.said
    done.names_new, kept = take_names(conn, met.told["wearers"], told["runs"], runs)
    settle_names(conn, before, amended.both, kept)
    done.kept += filter(None, kept.values())
    done.kept += met.tell()
    done.kept += [one for one in names_twice(conn) if one not in (*twice, *done.kept)]
    dated = dated_otherwise(conn, told["runs"])
    done.kept += [one.words for one in dated.values() if one.words]
    done.kept += otherwise(conn, told["runs"], dated)
    done.kept += beside(conn, new, runs, told["runs"])
    done.kept += joined_by_rule(conn, new, runs, told["runs"])
    done.halls = halls.of_classes(conn, done.classes)
    done.doubts = joining.doubts_in(conn, new, told=done.apart)
    return done


def _take_in_log(conn: Connection, bundle: Bundle, one: dict[str, Any], whose: Mark) -> Ingested:
    """Take in a log, which may have been unread before."""
    parts, collected_us = bundle.parts, one["collected_utc_us"]
    journal, box_id = parts[f"logs/{one['digest']}"], str(one["box_id"])[:32]
    station = timelines.decode(parts[f"timelines/{one['timeline']}"]).station
    played = journals.Played(one["timeline"], station)
    dated = dating.kept(one)
    taken = ingest_in(
        conn, journal, box_id, collected_us, *whose, played, tell_moves=False, dated=dated
    )
    conn.execute(delete(tables.unread).where(tables.unread.c.digest == one["digest"]))
    return taken


def _put_back(conn: Connection, some: list[str]) -> set[str]:
    """Return the logs of which the coach said here that they were read as what they are not."""
    u = tables.unread.c
    here = select(u.digest).where(u.reason == PUT_BACK, u.digest.in_(some))
    return set(conn.scalars(here))


def _alike(conn: Connection, class_id: int) -> int | None:
    """Return another class of the same plan that may be the same one by its time."""
    c = tables.classes.c
    one = conn.execute(select(c.plan, c.start_utc_us).where(c.id == class_id)).one()
    if one.start_utc_us is None:
        return None
    near = c.start_utc_us.between(
        one.start_utc_us - START_APART_US, one.start_utc_us + START_APART_US
    )
    found = select(c.id).where(c.plan == one.plan, near, c.id != class_id).order_by(c.id)
    may = (n for n in conn.scalars(found).all() if not never_one(conn, class_id, n))
    return next(may, None)
