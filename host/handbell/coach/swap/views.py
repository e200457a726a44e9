"""What single bibs do in a plan, own tasks and all."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from handbell.base.errors import UsageError
from handbell.coach.writing.edit import PlanText, Written
from handbell.plan.agreement import Place
from handbell.plan.model import Exercise, PerRound, does, with_own
from handbell.plan.own_tasks import bibs_words, everybody, plain
from handbell.plan.shorthands import asks_each

Table = dict[str, Any]


@dataclass(frozen=True)
class View:
    """Bibs that do the same all through a plan, and what they do.

    ``own`` has the number of the own task they have there, by place; ``shared`` are places in a
    list that everybody goes through, which has no own tasks; ``left`` is what they leave out, as
    everybody does it.
    """

    bibs: tuple[int, ...]
    doings: list[Written]
    own: dict[Place, int]
    shared: frozenset[Place]
    left: list[Written]


def require_bibs(text: PlanText, bibs: Iterable[int]) -> None:
    """Raise UsageError for a bib that the plan hasn't."""
    there = everybody(text.plan)
    for bib in bibs:
        if bib not in there:
            raise UsageError(f"{text.name} has no bib {bib}", f"It has {bibs_words(there)}")


def views(text: PlanText, bibs: Sequence[int]) -> list[View]:
    """Return what bibs of a plan do, those together who do the same."""
    found: dict[str, tuple[list[int], View]] = {}
    for bib in sorted(set(bibs)):
        view = _view(text, bib)
        done = [[(w.place, w.values) for w in some] for some in (view.doings, view.left)]
        key = repr(done) + repr(view.own)
        found.setdefault(key, ([], view))[0].append(bib)
    return [dataclasses.replace(v, bibs=tuple(b)) for b, v in found.values()]


def _view(text: PlanText, bib: int) -> View:
    plan = text.plan
    group = next((group for group in plan.groups if bib in group.bibs), None)
    doings: list[Written] = []
    own: dict[Place, int] = {}
    shared: set[Place] = set()
    left: list[Written] = []
    for b, block in enumerate(plan.blocks):
        is_list = not asks_each(block.format) and block.format != "ladder"
        for e, exercise in enumerate(block.exercises):
            if group is not None and not does(group, exercise):
                continue
            at: Place = ("block", b, "exercise", e)
            n = next((n for n, s in enumerate(exercise.scaled) if bib in s.bibs), None)
            if n is not None:
                own[at] = n
            task = plain(exercise) if n is None else with_own(exercise, exercise.scaled[n])
            if task.is_left_out:
                left += [Written(at, _values(plain(exercise)))] if not exercise.parts else []
                continue
            if not task.parts:
                doings.append(Written(at, _values(task)))
                continue
            parts = [w for w in text.exercises if w.block == b and (is_list or w.at[1] == e)]
            doings += parts
            shared.update(part.place for part in parts)
    return View((bib,), doings, own, frozenset(shared), left)


def _values(task: Exercise) -> Table:
    """Return a task's keys as a plan has them, but for kit, which is everybody's."""
    values: Table = {"name": task.name}
    for key in ("reps", "goal"):
        said: PerRound | None = getattr(task, key)
        if said is not None:
            values[key] = list(said.values) if said.listed else said.values[0]
    if task.hold:
        values["hold"] = True
    if task.tap_as is not None:
        tap = task.tap_as
        values["tap"] = {"every": tap.every} if tap.rule == "every" else tap.rule
    if task.both_sides:
        values["both_sides"] = True
    return values
