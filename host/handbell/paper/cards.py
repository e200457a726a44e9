"""Station cards and a one-page timetable: what stands on them, before they are laid out.

In a rotation each station has a card for each block, with its exercise. In lanes each exercise has
a card for the wall, and each station one with its exercises in turn.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from handbell.base.times import clock
from handbell.base.words import listed
from handbell.coach.library.names import name_key
from handbell.plan.own_tasks import Own, Tasks, each_task, everybody, tasks_of
from handbell.plan.parts import parts_words

from .reps import ladder_words, values_words

if TYPE_CHECKING:
    from handbell.coach.library.entry import Entry
    from handbell.coach.library.shelf import Library
    from handbell.compile import CompiledClass
    from handbell.compile.schedule import Schedule
    from handbell.plan.model import Block, Exercise, Plan

OPTIONS_MOST = 2
TAPS = {
    "each": "Tap each rep.",
    "finish": "Tap once when you have made it.",
    "tally": "Count; tap the number in afterwards.",
    "drop": "Tap when you let go.",
    "none": "",
}


@dataclass(frozen=True)
class Card:
    """A card with one exercise; options are names, nearest first, ``own`` in words."""

    head: str
    place: str
    name: str
    task: str
    parts: tuple[str, ...]
    tap: str
    own: tuple[Own[str], ...]
    easier: tuple[str, ...]
    harder: tuple[str, ...]
    how: str
    lever: str
    caution: str


class LaneLine(NamedTuple):
    """An exercise on a lane's card, and the own tasks of its people in words."""

    name: str
    task: str
    own: tuple[Own[str], ...]


@dataclass(frozen=True)
class LaneBlock:
    """A block as a lane goes through it."""

    title: str
    exercises: tuple[LaneLine, ...]


@dataclass(frozen=True)
class LaneCard:
    """A card with everything a station does in lanes; ``people`` are a group and its bibs."""

    head: str
    people: str
    blocks: tuple[LaneBlock, ...]


def cards_of(built: CompiledClass, library: Library) -> list[Card | LaneCard]:
    """Return a plan's cards in the order of stations and blocks."""
    plan, schedule = built.plan, built.schedule
    rounds = [rounds_words(block) for block in plan.blocks]
    if plan.is_rotation:
        return [
            _card(schedule, b, box, plan.label(box), rounds[b], library)
            for box in range(plan.boxes)
            for b in range(len(plan.blocks))
        ]
    walls: dict[Card, None] = {}
    for b, block in enumerate(plan.blocks):
        for e in range(len(block.exercises)):
            walls[_card(schedule, b, e, plan.title, rounds[b], library)] = None
    return [*_lane_cards(schedule), *walls]


def _card(schedule: Schedule, b: int, e: int, head: str, rounds: str, library: Library) -> Card:
    tasks = schedule.asked(b, e)
    exercise = tasks.most
    entries = [entry for name in exercise.names if (entry := library.find(name)) is not None]
    alone = entries[0] if entries and not exercise.parts else None
    return Card(
        head,
        _place(schedule.plan, b, e, rounds),
        exercise.name,
        task_words(exercise),
        tuple(part.words for part in exercise.parts),
        tap_words(exercise),
        own_words(tasks),
        _options(entries, library.easier, -1, exercise),
        _options(entries, library.harder, 1, exercise),
        alone.how if alone else "",
        alone.lever if alone else "",
        " ".join(dict.fromkeys(entry.cautions for entry in entries if entry.cautions)),
    )


def _options(
    entries: Sequence[Entry],
    next_to: Callable[[Entry], Iterable[Entry]],
    way: int,
    exercise: Exercise,
) -> tuple[str, ...]:
    """Return what may be done instead; for a list, one for each of its parts."""
    named = [(entry, _names(next_to(entry), entry, way)) for entry in entries]
    if not exercise.parts:
        return named[0][1] if named else ()
    return tuple(f"{names[0]} for {entry.name}" for entry, names in named if names)


def _names(found: Iterable[Entry], entry: Entry, way: int) -> tuple[str, ...]:
    """Return the options nearest in level, the same kit or none first."""
    kit = {item for need in entry.kit for item in need}

    def key(other: Entry) -> tuple[int, int, str]:
        new = sum(not kit & set(need) for need in other.kit)
        return new, way * other.level, other.name

    return tuple(other.name for other in sorted(found, key=key))[:OPTIONS_MOST]


def _place(plan: Plan, b: int, e: int, rounds: str) -> str:
    count = len(plan.blocks[b].exercises)
    number = f"{e + 1} of {count}" if count > 1 and not plan.is_rotation else ""
    return ", ".join(word for word in (block_title(plan, b), number, rounds) if word)


def block_title(plan: Plan, b: int) -> str:
    """Return what a block is called."""
    return plan.blocks[b].name or (f"Block {b + 1}" if len(plan.blocks) > 1 else "")


def task_words(exercise: Exercise) -> str:
    """Return what an exercise asks for: ``10 reps in 30 s``; lists round by round."""
    times = f"{values_words(n / 1000 for n in exercise.work.values)} s"
    if exercise.parts:
        times = " then ".join(clock(ms) for ms in exercise.work.values)
    asked = asked_words(exercise)
    if exercise.hold:
        words = f"hold the position for {times}"
    elif exercise.reps is not None and ladder_words(exercise.reps.values):
        each = {exercise.work.at(r) / n for r, n in enumerate(exercise.reps.values, 1)}
        words = (
            f"{asked}; {each.pop() / 1000:g} s a rep" if len(each) == 1 else f"{asked}, in {times}"
        )
    elif exercise.reps is not None:
        words = f"{asked} in {times}"
    else:
        words = f"{times}, {asked}" if asked else times
    return f"{words}, both sides" if exercise.both_sides else words


