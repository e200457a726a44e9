"""Joining: a box that was restarted, a spare or one left behind, put into the class that is on."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from handbell.base.errors import HandbellError, UsageError
from handbell.base.progress import Progress, no_progress
from handbell.boxes.classes.join import Whereabouts, where
from handbell.boxes.classes.join import join as join_boxes
from handbell.boxes.classes.loaded import LoadedClass
from handbell.boxes.classes.send import Load
from handbell.boxes.classes.session import Session
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
    """A station's box: it is in, or waits for the remote; or ``why`` it could not be put in."""

    ok: bool
    station: int
    box: str
    why: tuple[str, ...]


@dataclass(frozen=True)
class Joined:
    """The boxes that were put into a class.

    ``led`` says whether a remote leads it; ``class_ms`` is where it is, if that is known, and
    ``stands`` whether it waits there for holds.
    """

    ok: bool
    title: str
    led: bool
    boxes: tuple[BoxJoined, ...]
    class_ms: int | None
    stands: bool
    others: tuple[Stranger, ...]
    remarks: tuple[str, ...]


def join(
    numbers: Collection[int],
    ports: list[str] | None = None,
    store_url: str | None = None,
    since_start: bool = False,
    progress: Progress = no_progress,
) -> Joined:
    """Put the boxes of these stations into the class that is on.

    Its remote tells where that is; without one another box of it that is plugged in, or the start
    that was set if nobody waited ``since_start``. Raises HandbellError when nothing tells, and for
    a station without a box.
    """
    session = Session(host_clock().utc_us() // 1000)
    loaded = session.led()
    unknown = sorted(set(numbers) - set(loaded.places))
    if unknown:
        raise UsageError(
            f"Station {unknown[0]} is not in {loaded.title}",
            "See handbell stations for the numbers",
        )
    stations = StationMap()
    with open_fleet(ports) as fleet, store_or_none(store_url) as (store, clocks):
        loads = [_load(loaded, n, store) for n in dict.fromkeys(numbers)]
        there = where(fleet, loaded, numbers)
        if not loaded.key:
            there = _known(loaded, there, session.now_utc_ms if since_start else None)
        to = None if loaded.key else there
        rows, waiting = join_boxes(fleet, loaded, loads, stations, clocks, to, progress)
        others = strangers(fleet)
    if waiting:
        session.joined(waiting)
    parted = _parted(there) if there is not None and not loaded.key else ""
    remarks = tuple(words for words in (parted, session.trouble, clocks.trouble) if words)
    boxes = tuple(BoxJoined(row.ready, row.station, row.label, tuple(row.why)) for row in rows)
    fine = all(row.ok for row in boxes)
    class_ms, stands = (there.class_ms, there.stands) if there is not None else (None, False)
    return Joined(fine, loaded.title, bool(loaded.key), boxes, class_ms, stands, others, remarks)


def _known(loaded: LoadedClass, there: Whereabouts | None, now_ms: int | None) -> Whereabouts:
    """Return where a class is that no remote leads; raises HandbellError where nothing tells."""
    if there is not None and there.leaving:
        raise HandbellError(
            f"{loaded.title} is about to go on from its gate",
            "Run the command again once it does",
        )
    if there is not None and (there.stands or there.zero_utc_ms is not None):
        return there
    if now_ms is None:
        raise HandbellError(
            f"Nothing tells where {loaded.title} is: somebody may have waited since it began",
            "Plug in a box that is in the class, too; or, if nobody stood at a gate or chose to "
            "wait, add --since-start",
        )
    started_ms = max((place.start_utc_ms for place in loaded.playing.values()), default=0)
    if not 0 < started_ms <= now_ms:
        raise HandbellError(
            f"{loaded.title} was not started by handbell arm, or begins later",
            "Plug in a box that is in the class, too",
        )
    return Whereabouts("", now_ms - started_ms, started_ms)


def _parted(there: Whereabouts) -> str:
    if not there.parted:
        return ""
    return (
        f"{', '.join(there.parted)}: elsewhere than {there.box}, by which this went; "
        "boxes part when they are held at different marks"
    )


def _load(loaded: LoadedClass, station: int, store: Store | None) -> Load:
    """Return a station's part of the plan as the store has it, without bytes if it has it not."""
    digest = loaded.places[station].digest
    data = store.timeline(digest) if store is not None else b""
    try:
        buttons = Head.unpack(data[:64]).buttons
    except FormatError:
        data, buttons = b"", 1
    return Load(station, f"Station {station}", digest, data, buttons)
