"""Going on after a fault of a field, so that what it hides is told in the same breath.

What is wrong is replaced by something right, for the look alone, and the plan is looked through
again; what is then said of a replaced value is not told.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError

from handbell.base.words import listed, quoted
from handbell.plan import rules
from handbell.plan.agreement import Fault, Place
from handbell.plan.faults import MISSING, faults_of, told
from handbell.plan.model import Block, Plan
from handbell.plan.shorthands import FORMATS, nearest_form
from handbell.plan.shorthands.form import own_keys
from handbell.plan.values import shown

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


def every_fault(
    document: dict[str, Any], told_already: Sequence[Place] = ()
) -> tuple[Plan | None, list[str]]:
    """Return the plan of a document, or all that is wrong with it as sentences, each once.

    What is wrong in places of which something is told already is left out.
    """
    found, plan = _look(document)
    if not found:
        return plan, []
    faults = faults_in(document, found)
    faults = [fault for fault in faults if not is_within(fault[0], told_already)]
    return None, told(sorted(faults, key=lambda fault: _order(document, fault[0][:2])))


def faults_in(document: dict[str, Any], found: list[Fault] | None = None) -> list[Fault]:
    """Return all that is wrong with a document, and where; ``found`` is what a look tells of it."""
    found = _look(document)[0] if found is None else found
    if not found:
        return []
    try:
        trial = copy.deepcopy(document)
    except RecursionError:  # nested as deep as no plan is
        return found
    all_found = _formats(trial)
    replaced = [place for place, _ in all_found]
    for _ in range(PASSES_MOST):
        found, plan = _look(trial)
        new = [fault for fault in found if not is_within(fault[0], replaced)]
        all_found += new
        # The keys of a short form hang together: one replaced would be told of another.
        replaced += {fault[0][:2] for fault in new if _is_short(trial, fault[0])}
        places = [place for place in map(_place, new) if _replace(trial, place)]
        if plan is not None or not places:
            break
        replaced += places
    return all_found


def _is_short(document: dict[str, Any], place: Place) -> bool:
    """Whether a place is in a block of a short form."""
    block = at_place(document, place[:2]) if place[:1] == ("block",) and len(place) > 1 else None
    return isinstance(block, dict) and "format" in block


def at_place(document: Any, place: Place) -> Any:
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
    """Return the blocks of a form that there is not; the nearest form takes its place.

    Where none is near, the block is looked at without the keys that only a form has.
    """
    found: list[Fault] = []
    blocks = document.get("block")
    if not isinstance(blocks, list):
        return []
    for n, block in enumerate(blocks):
        said = block.get("format") if isinstance(block, dict) else None
        if not isinstance(said, str) or said in FORMATS:
            continue
        near = nearest_form(said, FORMATS)
        if near:
            words = f'there is no form "{said}"; did you mean "{near}"?'
            block["format"] = near
        else:
            words = f"there is no form {shown(said)}; write {listed(map(quoted, FORMATS), 'or')}"
            _formless(block)
        found.append((("block", n, "format"), words))
    return found


def _formless(block: dict[str, Any]) -> None:
    """Take a block's form and the keys of any form out, and give its exercises what they lack."""
    plain = own_keys(Block)
    for key in {"format", *(key for form in FORMATS.values() for key in own_keys(form))}:
        if key == "format" or key not in plain:
            block.pop(key, None)
    exercises = block.get("exercise")
    for exercise in exercises if isinstance(exercises, list) else ():
        if isinstance(exercise, dict):
            exercise.setdefault("work_s", _RIGHT["work_s"])


def _place(fault: Fault) -> Place:
    """Return the place of what a fault is about: a missing key's own, not its table's."""
    place, words = fault
    missing = re.match(rf"(\w+){MISSING}", words)
    return (*place, missing[1]) if missing else place


def is_within(place: Place, replaced: Sequence[Place]) -> bool:
    """Return whether a place is one of some, or below one."""
    return any(place[: len(other)] == other for other in replaced)


def _replace(document: dict[str, Any], place: Place) -> bool:
    """Put something right in a place; False when nothing is known that would be."""
    if not place or not isinstance(place[-1], str):
        return False
    table = at_place(document, place[:-1])
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