def asked_words(exercise: Exercise) -> str:
    """Return what an exercise asks for in its time: ``10 reps``, empty for nothing."""
    if exercise.hold:
        return "hold"
    if exercise.reps is not None:
        unit = exercise.unit
        many = "s" if set(exercise.reps.values) != {1} else ""
        if ladder := ladder_words(exercise.reps.values):
            return ladder.format(f"{unit}{many}")
        return f"{values_words(exercise.reps.values)} {unit}{many}"
    rounds = " rounds" if exercise.parts else ""
    if exercise.goal is not None:
        return f"goal {values_words(exercise.goal.values)}{rounds}"
    if exercise.hands_over:
        return "one at a time, as many legs as you can"
    return "as many rounds as you can" if exercise.parts else ""


def whole_task(exercise: Exercise) -> str:
    """Return what an exercise asks for, with the parts of a list."""
    parts = parts_words(exercise.parts)
    return f"{task_words(exercise)}: {parts}" if parts else task_words(exercise)


def short_task(exercise: Exercise) -> str:
    """Return what an exercise asks for on a line beside its name."""
    return task_words(exercise).replace(" reps in ", " in ", 1)


def tap_words(exercise: Exercise) -> str:
    """Return how people tap, empty for not at all."""
    if exercise.tap.rule == "every":
        return f"Tap every {exercise.tap.every} {exercise.unit}s."
    if exercise.hands_over:
        return "One at a time; tap to hand over."
    if exercise.parts and exercise.tap.rule == "each":
        return "Tap each round."
    return TAPS[exercise.tap.rule]


def own_words(tasks: Tasks[Exercise]) -> tuple[Own[str], ...]:
    """Return own tasks in words: as far as they differ from what most do, the time left out."""
    return tuple(Own(own.bibs, _instead(own.what, tasks.most)) for own in tasks.own)


def _instead(own: Exercise, most: Exercise) -> str:
    if own.is_left_out:
        return own.name
    name = own.name if own.name != most.name else ""
    asked = asked_words(own) if name or asked_words(own) != asked_words(most) else ""
    tap = (tap_words(own) or "No taps.") if own.tap != most.tap else ""
    return ", ".join(word for word in (name, asked, tap[:1].lower() + tap[1:-1]) if word)


def rounds_words(block: Block) -> str:
    """Return how many rounds a block has; empty where a list has rounds of its own."""
    if block.relay:
        return f"{block.rounds * len(block.exercises)} legs, one person at a time"
    if block.rounds == 1 and all(exercise.parts for exercise in block.exercises):
        return ""
    return "1 round" if block.rounds == 1 else f"{block.rounds} rounds"


def _lane_cards(schedule: Schedule) -> Iterator[LaneCard]:
    plan = schedule.plan
    alike = not plan.groups and not plan.stations and not any(b.order for b in plan.blocks)
    for box in range(1 if alike else plan.boxes):
        bibs = everybody(plan) if alike else schedule.bibs(box)
        blocks = []
        for b, block in enumerate(plan.blocks):
            steps = schedule.posts[b][: len(block.exercises)]  # a relay has more: each leg
            exercises = (step[box].exercise for step in steps)
            title = ", ".join(word for word in (block_title(plan, b), rounds_words(block)) if word)
            lines = (_lane_line(tasks_of(exercise, bibs)) for exercise in exercises)
            blocks.append(LaneBlock(title, tuple(lines)))
        yield LaneCard(plan.title if alike else plan.label(box), _people(plan, box), tuple(blocks))


def _lane_line(tasks: Tasks[Exercise]) -> LaneLine:
    most = tasks.most
    if most.parts:
        return LaneLine(task_words(most), parts_words(most.parts), own_words(tasks))
    return LaneLine(most.name, short_task(most), own_words(tasks))


def _people(plan: Plan, box: int) -> str:
    if not plan.groups:
        return ""
    group = plan.groups[box]
    return f"{group.name}: {', '.join(map(str, group.bibs))}"


def kit_words(plan: Plan, library: Library) -> str:
    """Return the kit that a plan's exercises name, as far as it or the library says."""
    found: dict[frozenset[str], str] = {}
    for block in plan.blocks:
        for exercise in block.exercises:
            found |= {_any_of((need.kit,)): need.kit for need in exercise.kit}
            for task, bibs in each_task(exercise):
                said = exercise.kit and task.name == exercise.name
                entries = [] if said else [library.find(name) for name in task.names]
                for need in (need for entry in entries if entry for need in entry.kit):
                    if not bibs or not any(_any_of(need) & met for met in found):
                        found.setdefault(_any_of(need), listed(need, "or"))
    counts = {item: f"{plan.kit[item]} x {item}" for item in plan.kit}
    return "; ".join(counts.get(item, item) for item in found.values())


def _any_of(need: Iterable[str]) -> frozenset[str]:
    """Return kit that meets a need as what is the same however it is written."""
    return frozenset(name_key(item) for item in need)
