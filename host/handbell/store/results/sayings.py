"""What a coach said of classes is kept, so that it can be taken back: joins, partings, dates.

Of each saying the rows that it changed are kept, as they were and as they came to be; of a class
that was deleted all that its logs do not tell themselves. It is taken back exactly or not at all:
only while those rows still are as the saying left them.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any, NoReturn

from sqlalchemy import Connection, Table, delete, insert, select, update

from handbell.base.errors import UsageError
from handbell.store.classes import joining
from handbell.store.classes.moves import moves_told
from handbell.store.database import tables
from handbell.store.database.database import Database

from .batches import as_before
from .settle import alike, settle, settle_borrowers

JOIN, APART, DATE, DELETE = "join", "apart", "date", "delete"
_R, _S = tables.runs.c, tables.sayings.c
# What a saying may change of a run; the rest is its log's.
_OF_RUN = (
    *("class_id", "filed", "kept", "origin", "start_utc_us"),
    *("dated_utc_us", "dated_by", "by_box_utc_us", "bound_us"),
)
_SAID_OF_RUN = _OF_RUN[1:]  # which class that makes is for the rules, which may change it any time
_RUNS, _CLASSES, _WEARERS = "runs", "classes", "wearers"
_BESIDE = (tables.notes, tables.amendments)  # of a run, and not made anew from its log

Row = dict[str, Any]
State = dict[str, dict[str, Row]]  # by table, then by key


@dataclass(frozen=True)
class Saying:
    """One saying; ``what`` is join, apart, date or delete, ``class_id`` what it was said of."""

    number: int
    what: str
    class_id: int
    at_utc_us: int
    undone: bool


@dataclass
class Undone:
    """What was taken back; ``classes`` are those that it was about, ``said`` what else moved by it.

    ``already``: it was taken back before, and nothing changed.
    """

    saying: Saying
    already: bool
    classes: list[int] = field(default_factory=list)
    said: list[str] = field(default_factory=list)


def sayings(store: Database) -> list[Saying]:
    """Return all that was said of classes, the latest first."""
    with store.reading() as conn:
        rows = conn.execute(_LISTED.order_by(_S.id.desc())).all()
    return [_saying(row) for row in rows]


_LISTED = select(_S.id, _S.what, _S.class_id, _S.at_utc_us, _S.undone)


def _saying(row: Any) -> Saying:
    return Saying(row.id, row.what, row.class_id, row.at_utc_us, row.undone)


@contextmanager
def taken_down(
    conn: Connection, what: str, class_id: int, at_utc_us: int, gone: Collection[int] = ()
) -> Iterator[None]:
    """Keep what the work in it changes, so that it can be taken back; ``gone`` are runs to go."""
    before = _state(conn)
    whole = _whole(conn, gone)
    yield
    after = _state(conn)
    was, now = _changed(before, after), _changed(after, before)
    if was == now:
        return
    kept = {"was": was, "now": now, "whole": whole}
    row = {"what": what, "class_id": class_id, "at_utc_us": at_utc_us, "undone": False}
    conn.execute(insert(tables.sayings), row | {"kept": packed(kept)})


def undo(store: Database, number: int | None = None) -> Undone:
    """Take a saying back, the last one that stands without a number; twice changes nothing.

    Raises UsageError where there is none, or where what it left has been changed since.
    """

    def work(conn: Connection) -> Undone:
        joining.take_turn(conn)
        row = _meant(conn, number)
        found = _saying(row)
        if row.undone:
            return Undone(found, True)
        kept = unpacked(conn.scalar(select(_S.kept).where(_S.id == row.id)))
        here = _state(conn)
        twins = _twins(conn, kept["whole"])
        _require_unchanged(conn, found, kept, here, twins)
        done = Undone(found, False)
        with moves_told(conn, done.said, [*map(int, kept["was"][_RUNS]), *twins.values()]):
            done.classes = _put_back(conn, kept, here, twins, done.said)
        conn.execute(update(tables.sayings).where(_S.id == row.id).values(undone=True))
        return done

    return store.doing(work)


def _meant(conn: Connection, number: int | None) -> Any:
    wanted = _LISTED.where(_S.id == number)
    if number is None:
        wanted = _LISTED.where(~_S.undone).order_by(_S.id.desc()).limit(1)
    row = conn.execute(wanted).first()
    if row is None:
        raise UsageError(
            "Nothing that was said of classes is there to be taken back"
            if number is None
            else f"There is no saying {number}",
            "handbell class --said lists them",
        )
    return row


def _twins(conn: Connection, whole: Mapping[str, Any]) -> dict[int, int]:
    """Return of the runs that went which run is the same log here, where it came in again."""
    gone = {row["digest"]: row["id"] for row in whole.get(_RUNS, ())}
    rows = conn.execute(select(_R.id, _R.digest).where(_R.digest.in_(gone)))
    return {gone[row.digest]: row.id for row in rows}


def _require_unchanged(
    conn: Connection,
    found: Saying,
    kept: Mapping[str, Any],
    here: State,
    twins: Mapping[int, int],
) -> None:
    """Raise UsageError where what a saying left is not as it left it, and say what is not."""
    now, was = kept["now"], kept["was"]
    gone = was[_CLASSES].keys() - now[_CLASSES].keys()  # their numbers may be others' by now
    for key in {**was[_RUNS], **now[_RUNS]}:
        left, first = now[_RUNS].get(key), was[_RUNS].get(key)
        if left is None or _said_of(left) == _said_of(first):
            continue  # it went, or was moved by the rules alone, which may have moved it since
        if _said_of(here[_RUNS].get(key)) != _said_of(left):
            _refuse(conn, found.number, _RUNS, key)
    for key in {**was[_WEARERS], **now[_WEARERS]}:
        left = now[_WEARERS].get(key)
        if (left or key.split()[0] not in gone) and here[_WEARERS].get(key) != left:
            _refuse(conn, found.number, _WEARERS, key)
    for mine in twins.values():
        class_id = here[_RUNS][str(mine)]["class_id"]
        if _is_said(here, mine):
            raise UsageError(
                f"Logs of class {found.class_id} came in again since, and something was said of "
                f"class {class_id}, in which they are",
                f"Leave them there, or say handbell class {class_id} --delete, then "
                f"handbell class --undo {found.number}",
            )


def _said_of(row: Row | None) -> Row | None:
    """Return of a run what a coach's words make it; None where it is not there."""
    return row and {name: row[name] for name in _SAID_OF_RUN if name != "start_utc_us"}


