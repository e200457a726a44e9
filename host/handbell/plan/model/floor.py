"""Who comes, and the places on the floor."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import Field

from handbell.base.words import several
from handbell.plan import demands, fields
from handbell.plan.agreement import Fault, Table
from handbell.plan.model.exercise import Exercise


class Group(Table):
    """People who stay together, by their bibs."""

    name: fields.Name = Field(description="What the group is called on the box.")
    bibs: fields.Bibs = Field(description="Bib numbers, 1 to 999, each once in the plan.")
    circuit: fields.MaybeName = Field(
        None, description="The circuit it does, when there are two side by side."
    )


class Station(Table):
    """A place on the floor."""

    label: fields.MaybeName = Field(None, description='Its name; "Station 1" unless said.')
    at: demands.MaybeSpot = Field(
        None, description="Where it is on the floor, [x, y] in metres: order then keeps ways short."
    )
    capacity: demands.MaybeCapacity = Field(None, description="People it has room for at once.")


def does(group: Group, exercise: Exercise) -> bool:
    """Return whether a group does an exercise: unless they belong to different circuits."""
    return None in (group.circuit, exercise.circuit) or group.circuit == exercise.circuit


def of_groups(groups: Sequence[Group]) -> Iterable[Fault]:
    """Yield names and bibs that are there twice."""
    names: dict[str, int] = {}
    bibs: dict[int, str] = {}
    for n, group in enumerate(groups):
        if names.setdefault(group.name, n) != n:
            yield (
                ("group", n, "name"),
                f'"{group.name}" is group {names[group.name] + 1} already; '
                "give each group a name of its own",
            )
        for bib in group.bibs:
            if bib in bibs:
                yield (
                    ("group", n, "bibs"),
                    f'bib {bib} is in "{bibs[bib]}" already; use each bib once',
                )
            bibs.setdefault(bib, group.name)


def of_stations(stations: Sequence[Station], data: dict[str, Any]) -> Iterable[Fault]:
    """Yield what the stations disagree on with groups and boxes (absent from ``data`` if wrong)."""
    labels: dict[str, int] = {}
    for n, station in enumerate(stations):
        label = station.label or f"Station {n + 1}"
        if labels.setdefault(label, n) != n:
            yield (
                ("station", n, "label"),
                f'"{label}" is station {labels[label] + 1} already; '
                "give each station a label of its own",
            )
    without = [n for n, station in enumerate(stations) if station.at is None]
    if 0 < len(without) < len(stations):
        yield (
            ("station", without[0], "at"),
            "other stations say where they are; write at = [x, y] at all of them, or at none",
        )
    groups, boxes = data.get("groups", ()), data.get("boxes_said")
    if groups and boxes:
        yield ("boxes",), "each group has a box of its own; take out boxes, or the groups"
    elif data.get("layout") == "rotation":
        pass  # there, exercises and stations agree, see the blocks' rules
    elif stations and groups and len(groups) != len(stations):
        more = "add stations" if len(groups) > len(stations) else "take stations out"
        yield (
            ("station",),
            f"{several(len(groups), 'group')} but {several(len(stations), 'station')}; each group "
            f"needs one: {more}, or take them all out to have them numbered",
        )
    elif stations and boxes and boxes != len(stations):
        yield (
            ("station",),
            f"{several(boxes, 'box', 'boxes')} but {several(len(stations), 'station')}; "
            "take out boxes, or write as many stations",
        )
    if len(groups) > 99 or len(stations) > 99:
        yield ("group" if len(groups) > 99 else "station",), "at most 99 boxes; take some out"
