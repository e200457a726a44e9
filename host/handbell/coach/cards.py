"""Station cards and a one-page timetable: what stands on them, before they are laid out.

In a rotation each station has a card for each block, with its exercise. In lanes each exercise has
a card for the wall, and each station one with its exercises in turn.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handbell.coach.library_names import one_of
from handbell.compile.layouts import Floor
from handbell.plan.pauses import steps_of

if TYPE_CHECKING:
    from handbell.coach.library import Library
    from handbell.coach.library_entry import Entry
    from handbell.compile import CompiledClass
    from handbell.plan.model import Block, Exercise, Plan

OPTIONS_MOST = 2
LIST_MOST = 6
TAPS = {
    "each": "Tap each rep.",
    "finish": "Tap once when you have made it.",
    "tally": "Count; tap the number in afterwards.",
    "drop": "Tap when you lose it.",
    "none": "",
}


@dataclass(frozen=True)
class Card:
    """A card with one exercise; options are names, nearest first."""

    head: str
    place: str
    name: str
    task: str
    tap: str
    easier: tuple[str, ...]
    harder: tuple[str, ...]
    how: str
    lever: str
    caution: str


@dataclass(frozen=True)
class LaneBlock:
    """A block as a lane goes through it: a name and a task for each exercise."""

    title: str
    exercises: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class LaneCard:
    """A card with everything a station does in lanes; ``people`` are a group and its bibs."""

    head: str
    people: str
    blocks: tuple[LaneBlock, ...]


def cards_of(built: CompiledClass, library: Library) -> list[Card | LaneCard]:
    """Return a plan's cards in the order of stations and blocks."""
    plan = built.plan
    if plan.is_rotation:
        return [
            _card(plan, b, box, plan.label(box), library)
            for box in range(plan.boxes)
            for b in range(len(plan.blocks))
        ]
    walls: dict[Card, None] = {}
    for b, block in enumerate(plan.blocks):
        for e in range(len(block.exercises)):
            walls[_card(plan, b, e, plan.title, library)] = None
    return [*_lane_cards(plan), *walls]


def _card(plan: Plan, b: int, e: int, head: str, library: Library) -> Card:
    block = plan.blocks[b]
    exercise = block.exercises[e]
    entry = library.find(exercise.name)
    return Card(
        head,
        _place(plan, b, e),
        exercise.name,
        task_words(exercise),
        tap_words(exercise),
        _names(library.easier(entry), entry, -1) if entry else (),
        _names(library.harder(entry), entry, 1) if entry else (),
        entry.how if entry else "",
        entry.lever if entry else "",
        entry.cautions if entry else "",
    )


def _names(found: Iterable[Entry], entry: Entry, way: int) -> tuple[str, ...]:
    """Return the options nearest in level, the same kit or none first."""
    kit = {item for need in entry.kit for item in need}

    def key(other: Entry) -> tuple[int, int, str]:
        new = sum(not kit & set(need) for need in other.kit)
        return new, way * other.level, other.name

    return tuple(other.name for other in sorted(found, key=key))[:OPTIONS_MOST]


def _place(plan: Plan, b: int, e: int) -> str:
    block = plan.blocks[b]
    count = len(block.exercises)
    number = f"{e + 1} of {count}" if count > 1 and not plan.is_rotation else ""
    return ", ".join(word for word in (block_title(plan, b), number, rounds_words(block)) if word)


def block_title(plan: Plan, b: int) -> str:
    """Return what a block is called."""
    return plan.blocks[b].name or (f"Block {b + 1}" if len(plan.blocks) > 1 else "")


def task_words(exercise: Exercise) -> str:
    """Return what an exercise asks for: ``10 reps in 30 s``; lists round by round."""
    times = f"{_list(n / 1000 for n in exercise.work.values)} s"
    if exercise.hold:
        words = f"hold {times}"
    elif exercise.reps is not None:
        words = f"{_list(exercise.reps.values)} reps in {times}"
    elif exercise.goal is not None:
        words = f"{times}, goal {_list(exercise.goal.values)}"
    else:
        words = times
    return f"{words}, both sides" if exercise.both_sides else words


def short_task(exercise: Exercise) -> str:
    """Return what an exercise asks for on a line beside its name."""
    return task_words(exercise).replace(" reps in ", " in ")


def tap_words(exercise: Exercise) -> str:
    """Return how people tap, empty for not at all."""
    if exercise.tap.rule == "every":
        return f"Tap every {exercise.tap.every} reps."
    return TAPS[exercise.tap.rule]


def _list(values: Iterable[float]) -> str:
    found = [f"{value:g}" for value in values]
    if len(set(found)) == 1:
        return found[0]
    if len(found) > LIST_MOST:
        found[LIST_MOST - 1 : -1] = ["..."]
    return ", ".join(found)


def rounds_words(block: Block) -> str:
    """Return how many rounds a block has."""
    return "1 round" if block.rounds == 1 else f"{block.rounds} rounds"


def _lane_cards(plan: Plan) -> Iterator[LaneCard]:
    floor = Floor(plan)
    alike = not plan.groups and not plan.stations and not any(b.order for b in plan.blocks)
    for box in range(1 if alike else plan.boxes):
        track = floor.track(box)
        blocks = []
        for b, block in enumerate(plan.blocks):
            order = (floor.exercise(track, b, step) for step in range(steps_of(plan, block)))
            exercises = (block.exercises[e] for e in order)
            title = ", ".join(word for word in (block_title(plan, b), rounds_words(block)) if word)
            tasks = tuple((e.name, short_task(e)) for e in exercises)
            blocks.append(LaneBlock(title, tasks))
        yield LaneCard(plan.title if alike else plan.label(box), _people(plan, box), tuple(blocks))


def _people(plan: Plan, box: int) -> str:
    if not plan.groups:
        return ""
    group = plan.groups[box]
    return f"{group.name}: {', '.join(map(str, group.bibs))}"


def kit_words(plan: Plan, library: Library) -> str:
    """Return the kit that a plan's exercises name, as far as it or the library says."""
    found: dict[str, None] = {}
    for block in plan.blocks:
        for exercise in block.exercises:
            entry = library.find(exercise.name)
            for need in exercise.kit:
                found[need.kit] = None
            for alternatives in entry.kit if entry and not exercise.kit else ():
                found[one_of(alternatives)] = None
    return ", ".join(f"{plan.kit[item]} x {item}" if item in plan.kit else item for item in found)
