"""Lists gone through as often as can be: easier brings no more landings with quicker rounds."""

from __future__ import annotations

from dataclasses import replace

from handbell.coach.library.lists import timed
from handbell.coach.library.shelf import Library
from handbell.coach.writing.edit import Written
from handbell.plan.model import Exercise
from handbell.plan.parts import Part

from .task_steps import Changes, TaskStep

ROUNDED = 1 + 1e-9  # the same, but for how floats are rounded


def spare_landings(
    exercise: Exercise,
    places: list[Written],
    library: Library,
    changes: Changes,
    told: list[TaskStep],
) -> bool:
    """Lower the reps of what lands until a list has no more landings than before; False if none do.

    ``places`` are those of its parts, ``told`` says what becomes of each. Its rounds get quicker
    where other parts do, and each round has its landings.
    """
    most = _landings(exercise, library)
    while True:
        new = [
            _part(part, changes.get(place.place, {}))
            for part, place in zip(exercise.parts, places, strict=True)
        ]
        now = _landings(exercise.model_copy(update={"parts": tuple(new)}), library)
        if all(n <= m * ROUNDED for n, m in zip(now, most, strict=True)):
            return True
        lands = [(_hard(part, library), n) for n, part in enumerate(new)]
        count, n = max(lands)
        step = 2 if new[n].both_sides else 1
        left = (new[n].reps or 0) - step
        if not count or left < 1:
            return False
        changes.setdefault(places[n].place, {})["reps"] = left
        told[n] = replace(told[n], now=(left,))


def _part(part: Part, keys: dict[str, object]) -> Part:
    return part.model_copy(update={k: v for k, v in keys.items() if k in ("name", "reps")})


def _hard(part: Part, library: Library) -> int:
    """Return how many hard landings a part has in a round."""
    entry = library.find(part.name)
    return entry.landings * (part.reps or 0) if entry and entry.impact == "high" else 0


def _landings(exercise: Exercise, library: Library) -> tuple[float, float]:
    """Return how many landings a list likely has in a second, at the slow end and at the fast."""
    count = sum(_hard(part, library) for part in exercise.parts)
    parts = timed(exercise, library) if count else None
    if parts is None:
        return 0, 0
    return count / sum(p.slow_ms for p in parts), count / sum(p.fast_ms for p in parts)
