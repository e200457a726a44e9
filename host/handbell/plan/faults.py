"""What the schema library found, as sentences: the place in words, the fault, the remedy."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from handbell.base.words import quoted
from handbell.plan.agreement import Disagreement, Fault, Place
from handbell.plan.demands import Fit
from handbell.plan.model import Block, Exercise, Group, GuidedPart, Plan, Scaled, Station
from handbell.plan.parts import Part
from handbell.plan.shorthands import FORMATS, Misspelt
from handbell.plan.shorthands.form import Short, own_keys
from handbell.plan.texts import did_you_mean

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError

MISSING = " is missing; write "
_TABLES: dict[str, type[BaseModel]] = {
    "": Plan,
    "block": Block,
    "exercise": Exercise,
    "group": Group,
    "station": Station,
    "warm_up": GuidedPart,
    "practice": GuidedPart,
    "cool_down": GuidedPart,
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


def told(faults: Iterable[Fault]) -> list[str]:
    """Return faults as sentences, each once."""
    return list(dict.fromkeys(sentence(*fault) for fault in faults))


def faults_of(error: ValidationError, form: type[Short] = Short) -> Iterator[Fault]:
    """Yield the faults of a table; ``form`` is the short form of the block it is, if it is one."""
    for part in error.errors(include_url=False):
        place: Place = part["loc"]
        raised = part.get("ctx", {}).get("error")
        if isinstance(raised, Disagreement):
            # Rules of a whole list belong to the plan, and so do the places they give.
            above: Place = () if len(place) == 1 and form is Short else place
            yield from ((above + below, fault) for below, fault in raised.faults)
        elif isinstance(raised, Misspelt):
            yield from ((place + below, fault) for below, fault in raised.faults)
            for below, fault in faults_of(raised.inner, raised.form) if raised.inner else ():
                yield place + raised.form.place_back(below), fault
        elif part["type"] == "value_error":
            yield place, str(raised)
        else:
            yield _structural(part["type"], place, part["input"], form)


def _structural(kind: str, place: Place, value: Any, form: type[Short]) -> Fault:
    key = str(place[-1]) if place else ""
    if kind == "missing":
        return place[:-1], f"{key}{MISSING}{_EXAMPLES.get(key, key)}"
    if kind == "extra_forbidden":
        return place, f"no such key here; {_nearest(key, place[:-1], form)}"
    table = next((str(step) for step in reversed(place) if isinstance(step, str)), "")
    heading = _HEADINGS.get(table, f"[[{table}]]").removeprefix("in ")
    if table in _SINGLE:
        return place, f"this is a table, and there is one; write [{table}], its keys below"
    if isinstance(value, dict):
        return place, f"this may be there several times; write {heading}, with two brackets"
    return place, f"this is a table; write {heading} on a line of its own, its keys below"


def _nearest(key: str, place: Place, form: type[Short]) -> str:
    table = next((str(step) for step in reversed(place) if isinstance(step, str)), "")
    if form is not Short:
        return did_you_mean(key, _keys_of_form(table or "block", form))
    known = _keys(table)
    forms = [f'"{name}"' for name, other in FORMATS.items() if key in own_keys(other)]
    if forms and (table == "block" or (table == "exercise" and key not in _keys("block"))):
        return f"it goes with format = {' or '.join(forms)} in a block"
    if key not in known:
        for other in _TABLES:
            if other != table and key in _keys(other):
                return f"it belongs {_HEADINGS.get(other, f'in [[{other}]]')}"
    return did_you_mean(key, known)


def _keys_of_form(table: str, form: type[Short]) -> list[str]:
    """Return the keys of a block in a short form, or of an exercise in it."""
    if table == "block":
        return [*own_keys(form), *(key for key in _keys("block") if key not in form.block_has)]
    if table == "exercise":
        usual = (key for key in _keys("exercise") if key not in form.exercise_has)
        return list(dict.fromkeys([*usual, *form.exercise_takes]))
    return _keys(table)


def _keys(table: str) -> list[str]:
    return own_keys(_TABLES[table])
