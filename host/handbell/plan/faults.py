"""What the schema library found, as sentences: the place in words, the fault, the remedy."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING, Any

from handbell.plan.demands import Fit
from handbell.plan.model import Block, Exercise, Group, GuidedPart, Plan, Scaled, Station
from handbell.plan.parts import Part
from handbell.plan.rules import Disagreement, Place
from handbell.plan.shorthands import FORMATS
from handbell.plan.shorthands.form import own_keys
from handbell.plan.texts import quoted

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

_TABLES: dict[str, type[BaseModel]] = {
    "": Plan,
    "group": Group,
    "station": Station,
    "warm_up": GuidedPart,
    "cool_down": GuidedPart,
    "block": Block,
    "exercise": Exercise,
    "scaled": Scaled,
    "part": Part,
    "fit": Fit,
}
_SINGLE = {"fit"}
_HEADINGS = {
    "exercise": "in [[block.exercise]]",
    "scaled": "in [[block.exercise.scaled]]",
    "part": "in [[block.exercise.part]]",
    "": "at the top of the file, before any [[table]]",
    "fit": "in [fit]",
}
_WORDS = {"warm_up": "warm-up", "cool_down": "cool-down"}
_EXAMPLES = {
    "title": 'title = "Monday class"',
    "name": 'name = "Push-up"',
    "work_s": "work_s = 30",
    "bibs": "bibs = [1, 2]",
}


def place_words(place: Place) -> str:
    """Return a place as a coach reads it: ``block 2, exercise 3, reps``."""
    words: list[str] = []
    for step in place:
        if isinstance(step, int):
            words[-1] = f"{_WORDS.get(words[-1], words[-1])} {step + 1}"
        else:
            words.append(step if step.isprintable() and len(step) <= 40 else quoted(step[:40]))
    return ", ".join(words)


def sentence(place: Place, fault: str) -> str:
    """Return one fault as a sentence."""
    return f"{place_words(place)}: {fault}" if place else fault


def sentences(error: ValidationError) -> list[str]:
    """Return every fault of a plan, in the order of the file's tables."""
    found: list[str] = []
    for part in error.errors(include_url=False):
        place: Place = part["loc"]
        raised = part.get("ctx", {}).get("error")
        if isinstance(raised, Disagreement):
            # Rules of a whole list belong to the plan, and so do the places they give.
            above: Place = () if len(place) == 1 else place
            found += [sentence(above + below, fault) for below, fault in raised.faults]
        elif part["type"] == "value_error":
            found.append(sentence(place, str(raised)))
        else:
            found.append(sentence(*_structural(part["type"], place, part["input"])))
    return found


def _structural(kind: str, place: Place, value: Any) -> tuple[Place, str]:
    key = str(place[-1]) if place else ""
    if kind == "missing":
        return place[:-1], f"{key} is missing; write {_EXAMPLES.get(key, key)}"
    if kind == "extra_forbidden":
        return place, f"no such key here; {_nearest(key, place[:-1])}"
    table = next((str(step) for step in reversed(place) if isinstance(step, str)), "")
    heading = _HEADINGS.get(table, f"[[{table}]]").removeprefix("in ")
    if table in _SINGLE:
        return place, f"this is a table, and there is one; write [{table}], its keys below"
    if isinstance(value, dict):
        return place, f"this may be there several times; write {heading}, with two brackets"
    return place, f"this is a table; write {heading} on a line of its own, its keys below"


def _nearest(key: str, place: Place) -> str:
    table = next((str(step) for step in reversed(place) if isinstance(step, str)), "")
    known = _keys(table)
    form = next((name for name, form in FORMATS.items() if key in own_keys(form)), None)
    if form and (table == "block" or (table == "exercise" and key not in _keys("block"))):
        return f'it goes with format = "{form}" in a block'
    if key not in known:
        for other in _TABLES:
            if other != table and key in _keys(other):
                return f"it belongs {_HEADINGS.get(other, f'in [[{other}]]')}"
    near = difflib.get_close_matches(key, known, 1, 0.6)
    near = near or [k for k in known if k.split("_")[0] == key.split("_")[0]][:1]
    return f"did you mean {near[0]}?" if near else f"known are {', '.join(known)}"


def _keys(table: str) -> list[str]:
    return own_keys(_TABLES[table])
