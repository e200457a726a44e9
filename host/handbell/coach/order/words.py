"""A rotation's demands as a coach would say them, those of one sort together."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from handbell.base.words import listed, quoted, several

from .demands import Demand, Demands


def in_words(demands: Demands, chosen: Iterable[Demand]) -> tuple[str, ...]:
    """Return some demands in words: a sentence without a full stop for each, or each sort."""
    by_kind: dict[str, list[int]] = {}
    kits = []
    for demand in chosen:
        if isinstance(demand.about, str):
            kits.append(demand.about)
        else:
            by_kind.setdefault(demand.kind, []).append(demand.about)
    return (
        *_visits(demands, by_kind.get("visits", [])),
        *(_room(demands, s) for s in by_kind.get("room", [])),
        *(_at_a_time(demands, s) for s in by_kind.get("groups_most", [])),
        *(words for kit in kits for words in _kit(demands, kit)),
        *_never_after(demands, by_kind.get("never_after", [])),
        *(_turns(demands, pair) for pair in by_kind.get("alternate", [])),
        *(
            f"there is time for {several(demands.steps_most or 0, 'window')}"
            for _ in by_kind.get("steps_most", [])
        ),
    )


def _visits(demands: Demands, groups: Sequence[int]) -> Iterator[str]:
    alike: dict[tuple[int, ...], list[int]] = {}
    for g in groups:
        alike.setdefault(demands.groups[g].visits, []).append(g)
    for visits, those in alike.items():
        names = [
            f"{demands.groups[g].name} ({several(demands.groups[g].people, 'person', 'people')})"
            for g in those
        ]
        does = "does" if len(those) == 1 else "each do"
        yield f"{listed(names)} {does} {_stations(demands, visits)}"


def _stations(demands: Demands, visits: Sequence[int]) -> str:
    if len(visits) > 2 and len(set(visits)) == 1:
        return f"every {demands.noun} {_times(visits[0])}"
    times: dict[int, list[str]] = {}
    for s, number in enumerate(visits):
        if number:
            times.setdefault(number, []).append(demands.stations[s].name)
    return " and ".join(f"{listed(names)} {_times(n)}" for n, names in sorted(times.items()))


def _room(demands: Demands, station: int) -> str:
    room = demands.stations[station].room or 0
    return f"{demands.stations[station].name} has room for {several(room, 'person', 'people')}"


def _at_a_time(demands: Demands, station: int) -> str:
    most = demands.stations[station].groups_most or 0
    return f"{demands.stations[station].name} takes {several(most, 'group')} at a time"


def _kit(demands: Demands, kit: str) -> Iterator[str]:
    yield f"of the kit {quoted(kit)} there {_are(demands.kit[kit])}"
    for station in demands.stations:
        if station.steps is not None and any(need.kit == kit for need in station.needs):
            places = several(len(station.steps), "window")
            yield f"{station.name}, which takes it, can be in {places} of a round"


def _never_after(demands: Demands, pairs: Sequence[int]) -> Iterator[str]:
    after: dict[int, list[str]] = {}
    for n in pairs:
        first, second = demands.never_after[n]
        after.setdefault(first, []).append(demands.stations[second].name)
    for first, names in after.items():
        none = f"{names[0]} never comes" if len(names) == 1 else f"none of {listed(names)} comes"
        yield f"{none} directly after {demands.stations[first].name}"


def _turns(demands: Demands, pair: int) -> str:
    first, second = (demands.groups[g].name for g in demands.alternate[pair])
    return f"{first} and {second} take turns"


def _times(number: int) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{number} times")


def _are(number: int) -> str:
    return f"is {number}" if number == 1 else f"are {number}"
