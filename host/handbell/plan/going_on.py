"""Going on after a fault of a field, so that what it hides is told in the same breath.

What is wrong is replaced by something right, for the look alone, and the plan is looked through
again; what is then said of a replaced value is not told.
"""

from __future__ import annotations

import copy
import difflib
import re
from typing import Any

from pydantic import ValidationError

from handbell.plan import rules
from handbell.plan.agreement import Fault, Place
from handbell.plan.faults import MISSING, faults_of, told
from handbell.plan.model import Plan
from handbell.plan.shorthands import FORMATS

PASSES_MOST = 5
_RIGHT: dict[str, Any] = {
    "title": "A",
    "name": "A",
    "label": "A",
    "bibs": [900],
    "work_s": 30,
    "rounds": 1,
    "minutes": 6,
    "every_s": 60,
    "leg_s": 60,
    "legs": 2,
    "rep_s": 3,
    "from": 3,
    "to": 1,
    "reps": 3,
    "exercise": [{"name": "A", "work_s": 30}],
}


def every_fault(document: dict[str, Any]) -> tuple[Plan | None, list[str]]:
    """Return the plan of a document, or all that is wrong with it as sentences, each once."""
    found, plan = _look(document)
    if not found:
        return plan, []
    try:
        trial = copy.deepcopy(document)
    except RecursionError:  # nested as deep as no plan is
        return None, told(found)
    all_found = _formats(trial)
    replaced = [place for place, _ in all_found]
    for _ in range(PASSES_MOST):
        found, plan = _look(trial)
        new = [fault for fault in found if not _within(fault[0], replaced)]
        all_found += new
        # The keys of a short form hang together: one replaced would be told of another.
        replaced += {fault[0][:2] for fault in new if _is_short(trial, fault[0])}
        places = [place for place in map(_place, new) if _replace(trial, place)]
        if plan is not None or not places:
            break
        replaced += places
    return None, told(sorted(all_found, key=lambda fault: _order(document, fault[0][:2])))


def _is_short(document: dict[str, Any], place: Place) -> bool:
    """Whether a place is in a block of a short form."""
    block = _at(document, place[:2]) if place[:1] == ("block",) and len(place) > 1 else None
    return isinstance(block, dict) and "format" in block


def _at(document: Any, place: Place) -> Any:
    """Return what is in a place of a document, None where it has no such place."""
    for step in place:
        try:
            document = document[step]
        except (KeyError, IndexError, TypeError):
            return None
    return document


def _look(document: dict[str, Any]) -> tuple[list[Fault], Plan | None]:
    try:
        plan = Plan.model_validate(document)
    except ValidationError as error:
        return list(faults_of(error)), None
    return list(rules.of_plan(plan)), plan


def _formats(document: dict[str, Any]) -> list[Fault]:
    """Return the blocks of a form that there is not; the nearest form takes its place."""
    found: list[Fault] = []
    blocks = document.get("block")
    if not isinstance(blocks, list):
        return []
    for n, block in enumerate(blocks):
        if not isinstance(block, dict):
            continue
        said = block.get("format")
        if not isinstance(said, str) or said in FORMATS:
            continue
        for near in difflib.get_close_matches(said, FORMATS, 1):
            words = f'there is no form "{said}"; did you mean "{near}"?'
            found.append((("block", n, "format"), words))
            block["format"] = near
    return found


def _place(fault: Fault) -> Place:
    """Return the place of what a fault is about: a missing key's own, not its table's."""
    place, words = fault
    missing = re.match(rf"(\w+){MISSING}", words)
    return (*place, missing[1]) if missing else place


def _within(place: Place, replaced: list[Place]) -> bool:
    return any(place[: len(other)] == other for other in replaced)


def _replace(document: dict[str, Any], place: Place) -> bool:
    """Put something right in a place; False when nothing is known that would be."""
    if not place or not isinstance(place[-1], str):
        return False
    table = _at(document, place[:-1])
    if not isinstance(table, dict):
        return False
    right = _RIGHT.get(place[-1])
    known = place[-1] in table
    table.pop(place[-1], None)
    if right is not None:
        table[place[-1]] = copy.deepcopy(right)
    return known or right is not None


def _order(document: Any, place: Place) -> list[int]:
    """Return where a place stands in the file, to sort by."""
    order = []
    for step in place:
        if isinstance(step, int):
            order.append(step)
            document = document[step] if isinstance(document, list) and step < len(document) else {}
        else:
            keys = list(document) if isinstance(document, dict) else []
            order.append(keys.index(step) if step in keys else len(keys))
            document = document.get(step) if isinstance(document, dict) else None
    return order
