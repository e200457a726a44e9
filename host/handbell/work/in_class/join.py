"""Joining: a box that was restarted, a spare or one left behind, put into the class that is on."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from handbell.base.errors import HandbellError, UsageError
from handbell.base.progress import Progress, no_progress
from handbell.boxes.classes.join import join as join_boxes
from handbell.boxes.classes.join import where
from handbell.boxes.classes.send import Load
from handbell.boxes.classes.session import LoadedClass, Session
from handbell.boxes.classes.stations import StationMap
from handbell.store.store import Store
from handbell.work.upkeep.plugged_in import (
    Stranger,
    host_clock,
    open_fleet,
    store_or_none,
    strangers,
)
from handbell_core.timeline import FormatError, Head


@dataclass(frozen=True)
class BoxJoined:
    """A station's box: it waits for the remote, or ``why`` it could not be put in."""

    ok: bool
    station: int
    box: str
    why: tuple[str, ...]


@dataclass(frozen=True)
class Joined:
    """The boxes that were put into a class; ``class_ms`` is where it is, if that is known."""

    ok: bool
    title: str
    boxes: tuple[BoxJoined, ...]
    class_ms: int | None
    others: tuple[Stranger, ...]
    remarks: tuple[str, ...]


def join(
    numbers: Collection[int],
    ports: list[str] | None = None,
    store_url: str | None = None,
    progress: Progress = no_progress,
) -> Joined:
    """Put the boxes of these stations into the class that is on, which a remote leads.

    Raises HandbellError when none does, and for a station without a box.
    """
    session = Session(host_clock().utc_us() // 1000)
    loaded = session.last()
    unknown = sorted(set(numbers) - set(loaded.places))
    if unknown:
        raise UsageError(
            f"Station {unknown[0]} is not in {loaded.title}",
            "See handbell stations for the numbers",
        )
    if not loaded.key:
        raise HandbellError(
            f"No remote leads {loaded.title}, so nothing can tell a box where the class is",
            "Let its people go to another station; or stop the class at every box, and arm it anew",
        )
    stations = StationMap()
    with open_fleet(ports) as fleet, store_or_none(store_url) as (store, clocks):
        loads = [_load(loaded, n, store) for n in dict.fromkeys(numbers)]
        rows, waiting = join_boxes(fleet, loaded, loads, stations, clocks, progress)
        class_ms = where(fleet, loaded)
        others = strangers(fleet)
    if waiting:
        session.joined(waiting)
    remarks = tuple(words for words in (session.trouble, clocks.trouble) if words)
    boxes = tuple(BoxJoined(row.ready, row.station, row.label, tuple(row.why)) for row in rows)
    fine = all(row.ok for row in boxes)
    return Joined(fine, loaded.title, boxes, class_ms, others, remarks)


def _load(loaded: LoadedClass, station: int, store: Store | None) -> Load:
    """Return a station's part of the plan as the store has it, without bytes if it has it not."""
    digest = loaded.places[station].digest
    data = store.timeline(digest) if store is not None else b""
    try:
        buttons = Head.unpack(data[:64]).buttons
    except FormatError:
        data, buttons = b"", 1
    return Load(station, f"Station {station}", digest, data, buttons)