def _is_said(here: State, run: int) -> bool:
    """Whether a coach said something of a run, or of its class."""
    row = here[_RUNS][str(run)]
    said = (row["filed"] is not None and not row["kept"]) or row["dated_by"] == "hand"
    return said or any(one["class_id"] == row["class_id"] for one in here[_WEARERS].values())


def _refuse(conn: Connection, number: int, name: str, key: str) -> NoReturn:
    """Raise UsageError that says why a saying can't be taken back."""
    rows = select(_S.id, _S.kept).where(_S.id > number, ~_S.undone).order_by(_S.id.desc())
    for row in conn.execute(rows):
        kept = unpacked(row.kept)
        if key in kept["was"][name] or key in kept["now"][name]:
            raise UsageError(
                f"What was said later, as number {row.id}, is of the same logs as number {number}",
                f"Take that back first: handbell class --undo {row.id}",
            )
    why = "a log of it was filed otherwise since"
    if name == _WEARERS:
        class_id, bib = key.split()
        why = f"something else was said of bib {bib} of class {class_id} since"
    raise UsageError(
        f"Number {number} can't be taken back exactly any more: {why}",
        "Say the contrary with --join, --apart or --date; handbell class CLASS lists the logs",
    )


def _put_back(
    conn: Connection,
    kept: Mapping[str, Any],
    here: State,
    twins: Mapping[int, int],
    said: list[str],
) -> list[int]:
    """Put the rows of a saying back as they were; return the numbers of their classes."""
    was, now, whole = kept["was"], kept["now"], kept["whole"]
    gone = {run["id"]: run for run in whole.get(_RUNS, ())}
    number = _free(conn, tables.classes, [int(k) for k in was[_CLASSES] if k not in now[_CLASSES]])
    fresh = _free(conn, tables.runs, [run for run in gone if run not in twins])
    ids = {**fresh, **twins}
    some = [*(int(key) for key in was[_RUNS] if int(key) not in gone), *twins.values()]
    emptied = {here[_RUNS][str(run)]["class_id"] for run in some if str(run) in here[_RUNS]}
    r, c = tables.runs, tables.classes
    with joining.changing(conn, some, said):
        for key, row in was[_CLASSES].items():
            if key not in now[_CLASSES]:
                conn.execute(insert(c), row | {"id": number[int(key)]})
        there = set(conn.scalars(select(c.c.id)))
        for key, row in was[_RUNS].items():
            run = ids.get(int(key), int(key))
            values = {name: row[name] for name in _SAID_OF_RUN}
            class_id = number.get(row["class_id"], row["class_id"])
            left, present = now[_RUNS].get(key), here[_RUNS].get(str(run))
            if left and present and _said_of(left) == _said_of(row):  # the rules moved it
                values = {}
                if present["class_id"] != left["class_id"]:  # and once more since
                    class_id = present["class_id"]
            if class_id is None or class_id in there:
                values["class_id"] = class_id
            if int(key) in fresh:
                conn.execute(insert(r), _known(r, gone[int(key)]) | values | {"id": run})
            elif values:
                conn.execute(update(r).where(r.c.id == run).values(values))
        _beside_back(conn, whole, fresh, twins)
        _names_back(conn, was, now, number)
        for class_id in {*emptied, *map(int, now[_CLASSES].keys() - was[_CLASSES].keys())}:
            left = select(r.c.id).where(r.c.class_id == class_id).limit(1)
            if conn.execute(left).first() is None:
                conn.execute(delete(c).where(c.c.id == class_id))
        some += fresh.values()
        for run in {*ids.values(), *alike(conn, list(ids.values()))}:
            settle(conn, run)
        settle_borrowers(conn, _classes_of(conn, some))
    return _classes_of(conn, some)


