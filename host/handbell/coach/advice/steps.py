"""From a verdict to the concrete change: reps or goal first, then a step on the ladder."""

from __future__ import annotations

from dataclasses import dataclass, field
from statistics import median
from typing import Any

from handbell.coach.library.entry import Entry, needs_words
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library
from handbell.coach.swap.keys import new_keys
from handbell.coach.swap.rank import Choice, Surroundings, Wish, choices
from handbell_core import timeline as t

from .advice import Case, Ruling, Session, Verdict
from .limits import Limits

RANGE_MS = 30_000  # the library's reps are for windows of this length

Table = dict[str, Any]


@dataclass(frozen=True)
class Step:
    """A change of one exercise: ``keys`` as a plan has them (None: taken out), in ``words``.

    ``rank`` orders steps that other people need in the same exercise.
    """

    keys: Table
    words: str

    @property
    def rank(self) -> str:
        """What makes two steps the same."""
        return repr(sorted(self.keys.items(), key=lambda item: item[0]))


@dataclass(frozen=True)
class Floor:
    """What the next class offers: the plan's ``values`` of the exercise, and what is around it."""

    values: Table
    around: Surroundings = field(default_factory=Surroundings)


def plan_values(session: Session) -> Table:
    """Return how a plan would write a session's exercise; windows and rests left out."""
    values: Table = {"name": session.name}
    if session.ask == t.ASK_HOLD:
        values["hold"] = True
    elif any(session.goals):
        values[_key(session)] = _shortest(session.goals)
    if session.both_sides:
        values["both_sides"] = True
    if session.tap in (t.TAP_FINISH, t.TAP_TALLY, t.TAP_NONE):
        values["tap"] = t.TAPS[session.tap]
    return values


def step_for(
    case: Case, ruling: Ruling, library: Library, limits: Limits, floor: Floor
) -> Step | None:
    """Return what to change, None when nothing is to change or nothing is known that could.

    It starts from the variation that was done, not from the one that was planned for all.
    """
    if ruling.verdict is Verdict.SAME:
        return None
    session = case.last
    entry = library.find(session.name)
    if ruling.late_goals:
        return _goals_step(session, ruling.late_goals)
    if ruling.verdict is Verdict.HARDER:
        return _more(session, entry, limits) or _along(session, entry, library, floor, "too-easy")
    if ruling.verdict is Verdict.EASIER:
        return _fewer(case, entry, limits) or _along(session, entry, library, floor, "too-hard")
    return _along(session, entry, library, floor, None)


def _more(session: Session, entry: Entry | None, limits: Limits) -> Step | None:
    """Return more reps, as long as they stay within what the library thinks sensible."""
    goals = tuple(g + _by(g, session, entry, limits) for g in session.goals if g)
    if len(goals) != len(session.goals):
        return None
    windows = [e.window_ms for e in session.tries]
    if entry is not None and any(
        g > _sensible(entry, w)[1] for g, w in zip(goals, windows, strict=True)
    ):
        return None
    return _goals_step(session, goals)


def _fewer(case: Case, entry: Entry | None, limits: Limits) -> Step | None:
    """Return fewer reps: what was done of late, and at least one step down."""
    session = case.last
    if not all(session.goals):
        return None
    goals = []
    for n, goal in enumerate(session.goals):
        down = goal - _by(goal, session, entry, limits)
        done = [s.tries[n].reps for s in case.sessions[-2:] if len(s.tries) > n]
        known = [d for d in done if d]
        if known and session.tap != t.TAP_FINISH:
            down = min(down, int(median(known)))
        goals.append(down - down % _least(session, entry))
    least = [_sensible(entry, e.window_ms)[0] if entry else 1 for e in session.tries]
    if any(g < max(low, 1) for g, low in zip(goals, least, strict=True)):
        return None
    return _goals_step(session, tuple(goals))


