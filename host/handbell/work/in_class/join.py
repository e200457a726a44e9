"""Joining: a box that was restarted, a spare or one left behind, put into the class that is on."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from handbell.base.errors import HandbellError, UsageError
from handbell.base.progress import Progress, no_progress
from handbell.boxes.classes.join import Whereabouts, plays, where
from handbell.boxes.classes.join import join as join_boxes
from handbell.boxes.classes.loaded import LoadedClass
from handbell.boxes.classes.send import Load
from handbell.boxes.classes.session import Session
from handbell.boxes.classes.stations import StationMap
from handbell.boxes.link.fleet import Fleet
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

    ``led`` says that they wait for its remote, ``follows`` that they are in and follow one;
    ``class_ms`` is where it is, if that is known, and ``stands`` whether it waits there.
    """

    ok: bool
    title: str
    led: bool
    follows: bool
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

    Another box of it that is plugged in tells where that is, or the start that was set if nobody
    waited ``since_start``; where a remote leads and is plugged in, or no such box is, its word does
    later. Raises HandbellError when nothing tells, and for a station without a box.
    """
    session = Session(host_clock().utc_us() // 1000)
    stations = StationMap()
    with open_fleet(ports) as fleet, store_or_none(store_url) as (store, clocks):
        loaded = _on(session, fleet)
        unknown = sorted(set(numbers) - set(loaded.places))
        if unknown:
            raise UsageError(
                f"Station {unknown[0]} is not in {loaded.title}",
                "See handbell stations for the numbers",
            )
        loads = [_load(loaded, n, store) for n in dict.fromkeys(numbers)]
        there = where(fleet, loaded, numbers)
        has_told = there is not None and there.tells and not there.remote
        by_word = bool(loaded.key) and not has_told and not (since_start and there is None)

        def tells() -> Whereabouts:
            nonlocal there
            now_ms = host_clock().utc_us() // 1000 if since_start else None
            there = _known(loaded, where(fleet, loaded, numbers), now_ms)
            return there

        if not by_word:
            tells()  # before anything is changed
        to = None if by_word else tells
        rows, waiting = join_boxes(fleet, loaded, loads, stations, clocks, to, progress)
        others = strangers(fleet)
    if waiting:
        session.joined(loaded, waiting, by_word)
    said = () if there is None or by_word else _differs(there)
    remarks = tuple(words for words in (*said, session.trouble, clocks.trouble) if words)
    boxes = tuple(BoxJoined(row.ready, row.station, row.label, tuple(row.why)) for row in rows)
    fine = all(row.ok for row in boxes)
    class_ms, stands = (there.class_ms, there.stands) if there is not None else (None, False)
    follows = bool(loaded.key) and not by_word and there is not None and there.led
    return Joined(fine, loaded.title, by_word, follows, boxes, class_ms, stands, others, remarks)


def _on(session: Session, fleet: Fleet) -> LoadedClass:
    """Return the class that is on: what was sent last, unless the led one before it is played."""
    led = session.led()
    return led if led is not None and plays(fleet, led) else session.last()


def _known(loaded: LoadedClass, there: Whereabouts | None, now_ms: int | None) -> Whereabouts:
    """Return where a class is that no remote leads; raises HandbellError where nothing tells."""
    if there is not None and there.leaving:
        raise HandbellError(
            f"{loaded.title} is about to go on from its gate",
            "Run the command again once it does",
        )
    if there is not None and there.tells:
        return there
    if now_ms is None and there is not None:
        raise HandbellError(
            f"Nothing tells where {loaded.title} is: {there.box} has lost its clock",
            "Plug in another box that is in the class, too, or run the command again once that one "
            "stands at a gate",
        )
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
    return Whereabouts("", now_ms - started_ms, started_ms, led=bool(loaded.key))


def _differs(there: Whereabouts) -> tuple[str, ...]:
    """Return who differs from the box by which this went, and that from a box with a clock."""
    said: list[str] = []
    if there.parted:
        said.append(
            f"{', '.join(there.parted)}: elsewhere than {there.box}, by which this went; "
            "boxes part when they are held at different marks"
        )
    if there.stands and not there.has_clock and not there.led:
        said.append(
            f"{there.box} has lost its clock and goes on 5 s after its own hold, a box that is put "
            "in at the next mark: hold that one first, and the others as it shows 5 s"
        )
    return tuple(said)


def _load(loaded: LoadedClass, station: int, store: Store | None) -> Load:
    """Return a station's part of the plan as the store has it, without bytes if it has it not."""
    digest = loaded.places[station].digest
    data = store.timeline(digest) if store is not None else b""
    try:
        buttons = Head.unpack(data[:64]).buttons
    except FormatError:
        data, buttons = b"", 1
    return Load(station, f"Station {station}", digest, data, buttons)
