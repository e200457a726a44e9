"""Lines that a slip's remedy proposes, tried by the reader before a coach is told to write them."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from handbell.base import toml
from handbell.plan.agreement import Fault, Place
from handbell.plan.going_on import at_place, faults_in, is_within
from handbell.plan.slips import Slip

_KEY = re.compile(r"(\s*(?:\"[^\"]*\"|[\w-]+)\s*=\s*)\S")
_MARK = "\ue000"  # no sign that a plan has: where it comes to stand, a line's value does
Document = dict[str, Any]


@dataclass(frozen=True)
class Tried:
    """Slips whose lines were tried, the document with those in it, and what they tell of.

    ``places`` are of slips whose line nobody can know: what is wrong there is told with them.
    """

    slips: list[Slip]
    document: Document
    places: list[Place]


def tried(slips: list[Slip], text: str, document: Document) -> Tried:
    """Return slips that only propose what the reader takes.

    ``text`` is the mended one, ``document`` what it says. A line that the reader refuses gives way
    to the next thing it may mean; where nothing is left, the slip tells the reader's own fault.
    """
    document = copy.deepcopy(document)
    faults = faults_in(document)
    told, hidden = [], []
    for slip, places in zip(slips, _places(slips, text), strict=True):
        wrong = _at(faults, places)
        if slip.instead is None and slip.stand_in and not wrong:  # it can be a text after all
            slip = replace(slip, instead=slip.stand_in, why="a text stands in quotes")
        elif wrong:
            better = next((way for way in slip.ways if _takes(document, places, way[0])), None)
            if better:
                slip = replace(slip, instead=better[0], why=better[1])
                _put(document, places, better[0])
            else:
                slip = _refused(slip, wrong[0][1])
                hidden += places
        told.append(slip)
    return Tried(told, document, hidden)


def _refused(slip: Slip, fault: str) -> Slip:
    """Return a slip that tells why the reader takes none of what it may mean."""
    what, _, remedy = fault.partition("; ")
    why = f"{slip.why}; and then: {what}" if slip.instead is not None else what
    return replace(slip, why=why, instead=None, remedy=remedy or slip.remedy, ways=())


def _places(slips: list[Slip], text: str) -> list[list[Place]]:
    """Return for each slip the places in the document of the keys that its lines write."""
    lines = text.split("\n")
    added = 0
    for n, slip in enumerate(slips):
        at = slip.line - 1 + added
        count = (slip.instead or "").count("\n") + 1
        added += count - 1
        for number in range(at, at + count):
            found = _KEY.match(lines[number])
            if found:
                lines[number] = f'{found[1]}"{_MARK}{n}"'
    places: list[list[Place]] = [[] for _ in slips]
    for place, value in _values(toml.loads("\n".join(lines)), ()):
        if isinstance(value, str) and value.startswith(_MARK):
            places[int(value[1:])].append(place)
    return places


def _values(value: Any, place: Place) -> Iterator[tuple[Place, Any]]:
    below: Iterable[tuple[str | int, Any]] = ()
    if isinstance(value, dict | list):
        below = value.items() if isinstance(value, dict) else enumerate(value)
    for step, one in below:
        yield from _values(one, (*place, step))
    yield place, value


def _at(faults: list[Fault], places: list[Place]) -> list[Fault]:
    return [fault for fault in faults if is_within(fault[0], places)]


def _takes(document: Document, places: list[Place], lines: str) -> bool:
    """Return whether the reader takes other lines for the keys that are in some places.

    It looks at the block they are in as if there were no other.
    """
    block = places[0][:2] if len(places[0]) > 2 and places[0][0] == "block" else ()
    trial = dict(document)
    if block:
        trial["block"] = [at_place(document, block)]
    trial = copy.deepcopy(trial)
    here = [("block", 0, *place[2:]) if block else place for place in places]
    now = _put(trial, here, lines)
    return not _at(faults_in(trial), now)


def _put(document: Document, places: list[Place], lines: str) -> list[Place]:
    """Write other lines for the keys in some places of a table; return the places of these."""
    table = at_place(document, places[0][:-1])
    for place in places:
        table.pop(place[-1], None)
    keys = toml.loads("\n".join(line.strip() for line in lines.split("\n")))
    table.update(keys)
    return [(*places[0][:-1], key) for key in keys]
