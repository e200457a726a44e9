"""What the library makes worth saying about a plan; never a fault, always the coach's choice."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from handbell.coach.library_names import name_key, name_words, one_of
from handbell.plan.faults import sentence
from handbell.plan.pauses import pauses_after, places
from handbell.plan.texts import quoted
from handbell_core.timeline import GATE

if TYPE_CHECKING:
    from handbell.coach.library import Library
    from handbell.coach.library_entry import Entry
    from handbell.plan.model import Plan

RECOVERED_MS = 60_000  # after a pause this long what was tired may be used again
UNKNOWN_MOST = 5
_PRACTICE = {"practice", "practise", "technique", "drill", "skill"}

Window = tuple[int, int]  # block and exercise, from 0


def coach_remarks(plan: Plan, library: Library) -> list[str]:
    """Return warnings, each naming its place."""
    return [
        *_before_and_after(plan),
        *_format(plan, library),
        *_skills(plan, library),
        *_loads(plan, library),
        *_unknown(plan, library),
    ]


def _before_and_after(plan: Plan) -> Iterator[str]:
    for key, parts, word in (
        ("warm_up", plan.warm_up, "warm-up"),
        ("cool_down", plan.cool_down, "cool-down"),
    ):
        if not parts:
            yield sentence(
                (key,), f"the plan has no {word}; add [[{key}]], or lead one outside the plan"
            )


def _format(plan: Plan, library: Library) -> Iterator[str]:
    """Compare each block with the format, exercise by exercise, as far as both go."""
    for b, block in enumerate(plan.blocks):
        for e, (exercise, slot) in enumerate(zip(block.exercises, library.format, strict=False)):
            entry = library.find(exercise.name)
            if entry and "any" not in slot and not set(slot) & set(entry.patterns):
                yield sentence(
                    ("block", b, "exercise", e),
                    f"{quoted(exercise.name)} has the pattern {entry.pattern}, and your format has "
                    f"{one_of(slot)} here",
                )


def _skills(plan: Plan, library: Library) -> Iterator[str]:
    practised = [name_words(part.name) for part in plan.warm_up]
    said: set[str] = set()
    for b, block in enumerate(plan.blocks):
        if _PRACTICE & set(name_words(block.name or "")):
            practised += [name_words(exercise.name) for exercise in block.exercises]
        for e, exercise in enumerate(block.exercises):
            entry = library.find(exercise.name)
            if not entry or not entry.skill or entry.id in said:
                continue
            said.add(entry.id)
            if not any(_names(words, entry) for words in practised):
                yield sentence(
                    ("block", b, "exercise", e),
                    f"{quoted(exercise.name)} needs skill and is not practised before; name it "
                    'in a [[warm_up]], or in an earlier block called "Practice"',
                )


def _names(words: list[str], entry: Entry) -> bool:
    joined = "".join(words)
    return any(name_key(name) in joined for name in entry.names)


def followings(plan: Plan) -> Iterator[tuple[Window, Window]]:
    """Yield each window and the one that follows it before people have recovered, once each.

    An exercise that follows itself, as in a block of one, is meant so and left out.
    """
    seen = set()
    for b, block in enumerate(plan.blocks):
        order = list(places(plan, block))
        for n, place in enumerate(order):
            after = pauses_after(plan, b, place)
            if n + 1 < len(order):
                coming = (b, order[n + 1].step)
            elif b + 1 < len(plan.blocks):
                coming = (b + 1, 0)
            else:
                continue
            pair = ((b, place.step), coming)
            rested = sum(pause.duration_ms for pause in after) >= RECOVERED_MS
            if rested or any(pause.kind == GATE for pause in after):
                continue
            if pair[0] != pair[1] and pair not in seen:
                seen.add(pair)
                yield pair
        # In a rotation other groups go from the last station to the first within a round.
        wrap = ((b, len(block.exercises) - 1), (b, 0))
        if plan.is_rotation and ((b, 0), (b, 1)) in seen and wrap not in seen:
            seen.add(wrap)
            yield wrap


def shared_load(one: Entry, other: Entry) -> list[str]:
    """Return what both exercises tire."""
    return [part for part in one.tires if part in other.tires]


def _loads(plan: Plan, library: Library) -> Iterator[str]:
    said: set[frozenset[Window]] = set()
    for (b, e), (b_next, e_next) in followings(plan):
        first, second = plan.blocks[b].exercises[e], plan.blocks[b_next].exercises[e_next]
        one, other = library.find(first.name), library.find(second.name)
        if not one or not other or one is other:
            continue
        both = frozenset(((b, e), (b_next, e_next)))
        shared = shared_load(one, other)
        if shared and both not in said:
            said.add(both)
            yield sentence(
                ("block", b_next, "exercise", e_next),
                f"{quoted(second.name)} comes straight after {quoted(first.name)}, and both tire "
                f"the {one_of(shared, 'and')}",
            )


def _unknown(plan: Plan, library: Library) -> Iterator[str]:
    names: dict[str, None] = {}
    for block in plan.blocks:
        for exercise in block.exercises:
            if library.find(exercise.name) is None:
                names[quoted(exercise.name)] = None
    if names:
        shown = list(names)[:UNKNOWN_MOST]
        more = len(names) - len(shown)
        words = one_of([*shown, f"{more} more"] if more else shown, "and")
        yield f"{words}: not in the library, so nothing is said about {_it(len(names))}"


def _it(count: int) -> str:
    return "it" if count == 1 else "them"
