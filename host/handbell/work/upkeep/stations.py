"""Which box hangs at which station: shown, and changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from handbell.base.errors import BoxError, HandbellError
from handbell.boxes.classes.send import ascii_label
from handbell.boxes.classes.stations import StationMap
from handbell.boxes.link.connection import Connection
from handbell.boxes.link.fleet import Fleet, in_order
from handbell.boxes.link.replies import NAME

from .plugged_in import Stranger, open_fleet, strangers


@dataclass(frozen=True)
class Hung:
    """A station with its box's id."""

    station: int
    box: str
    label: str


@dataclass(frozen=True)
class Stations:
    """The map of stations; ``spares`` are the ids of boxes that hang nowhere now.

    ``untold`` are sentences about boxes that did not take their new name; sending tells it again.
    """

    ok: bool
    stations: tuple[Hung, ...]
    spares: tuple[str, ...]
    untold: tuple[str, ...]
    others: tuple[Stranger, ...]


def stations() -> Stations:
    """Return the map of stations."""
    return Stations(True, _rows(StationMap()), (), (), ())


def change_stations(
    hang: Mapping[int, str],
    labels: Mapping[int, str],
    number: bool = False,
    ports: list[str] | None = None,
) -> Stations:
    """Change the map, and tell the boxes that are plugged in.

    ``hang`` has the id of a box, or the end of it, by station; with ``number`` all that are plugged
    in are numbered first, in the order of their ports. Raises HandbellError, before anything is
    changed, for a box or a station that is not there.
    """
    floor = StationMap()
    with open_fleet(ports) as fleet:
        by_id = {c.who.id: c for c in fleet.connections}
        if number:
            boxes = [c for c in fleet.connections if not c.who.remote]
            for n, connection in enumerate(sorted(boxes, key=lambda c: in_order(c.url)), 1):
                floor.place(n, connection.who.id)
        replaced = [floor.place(n, _meant(by_id, word)) for n, word in hang.items()]
        for n, label in labels.items():
            if n not in floor.stations:
                raise HandbellError(
                    f"No box hangs at station {n}",
                    f"Hang one there first: handbell stations {n}=BOX",
                )
            floor.stations[n].label = label
        floor.save()
        spares = tuple(box for box in replaced if box and not floor.number_of(box))
        untold = _tell(fleet, floor, spares)
        others = strangers(fleet)
    return Stations(not others, _rows(floor), spares, untold, others)


def _meant(by_id: Mapping[str, Connection], word: str) -> str:
    fitting = [box for box in by_id if box.endswith(word.lower())]
    if len(fitting) != 1:
        raise HandbellError(
            f"{len(fitting)} boxes that are plugged in have an id ending in {word}",
            "See handbell boxes for the ids",
        )
    if by_id[fitting[0]].who.remote:
        raise HandbellError(
            f"{fitting[0]} is a remote, which hangs at no station",
            "Prepare it with --station to make it a box again",
        )
    return fitting[0]


def _tell(fleet: Fleet, floor: StationMap, spares: tuple[str, ...]) -> tuple[str, ...]:
    """Tell every box that is plugged in its name; return why some did not take it."""

    def one(connection: Connection) -> None:
        n = floor.number_of(connection.who.id)
        connection.ask(NAME, station=n, label=ascii_label(floor.stations[n].label) if n else "")

    boxes = [c for c in fleet.connections if not c.who.remote]
    named = [c for c in boxes if floor.number_of(c.who.id) or c.who.id in spares]
    outcomes = fleet.each(one, named)
    return tuple(
        f"{o.error.what if isinstance(o.error, BoxError) else o.error}. "
        "The map is changed; handbell send tells the box its new station."
        for o in outcomes
        if o.error is not None
    )


def _rows(floor: StationMap) -> tuple[Hung, ...]:
    return tuple(Hung(n, s.box, s.label) for n, s in sorted(floor.stations.items()))
