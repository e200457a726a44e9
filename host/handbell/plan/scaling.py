"""Per-bib scaling: what some bibs are asked for in a window instead of what the others are."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from handbell.plan import rules

if TYPE_CHECKING:
    from handbell.plan.model import Exercise, Plan, Scaled


def for_bib(exercise: Exercise, bib: int) -> Exercise:
    """Return the exercise as a bib does it."""
    own = next((scaled for scaled in exercise.scaled if bib in scaled.bibs), None)
    return exercise if own is None else _with(exercise, own)


def _with(exercise: Exercise, own: Scaled) -> Exercise:
    changes: dict[str, object] = {"scaled": ()}
    if own.name is not None:
        changes |= {"name": own.name, "parts": ()}
    if _asks(own):
        changes |= {"reps": own.reps, "goal": own.goal, "hold": own.hold, "tap_as": None}
        usual = exercise.model_copy(update=changes | {"tap_as": exercise.tap_as})
        if not rules.tap_fault(usual):
            changes["tap_as"] = exercise.tap_as
    if own.tap_as is not None:
        changes["tap_as"] = own.tap_as
    return exercise.model_copy(update=changes)


def _asks(own: Scaled) -> bool:
    return own.reps is not None or own.goal is not None or own.hold


def of_exercise(exercise: Exercise) -> Iterable[rules.Fault]:
    """Yield what an exercise's scaled tables disagree on, with it or with one another."""
    seen: dict[int, int] = {}
    for n, own in enumerate(exercise.scaled):
        if own.name is None and own.tap_as is None and not _asks(own):
            yield ("scaled", n), "it changes nothing; write a name, reps, a goal, hold or tap"
        for bib in own.bibs:
            if seen.setdefault(bib, n) != n:
                yield (
                    ("scaled", n, "bibs"),
                    f"bib {bib} has its own task in scaled {seen[bib] + 1} already",
                )
        mine = _with(exercise, own)
        yield from ((("scaled", n, *place), fault) for place, fault in rules.of_exercise(mine))
        if (mine.tap.rule == "tally") != (exercise.tap.rule == "tally"):
            yield (
                ("scaled", n, "tap"),
                '"tally" is for everybody at a box or for nobody; write it in both places',
            )


def of_plan(plan: Plan) -> Iterable[rules.Fault]:
    """Yield scaled bibs that nobody wears, and lists that don't match their rounds."""
    known = {bib for group in plan.groups for bib in group.bibs}
    known = known or set(range(1, plan.boxes + 1))
    for b, block in enumerate(plan.blocks):
        for e, exercise in enumerate(block.exercises):
            for n, own in enumerate(exercise.scaled):
                place = ("block", b, "exercise", e, "scaled", n)
                for bib in sorted(set(own.bibs) - known):
                    yield (*place, "bibs"), f"bib {bib} is in no group; take it out"
                for key in ("reps", "goal"):
                    value = getattr(own, key)
                    if value is not None and value.listed and len(value.values) != block.rounds:
                        yield (
                            (*place, key),
                            f"{len(value.values)} entries for {block.rounds} rounds; "
                            "write one entry for each round, or a single number",
                        )
