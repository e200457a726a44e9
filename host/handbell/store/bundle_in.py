"""Taking in a bundle: all of it checked first, then all of it in one transaction, or none."""

from __future__ import annotations

import hashlib
import json
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, and_, delete, select, update

from handbell.errors import HandbellError, StoreError
from handbell_core import journal as j
from handbell_core.timeline import HEADER_SIZE

from . import joining, journals, tables, timelines
from .amend import settle_name
from .bulk import insert_if_absent
from .bundle import CHECK, FORMAT, LIST, VERSION
from .bundle_check import checked_list
from .bundle_names import Runs, take_names
from .ingest import digest_of, ingest_in
from .parted import parted
from .salvage import PUT_BACK
from .settle import NAME, settle
from .store import Store, put_plan, put_timeline
from .together import START_APART_US, Log

SIZE_MOST = 1_000_000_000
# What the ZIP reader raises on damaged files; RuntimeError: it takes a part for encrypted.
UNREADABLE = (zipfile.BadZipFile, zlib.error, EOFError, RuntimeError, struct.error, OverflowError)


@dataclass
class Imported:
    """What a bundle brought: how many of each were new, and in which classes its runs are.

    ``kept`` are sentences on what stays as it is here though the bundle says another thing: names,
    and logs that were put back. ``apart`` are the classes of which nothing says that they are ours,
    by the class of ours each might be or None.
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


@dataclass(frozen=True)
class Bundle:
    """A bundle that was found sound: its list, and its parts by name."""

    told: dict[str, Any]
    parts: dict[str, bytes]


def import_bundle(store: Store, path: Path) -> Imported:
    """Take a bundle in; the same again changes nothing. Raises HandbellError if it is damaged."""
    bundle = read_bundle(path)
    return store.doing(lambda conn: _take_in(conn, bundle))


def read_bundle(path: Path) -> Bundle:
    """Read and check a bundle; raises HandbellError that says what is wrong with it."""
    try:
        bundle = _read(path)
        _check(bundle)
    except UNREADABLE as error:
        raise _damaged(path, f"it is no whole ZIP file ({error})") from None
    except OSError as error:
        raise HandbellError(
            f"{path} can't be read: {error.strerror or error}", "Check its name"
        ) from error
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise _damaged(path, str(error) or "its list makes no sense") from None
    except (StoreError, journals.UnreadableError) as error:
        raise _damaged(path, getattr(error, "what", str(error))) from None
    return bundle


def _damaged(path: Path, why: str) -> HandbellError:
    return HandbellError(
        f"{path} is damaged or no bundle of handbell: {why}",
        "Nothing of it was taken in; ask for it once more",
    )


def _read(path: Path) -> Bundle:
    with zipfile.ZipFile(path) as file:
        if sum(entry.file_size for entry in file.infolist()) > SIZE_MOST:
            raise ValueError(f"it unpacks to more than {SIZE_MOST // 10**6} MB")
        listed = file.read(LIST)
        if hashlib.sha256(listed).hexdigest().encode() != file.read(CHECK):
            raise ValueError("its list does not have the digest that it says")
        told = json.loads(listed)
        if told["format"] != FORMAT or told["version"] != VERSION:
            raise ValueError(f"it is {told['format']} {told['version']}, here {FORMAT} {VERSION}")
        if sorted(file.namelist()) != sorted([*told["parts"], LIST, CHECK]):
            raise ValueError("its parts are not those of its list")
        parts = {name: file.read(name) for name in told["parts"]}
    for name, digest in told["parts"].items():
        if hashlib.sha256(parts[name]).hexdigest() != digest:
            raise ValueError(f"{name} does not have the digest that the list says")
    return Bundle(checked_list(told), parts)


def _check(bundle: Bundle) -> None:
    """See that every log and timeline is what its name says and can be read."""
    told, parts = bundle.told, bundle.parts
    for one in told["timelines"]:
        data = parts[f"timelines/{one['digest']}"]
        if timelines.decode(data).digest != one["digest"] and not one["altered"]:
            raise ValueError(f"timeline {one['digest']} is another one")
    there = {one["digest"] for one in told["timelines"]}
    for one in told["runs"]:
        data = parts[f"logs/{one['digest']}"]
        if digest_of(data) != one["digest"]:
            raise ValueError(f"log {one['digest']} is another one")
        if journals.read(data, journals.Played(str(one["timeline"]), 0)).timeline not in there:
            raise ValueError(f"the timeline of log {one['digest']} is not in it")
        if one["class"] not in (None, *(other["digest"] for other in told["runs"])):
            raise ValueError(f"the class of log {one['digest']} is not in it")
    for one in told["plans"]:
        words = parts.get(f"plans/{one['digest']}.toml")
        if words is not None and digest_of(words) != one["digest"] and not one["altered"]:
            raise ValueError(f"plan {one['digest']} is another one")
    logs = {one["digest"] for one in told["runs"]}
    for name in ("amendments", "wearers"):
        if not {one["log"] for one in told[name]} <= logs:
            raise ValueError(f"its {name} are of logs that are not in it")
    windows = {
        one["digest"]: {0, *timelines.decode(parts[f"timelines/{one['timeline']}"]).windows}
        for one in told["runs"]
    }
    if any(one["window"] not in windows[one["log"]] for one in told["amendments"]):
        raise ValueError("its amendments are of windows that no log of it has")
    if any(set((one["logs"] or "").split()) - logs for one in told["wearers"]):
        raise ValueError("its wearers are of logs that are not in it")
    sent = {one["plan"] for one in told["timelines"]}
    if not sent <= {one["digest"] for one in told["plans"]}:
        raise ValueError("a plan of its timelines is not in it")


def _take_in(conn: Connection, bundle: Bundle) -> Imported:
    told, parts, done = bundle.told, bundle.parts, Imported()
    for one in told["plans"]:
        words = parts.get(f"plans/{one['digest']}.toml")
        row = {name: one[name] for name in ("digest", "title", "altered")}
        row["source"] = None if words is None else words.decode("utf-8", "replace")
        done.plans_new += put_plan(conn, row)
    for one in told["timelines"]:
        data = parts[f"timelines/{one['digest']}"]
        found = replace(timelines.decode(data), digest=one["digest"])
        done.timelines_new += put_timeline(conn, found, data, bool(one["altered"]))
    joining.take_turn(conn, [one["digest"] for one in told["plans"]])
    ids: list[int] = []
    whose = _whose(conn, bundle)
    aside = _put_back(conn, [one["digest"] for one in told["runs"]])
    done.kept += [
        f"Log {log[:8]} was put back here and stays aside, with what the bundle says of it. "
        f"To read it: handbell unread {log[:8]} --of CLASS"
        for log in sorted(aside)
    ]
    for one in told["runs"]:
        if one["digest"] in aside:
            continue
        journal, box_id = parts[f"logs/{one['digest']}"], str(one["box_id"])[:32]
        origin, filed = whose[one["digest"]]
        station = timelines.decode(parts[f"timelines/{one['timeline']}"]).station
        played = journals.Played(one["timeline"], station)
        taken = ingest_in(conn, journal, box_id, one["collected_utc_us"], origin, filed, played)
        ids.append(taken.run_id)
        done.runs += 1
        done.runs_new += taken.new
        done.kept += taken.differ
        conn.execute(delete(tables.unread).where(tables.unread.c.digest == one["digest"]))
    r = tables.runs.c
    now = conn.execute(select(r.digest, r.id, r.class_id, r.origin).where(r.id.in_(ids))).all()
    runs: Runs = {row.digest: (row.id, row.class_id) for row in now}
    done.classes = sorted({row.class_id for row in now if row.class_id is not None})
    for class_id in sorted({row.class_id for row in now if row.class_id and row.origin}):
        done.apart[class_id] = _alike(conn, class_id)
    done.names_new, kept = take_names(conn, told["wearers"], told["runs"], runs)
    done.kept += kept
    _amendments(conn, told["amendments"], runs, done)
    return done


def _put_back(conn: Connection, some: list[str]) -> set[str]:
    """Return the logs of which the coach said here that they were read as what they are not."""
    u = tables.unread.c
    here = select(u.digest).where(u.reason == PUT_BACK, u.digest.in_(some))
    return set(conn.scalars(here))


def _whose(conn: Connection, bundle: Bundle) -> dict[str, tuple[str | None, str | None]]:
    """Return the origin of each log and as what it is filed.

    A class is ours when we have a log of it, or when all its boxes were seen from here: a second
    computer collected them. Any other class is somebody else's and joins none of ours.
    """
    r = tables.runs.c
    found: dict[str, tuple[str | None, str | None]] = {}
    for some, told in _classes(bundle):
        digests = sorted(one["digest"] for one in some)
        here = select(r.origin, r.filed).where(r.digest.in_(digests)).order_by(r.digest)
        known = conn.execute(here).first()
        if known is not None:
            mark = known.origin, known.filed if told else None
        elif all(_seen(conn, str(one["box_id"])[:32]) for one in some):
            mark = None, None
        else:
            mark = digests[0], digests[0] if told else None
        found.update(dict.fromkeys(digests, mark))
    return found


def _classes(bundle: Bundle) -> Iterator[tuple[list[dict[str, Any]], bool]]:
    """Give the logs of each class, and whether the bundle told that they are one.

    One of an earlier version does not: then they are parted by the usual rules, and nothing is
    said of them that would hold against those.
    """
    plan = {one["digest"]: one["plan"] for one in bundle.told["timelines"]}
    by_class: dict[str, list[dict[str, Any]]] = {}
    by_plan: dict[str, list[dict[str, Any]]] = {}
    for one in bundle.told["runs"]:
        if one.get("class"):
            by_class.setdefault(one["class"], []).append(one)
        else:
            by_plan.setdefault(plan[one["timeline"]], []).append(one)
    for some in by_class.values():
        yield some, True
    for some in by_plan.values():
        logs = [_log(bundle, number, one) for number, one in enumerate(some)]
        for group in parted(logs).classes:
            yield [some[log.run] for log in group], False


def _log(bundle: Bundle, number: int, one: dict[str, Any]) -> Log:
    """Return the facts of a log that is not in the store yet."""
    timeline = bundle.parts[f"timelines/{one['timeline']}"]
    played = journals.Played(one["timeline"], timelines.decode(timeline).station)
    found = journals.read(bundle.parts[f"logs/{one['digest']}"], played)
    pressed_ms = (class_ms for kind, _, _, class_ms, _ in found.records if kind == j.TAP)
    return Log(
        run=number,
        digest=one["digest"],
        box_id=str(one["box_id"])[:32],
        station=found.station,
        start_utc_us=found.start_utc_us,
        slot_us=timelines.slot_ms_of(timeline[:HEADER_SIZE]) * 1000,
        collected_utc_us=one["collected_utc_us"],
        whole=found.state == "whole" and not found.stopped,
        pressed_ms=tuple(pressed_ms),
        boot=found.boot or 0,
    )


def _seen(conn: Connection, box_id: str) -> bool:
    """Whether a box was ever plugged in where this store is used."""
    return any(
        conn.execute(select(table.c.box_id).where(table.c.box_id == box_id).limit(1)).first()
        for table in (tables.boxes, tables.contacts)
    )


def _alike(conn: Connection, class_id: int) -> int | None:
    """Return another class of the same plan that began at about the same time."""
    c = tables.classes.c
    one = conn.execute(select(c.plan, c.start_utc_us).where(c.id == class_id)).one()
    if one.start_utc_us is None:
        return None
    near = c.start_utc_us.between(
        one.start_utc_us - START_APART_US, one.start_utc_us + START_APART_US
    )
    found = select(c.id).where(c.plan == one.plan, near, c.id != class_id).order_by(c.id)
    first: int | None = conn.scalar(found.limit(1))
    return first


def _amendments(conn: Connection, told: list[dict[str, Any]], runs: Runs, done: Imported) -> None:
    """Take in corrections; one that either side took back is taken back."""
    a = tables.amendments
    changed: set[int] = set()
    named: set[tuple[int, int]] = set()
    for one in told:
        if one["log"] not in runs:
            continue  # it was put back here
        run, class_id = runs[one["log"]]
        row = {name: value for name, value in one.items() if name != "log"} | {"run": run}
        new = insert_if_absent(conn, a, row)
        done.amendments_new += new
        if not new and (one["who"] or one["why"]):  # it came without names before
            unsaid = and_(a.c.digest == one["digest"], a.c.who == "", a.c.why == "")
            said = {name: one[name] for name in ("who", "why")}
            conn.execute(update(a).where(unsaid).values(said))
        if not new and one["undone_utc_us"] is not None:
            undone = {name: one[name] for name in ("undone_utc_us", "undone_by")}
            here = and_(a.c.digest == one["digest"], a.c.undone_utc_us.is_(None))
            new = conn.execute(update(a).where(here).values(undone)).rowcount > 0
        if new and one["what"] != NAME:
            changed.add(run)
        elif new and class_id is not None:
            named.add((class_id, one["bib"]))
    for run in sorted(changed):
        settle(conn, run)
    for class_id, bib in sorted(named):
        settle_name(conn, class_id, bib)
