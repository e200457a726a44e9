"""What is known of a plan around its exercises, for choosing what may take their place."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import Any

from handbell.coach.library.entry import Entry
from handbell.coach.library.following import Following
from handbell.coach.library.shelf import Library
from handbell.coach.writing.edit import Change, PlanText, Written
from handbell.compile.schedule import resolve
from handbell.plan.agreement import Place
from handbell.plan.parts import Part, parts_words
from handbell.plan.shorthands import named_by_list
from handbell.plan.texts import LINE_MOST, drawable

from .beside import At, Beside
from .rank import Surroundings, kit_in_use

Table = dict[str, Any]


def known_in(doings: Iterable[Written], library: Library) -> dict[At, Entry | None]:
    """Return what the library knows of things to do."""
    return {place.at: library.find(place.values["name"]) for place in doings}


def as_called(library: Library, text: PlanText) -> Library:
    """Return a library that calls exercises as a plan does; as its never_after does before all."""
    ruled = (name for pair in text.plan.never_after for name in pair)
    return library.called_as((*ruled, *(table["name"] for table in _tables(text))))


def kit_of_all(text: PlanText, library: Library) -> frozenset[str]:
    """Return the kit (keys) that a plan is done with, by everybody and in own tasks."""
    found = (library.find(table["name"]) for table in _tables(text))
    return kit_in_use(entry for entry in found if entry)


def _tables(text: PlanText) -> list[Table]:
    """Return what names an exercise in a plan: what everybody does, then own tasks."""
    own = (own for place in text.exercises for own in place.values.get("scaled", ()))
    tables = (*(place.values for place in text.exercises), *own)
    return [table for table in tables if "name" in table]


class Floor:
    """What is known of a plan around its exercises; ``known`` changes as swaps are chosen.

    ``kit`` is in use beside what ``known`` needs.
    """

    def __init__(
        self, text: PlanText, known: dict[At, Entry | None], kit: frozenset[str] = frozenset()
    ) -> None:
        self._known = known
        self._kit = kit
        following = Following(resolve(text.plan))
        self._follow = list(following.soon)
        self._beside = Beside(text, following.direct, known)

    def around(self, places: Sequence[Written], bibs: Collection[int] = ()) -> Surroundings:
        """Return what stands round the windows of an exercise, everywhere it is done.

        For some bibs, or without them for all who do there what is written for everybody.
        """
        mine = {place.at for place in places}
        blocks = {place.block for place in places}
        others = {at: entry for at, entry in self._known.items() if entry}
        windows = {at[:2] for at in mine}
        near = {
            b if a in windows else a
            for a, b in self._follow
            if (a in windows) is not (b in windows)
        }
        return Surroundings(
            kit=kit_in_use(others.values()) | self._kit,
            in_plan=frozenset(e.id for at, e in others.items() if at not in mine),
            in_block=frozenset(
                e.id for at, e in others.items() if at not in mine and at[0] in blocks
            ),
            neighbours=tuple(others[at] for at in sorted(near) if at in others),
            apart=self._beside.ruled_out(places, bibs),
        )


def names_of_lists(text: PlanText, changes: Iterable[Change]) -> list[Change]:
    """Return the changes that name lists whose own words no longer fit a box's line."""
    new = {change.place: change.values for change in changes}
    found = []
    for b, block in enumerate(text.plan.blocks):
        place: Place = ("block", b)
        table = text.at(place)
        if not named_by_list(block.format) or "name" in table:
            continue
        rows = [
            {**row, **new.get((*place, "exercise", e), {})}
            for e, row in enumerate(table["exercise"])
        ]
        keys = ({k: v for k, v in row.items() if v is not None and k != "kit"} for row in rows)
        if len(drawable(parts_words(map(Part.model_validate, keys)))) > LINE_MOST:
            found.append(Change(place, {"name": f"List of {len(rows)}"}))
    return found