def _by(goal: int, session: Session, entry: Entry | None, limits: Limits) -> int:
    """Return by how many reps a goal changes: the percentage, but a whole step at least."""
    least = _least(session, entry)
    return max(int(goal * limits.step.percent / 100) // least, 1) * least


def _least(session: Session, entry: Entry | None) -> int:
    """Return 2 where sides take turns and both are counted."""
    turns = session.both_sides or (entry is not None and entry.sides != "both")
    return 2 if turns else 1


def _sensible(entry: Entry, window_ms: int) -> tuple[float, float]:
    if entry.reps_30s is None:
        return 0, 0
    least, most = entry.reps_30s
    return least * window_ms / RANGE_MS, most * window_ms / RANGE_MS


def _goals_step(session: Session, goals: tuple[int, ...]) -> Step:
    key = _key(session)
    new = _shortest(goals)
    was = _shortest(session.goals)
    noun = "reps" if key == "reps" else "as the goal"
    return Step({key: new}, f"{_said(new)} {noun}, not {_said(was)}")


def _key(session: Session) -> str:
    return "reps" if session.ask == t.ASK_TARGET else "goal"


def _shortest(goals: tuple[int, ...]) -> int | list[int]:
    return goals[0] if len(set(goals)) == 1 else list(goals)


def _said(goals: int | list[int]) -> str:
    return str(goals) if isinstance(goals, int) else "-".join(map(str, goals))


def _along(
    session: Session, entry: Entry | None, library: Library, floor: Floor, because: str | None
) -> Step | None:
    """Return the nearest exercise on the ladder that way, without kit that isn't there."""
    if entry is None:
        return None
    have = floor.around.kit | {"wall"} | {name_key(i) for need in entry.kit for i in need}
    choice = _nearest(entry, library, floor.around, because, have)
    if choice is None:
        return None
    new = choice.entry
    keys, _ = new_keys({**floor.values, **plan_values(session)}, entry, new)
    if because == "too-easy":
        _begin_in_the_middle(keys, session, new)
    reps = next((f", {_said(keys[k])} reps" for k in ("reps", "goal") if keys.get(k)), "")
    notes = [f"needs {needs_words(new.kit)}"] if _new_kit(new, have) else []
    notes += ["needs practice"] if new.skill and not entry.skill else []
    notes += ["a hold"] if new.is_hold and not entry.is_hold else []
    said = f" ({'; '.join(notes)})" if notes else ""
    return Step(keys, f"{new.name}{reps} in place of {session.name}{said}")


def _nearest(
    entry: Entry,
    library: Library,
    around: Surroundings,
    because: str | None,
    have: frozenset[str] | set[str],
) -> Choice | None:
    """Return one step on the ladder without new kit, else any that way without, else any.

    Where no way is meant it is one of the same level first, and never an easier one.
    """
    found = [
        c
        for c in choices(library, entry, Wish(because), around)
        if c.entry.id not in around.in_plan  # nobody does the same twice
    ]
    if because == "too-easy":
        near = {e.id for e in library.harder(entry)}
    elif because == "too-hard":
        near = {e.id for e in library.easier(entry)}
    else:
        found = [c for c in found if c.entry.level >= entry.level]
        near = {c.entry.id for c in found if c.entry.level == entry.level}
    there = [c for c in found if not _new_kit(c.entry, have)]
    return next(iter([c for c in there if c.entry.id in near] or there or found), None)


def _new_kit(entry: Entry, have: frozenset[str] | set[str]) -> bool:
    return any(not have & {name_key(item) for item in need} for need in entry.kit)


def _begin_in_the_middle(keys: Table, session: Session, new: Entry) -> None:
    """Let a harder exercise begin in the middle of its own range, not at the top of it."""
    if new.reps_30s is None:
        return
    step = 1 if new.sides == "both" else 2
    for key in ("reps", "goal"):
        value = keys.get(key, plan_values(session).get(key))
        if value is None:
            continue
        goals = value if isinstance(value, list) else [value]
        capped = []
        for goal, one in zip(goals, session.tries, strict=False):
            middle = int(sum(_sensible(new, one.window_ms)) / 2)
            capped.append(max(min(goal, middle - middle % step), step))
        keys[key] = capped if isinstance(value, list) else min(capped)
