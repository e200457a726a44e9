"""Own tasks: exercises swapped for single bibs, written as the plan's ``scaled`` tables.

Bibs that do the same all through the plan are looked at together, with what they do now: their own
task where they have one, and only what their group does.
"""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from typing import Any, NamedTuple

from handbell.coach.library.entry import Entry
from handbell.coach.library.shelf import Library
from handbell.coach.writing.edit import Change, OwnTask, PlanText, Written
from handbell.plan.agreement import Place
from handbell.plan.files import parse_plan
from handbell.plan.model import Exercise

from .keys import least_goal, new_keys, shown
from .rank import Wish
from .swap import NotThereError, Swap, find_swaps
from .views import require_bibs, views
from .write import Made, as_far_as_playable, rules_kept

Table = dict[str, Any]
MUCH_FASTER = 3  # times as many in as long: punches in place of burpees; common practice, no source


def find_own(
    text: PlanText,
    library: Library,
    wish: Wish,
    bibs: Sequence[int],
    name: str | None = None,
    to: str | None = None,
    block: int | None = None,
) -> list[Swap]:
    """Return the swaps that a wish asks for, for single bibs; see ``find_swaps``.

    An exercise's name is looked for among what they do. Raises UsageError for a bib that isn't
    there, HandbellError when none of them does the exercise.
    """
    require_bibs(text, bibs)
    found, unfound = [], []
    for view in views(text, bibs):
        try:
            found += find_swaps(text, library, wish, name, to, block, view)
        except NotThereError as error:
            unfound.append(error)
    if unfound and not found:
        raise unfound[0]
    return found


def swapped_own(text: PlanText, swaps: Sequence[Swap]) -> Made:
    """Return the plan's bytes with own tasks for each first choice, and the plan compiled anew.

    A swap with which the plan would not pass the check any more is left.
    """
    return as_far_as_playable(swaps, lambda kept: _written(text, kept))


def _written(text: PlanText, swaps: Sequence[Swap]) -> Made:
    from handbell.compile import build

    given: dict[Place, list[_Given]] = {}
    for swap in swaps:
        view = swap.view
        swap.said = []
        if view is None:
            continue
        for doing in swap.places:
            values, said = ({"out": True}, []) if swap.out else _own_values(text, doing, swap)
            swap.said += [words for words in said if words not in swap.said]
            n = view.own.get(doing.place)
            given.setdefault(doing.place, []).append(_Given(n, view.bibs, values))
    changes: list[Change] = []
    own: list[OwnTask] = []
    for place, all_given in given.items():
        new: dict[str, list[int]] = {}
        for one in _rewritten(text, place, all_given, changes):
            new.setdefault(json.dumps(one.values), []).extend(one.bibs)
        own += [
            OwnTask(place, {"bibs": sorted(bibs), **json.loads(values)})
            for values, bibs in new.items()
        ]
    data = text.changed([*changes, *rules_kept(text, swaps, changes, own)], own)
    return data, build(parse_plan(data, text.name))


class _Given(NamedTuple):
    """What some bibs get instead; ``n`` is the own task that they had, None for everybody's."""

    n: int | None
    bibs: tuple[int, ...]
    values: Table


def _rewritten(
    text: PlanText, place: Place, given: Sequence[_Given], changes: list[Change]
) -> list[_Given]:
    """Change the own tasks that bibs had, and return what needs tables of its own.

    One whose bibs all get another becomes that one; else they leave it.
    """
    new = [one for one in given if one.n is None]
    for n in sorted({one.n for one in given if one.n is not None}):
        theirs = [one for one in given if one.n == n]
        at = (*place, "scaled", n)
        was = text.at(at)
        gone = {bib for one in theirs for bib in one.bibs}
        stay = [bib for bib in was["bibs"] if bib not in gone]
        first, *others = theirs
        if stay:
            changes.append(Change(at, {"bibs": stay}))
            new += theirs
            continue
        now: Table = dict(first.values)
        if others:
            now["bibs"] = sorted(first.bibs)
        keys = (key for key in (*now, *was) if key not in ("note", *(() if others else ("bibs",))))
        changes.append(Change(at, {k: now.get(k) for k in keys if now.get(k) != was.get(k)}))
        new += others
    return new


def _own_values(text: PlanText, place: Written, swap: Swap) -> tuple[Table, list[str]]:
    """Return an own task's keys but for its bibs, and what to say about them.

    What is as everybody's is left out. Times, sides and kit are everybody's.
    """
    exercise = text.plan.blocks[place.block].exercises[place.at[1]]
    keys, said = new_keys(place.values, swap.old, swap.new, (), True, swap.spare)
    said = [words for words in said if "half time" not in words]
    if swap.new.sides == "one" and not exercise.both_sides:
        said.append("no bell says change sides: they change by themselves")
    elif swap.new.sides != "one" and exercise.both_sides:
        said.append("the bell for changing sides is not for them")
    after = {key: value for key, value in {**place.values, **keys}.items() if value is not None}
    own: Table = {"name": swap.new.name}
    asked: Table = {key: after[key] for key in ("reps", "goal") if key in after}
    if after.get("hold"):
        if not exercise.hold:
            own["hold"] = True
    elif asked:
        if swap.spare:
            said = _no_more(asked, place.values, said, swap.old, swap.new, exercise.work.values)
        if asked != _asked(exercise):
            own.update(asked)
    elif exercise.hold or _asked(exercise):
        own["goal"] = least_goal(swap.new, min(exercise.work.values))
        said.append(f"a goal of {own['goal']} in an open window: no more than the library's least")
    mine = swap.view.own.get(place.place) if swap.view else None
    had = {} if mine is None else text.at((*place.place, "scaled", mine))
    tap = keys["tap"] if "tap" in keys else had.get("tap")
    if tap is not None and not (after.get("hold") and tap not in ("drop", "none")):
        own["tap"] = tap
    return own, said


def _no_more(
    asked: Table,
    was: Table,
    said: list[str],
    old: Entry | None,
    new: Entry,
    works_ms: Sequence[int],
) -> list[str]:
    """Let nobody who is to be spared make more reps than before; return what is left to say.

    Of what goes by much faster, jumps apart, the library's least: eight punches would be over at
    once.
    """
    faster = new.impact != "high" and _goes_by_faster(old, new)
    least = [least_goal(new, work_ms) if faster else 0 for work_ms in works_ms]
    for key, now in list(asked.items()):
        before: Any = was.get(key, now)
        if isinstance(now, list):
            least = least * len(now) if len(least) == 1 else least
            rows = zip(now, before, least, strict=True)
            asked[key] = [min(n, max(was_asked, some)) for n, was_asked, some in rows]
        else:
            asked[key] = min(now, max(before, min(least)))
        if asked[key] != now:
            said = [words for words in said if not re.match(f"{key} .* become", words)]
            as_before = asked[key] == before
            said.append(
                f"no more {key} than before"
                if as_before
                else f"{key} become {shown(asked[key])}, no more than the library's least"
            )
    return said


def _goes_by_faster(old: Entry | None, new: Entry) -> bool:
    """Return whether so many more of one are made that reps of the other say little for it."""
    if old is None or old.reps_30s is None or new.reps_30s is None:
        return False
    return sum(new.reps_30s) >= MUCH_FASTER * sum(old.reps_30s)


def _asked(exercise: Exercise) -> Table:
    asked: Table = {}
    for key in ("reps", "goal"):
        said = getattr(exercise, key)
        if said is not None:
            asked[key] = list(said.values) if said.listed else said.values[0]
    return asked