def _beside_back(
    conn: Connection, whole: Mapping[str, Any], fresh: Mapping[int, int], twins: Mapping[int, int]
) -> None:
    """Put back what stood beside the runs that went; who came in again has notes of its own."""
    for table in _BESIDE:
        ids = {**fresh, **twins} if table is tables.amendments else fresh
        rows = [row for row in _with_batches(whole.get(table.name, ())) if row["run"] in ids]
        there: set[str] = set()
        if table is tables.amendments:
            there = set(conn.scalars(select(table.c.digest)))
        for row in rows:
            if row.get("digest") not in there:
                conn.execute(insert(table), _known(table, row) | {"run": ids[row["run"]]})


def _names_back(conn: Connection, was: State, now: State, number: Mapping[int, int]) -> None:
    w = tables.wearers
    for row in (*now[_WEARERS].values(), *was[_WEARERS].values()):
        class_id = number.get(row["class_id"], row["class_id"])
        conn.execute(delete(w).where(w.c.class_id == class_id, w.c.bib == row["bib"]))
    for row in was[_WEARERS].values():
        conn.execute(insert(w), {**row, "class_id": number.get(row["class_id"], row["class_id"])})


def _classes_of(conn: Connection, some: Collection[int]) -> list[int]:
    wanted = select(_R.class_id).where(_R.id.in_(some), _R.class_id.is_not(None))
    return list(conn.scalars(wanted.distinct().order_by(_R.class_id)))


def _free(conn: Connection, table: Table, some: Collection[int]) -> dict[int, int]:
    """Return the number of each row that comes back: its own, unless another has it by now."""
    there = set(conn.scalars(select(table.c.id))) if some else set()
    last = max([*there, *some], default=0)
    found = {}
    for mine in some:
        if mine in there:
            last += 1
        found[mine] = last if mine in there else mine
    return found


def _state(conn: Connection) -> State:
    """Return all that a saying may change, by table and key."""
    c, w = tables.classes, tables.wearers
    runs = select(_R.id, _R.digest, *(_R[name] for name in _OF_RUN))
    return {
        _RUNS: {str(row["id"]): dict(row) for row in conn.execute(runs).mappings()},
        _CLASSES: {str(row["id"]): dict(row) for row in conn.execute(select(c)).mappings()},
        _WEARERS: {
            f"{row['class_id']} {row['bib']}": dict(row)
            for row in conn.execute(select(w)).mappings()
        },
    }


def _changed(of: State, to: State) -> State:
    """Return the rows that are otherwise, or not, in another state."""
    return {
        name: {key: row for key, row in rows.items() if to[name].get(key) != row}
        for name, rows in of.items()
    }


def _whole(conn: Connection, gone: Collection[int]) -> dict[str, list[Row]]:
    """Return the whole rows of runs that go, and what is beside them."""
    if not gone:
        return {}
    wanted = {_RUNS: select(tables.runs).where(_R.id.in_(gone))}
    wanted |= {table.name: select(table).where(table.c.run.in_(gone)) for table in _BESIDE}
    return {
        name: [dict(row) for row in conn.execute(query).mappings()]
        for name, query in wanted.items()
    }


def _known(table: Table, row: Row) -> Row:
    """Return of a row that was kept what the table has a column for by now."""
    return {name: value for name, value in row.items() if name in table.c}


def _with_batches(rows: Collection[Row]) -> list[Row]:
    """Return rows, amendments with the batch that was not kept of them before there were any."""
    lack = [row for row in rows if "at_utc_us" in row and "batch" not in row]
    batch = as_before(lack)
    return [row | {"batch": batch[row["digest"]]} if row in lack else row for row in rows]


def packed(kept: Mapping[str, Any]) -> bytes:
    """Return what is kept of a saying as bytes."""

    def raw(value: bytes) -> dict[str, str]:
        return {"b64": base64.b64encode(value).decode()}

    return zlib.compress(json.dumps(kept, default=raw, ensure_ascii=False).encode())


def unpacked(kept: bytes | None) -> dict[str, Any]:
    """Return what is kept of a saying."""

    def raw(value: dict[str, Any]) -> Any:
        return base64.b64decode(value["b64"]) if value.keys() == {"b64"} else value

    found: dict[str, Any] = json.loads(zlib.decompress(kept or b""), object_hook=raw)
    return found
