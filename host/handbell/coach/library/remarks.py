"""What the library makes worth saying about a plan; never a fault, always the coach's choice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from typing import TYPE_CHECKING

from handbell.base.words import listed, quoted, several
from handbell.plan.faults import sentence
from handbell.plan.own_tasks import bibs_words, every_task, others_than_own

from .apart import breach_words, breaches
from .following import Following, Window, in_turn, shared_load
from .names import name_key, name_words

if TYPE_CHECKING:
    from handbell.compile.schedule import Schedule
    from handbell.plan.agreement import Place
    from handbell.plan.model import Exercise, Plan

    from .entry import Entry
    from .shelf import Library


UNKNOWN_MOST = 5
_PRACTICE = {"practice", "practise", "technique", "drill", "skill"}

_TAPPED = {
    "each": "each rep",
    "every": "during the reps",
    "finish": "at the end",
    "tally": "a tally",
}
_TAP_WRITTEN = {
    "each": '"each"',
    "every": "{ every = 5 }",
    "finish": '"finish"',
    "tally": '"tally"',
    "none": '"none"',
}


def coach_remarks(schedule: Schedule, library: Library) -> list[str]:
    """Return warnings, each naming its place."""
    plan, following = schedule.plan, Following(schedule)
    return [
        *_before_and_after(plan),
        *_format(plan, library),
        *_skills(plan, library),
        *_loads(plan, following, library),
        *breach_words(plan, breaches(schedule, following)),
        *_taps(plan, library),
        *_sides(plan, library),
        *_kit(plan, library),
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
    for place, name in doings(plan):
        slot = dict(enumerate(library.format)).get(_position(place), ("any",))
        entry = library.find(name)
        if entry and "any" not in slot and not set(slot) & set(entry.patterns):
            yield sentence(
                place,
                f"{quoted(name)} has the pattern {entry.pattern}, and your format has "
                f"{listed(slot, 'or')} here",
            )


def doings(plan: Plan) -> Iterator[tuple[Place, str]]:
    """Yield everything that is done, by name, with its place: tasks, and the parts of lists."""
    for place, exercise, _ in every_task(plan):
        if exercise.is_left_out:
            continue
        short = plan.blocks[int(place[1])].format is not None
        for n, name in enumerate(exercise.names):
            if not exercise.parts:
                yield place, name
            elif short:  # the coach wrote each part as an exercise
                yield (*place[:2], "exercise", n), name
            else:
                yield (*place, "part", n), name


def _position(place: Place) -> int:
    """Return which of a block's exercises something is, or which part of its list."""
    return int(place[5] if "part" in place else place[3])


def _window(place: Place) -> Window:
    """Return which block and exercise a place of a task is in."""
    return int(place[1]), int(place[3])


def _skills(plan: Plan, library: Library) -> Iterator[str]:
    for place, name in unpractised(plan, library):
        yield sentence(
            place,
            f"{quoted(name)} needs skill and is not practised before; name it "
            "in a [[practice]] before",
        )


def unpractised(plan: Plan, library: Library) -> Iterator[tuple[Place, str]]:
    """Yield what needs skill and is not practised before, where it is done first."""
    practised = [name_words(part.name) for part in plan.opening]
    said: set[str] = set()
    for b, in_block in groupby(doings(plan), key=lambda doing: _window(doing[0])[0]):
        here = list(in_block)
        if _PRACTICE & set(name_words(plan.blocks[b].name or "")):
            practised += [name_words(name) for _, name in here]
        for place, name in here:
            entry = library.find(name)
            if not entry or not entry.skill or entry.id in said:
                continue
            said.add(entry.id)
            if not any(_names(words, entry) for words in practised):
                yield place, name


def _names(words: list[str], entry: Entry) -> bool:
    joined = "".join(words)
    return any(name_key(name) in joined for name in entry.names)


def _loads(plan: Plan, following: Following, library: Library) -> Iterator[str]:
    blocks = plan.blocks
    said: set[tuple[frozenset[Window], frozenset[str]]] = set()
    for ((b, e), (b_next, e_next)), everybody in following.soon.items():
        windows = frozenset(((b, e), (b_next, e_next)))
        first, second = blocks[b].exercises[e], blocks[b_next].exercises[e_next]
        for (before, after), bibs in in_turn(first, second, everybody).items():
            one, other = library.find(before), library.find(after)
            if not one or not other or one is other:
                continue
            which = (windows, frozenset((one.id, other.id)))
            shared = shared_load(one, other)
            if shared and which not in said:
                said.add(which)
                whom = f"for {bibs_words(bibs)}, " if bibs else ""
                yield sentence(
                    ("block", b_next, "exercise", e_next),
                    f"{whom}{quoted(after)} comes straight after {quoted(before)}, and both tire "
                    f"the {listed(shared)}",
                )


def _taps(plan: Plan, library: Library) -> Iterator[str]:
    """Yield exercises that can hardly be tapped as the plan has it, all alike in one."""
    found: dict[tuple[str, tuple[str, ...]], list[str]] = {}
    for place, exercise, bibs in every_task(plan):
        written = plan.blocks[int(place[1])].exercises[int(place[3])]
        if not bibs and not others_than_own(plan, written):
            continue
        entry = library.find(exercise.name) if not exercise.parts else None
        rule = exercise.tap.rule
        if entry is None or exercise.hands_over:
            continue
        if rule in (*entry.taps, "none", "drop") or entry.is_hold:
            continue
        suited = tuple(tap for tap in entry.taps if tap != "finish" or exercise.reps is not None)
        names = found.setdefault((rule, suited), [])
        if quoted(exercise.name) not in names:
            names.append(quoted(exercise.name))
    for (rule, suited), names in found.items():
        better = [_TAP_WRITTEN[tap] for tap in suited if tap != "none" or len(suited) == 1]
        yield (
            f"{listed(names)}: hard to tap {_TAPPED[rule]}; tap = {listed(better, 'or')} suits "
            f"{_it(len(names))} better"
        )


def _sides(plan: Plan, library: Library) -> Iterator[str]:
    """Yield what one side does alone, in a number of windows that leaves one side with more."""
    windows: Counter[str] = Counter()
    first: dict[str, tuple[Place, str]] = {}
    for b, block in enumerate(plan.blocks):
        for e, exercise in enumerate(block.exercises):
            entry = library.find(exercise.name) if not exercise.parts else None
            alone = entry is not None and entry.sides == "one" and not exercise.both_sides
            if entry and alone and not block.one_at_a_time:
                windows[entry.id] += block.rounds
                first.setdefault(entry.id, (("block", b, "exercise", e), exercise.name))
    for key, count in windows.items():
        place, name = first[key]
        if count % 2:
            yield sentence(
                place,
                f"{quoted(name)} is for one side at a time, in {several(count, 'window')}; write "
                "both_sides = true, or say which side when",
            )


def _kit(plan: Plan, library: Library) -> Iterator[str]:
    """Yield kit that the plan counts and that nothing says is taken, by own tasks or at all."""
    counted = {name_key(item): item for item in plan.kit}
    taken = {n.kit for block in plan.blocks for ex in block.exercises for n in ex.kit}
    there = {name_key(item) for item in (*taken, *(library.kit or ()))} - set(counted)
    needing: dict[str, list[str]] = {}
    for place, exercise, bibs in every_task(plan):
        b, e = _window(place)
        another = exercise.name != plan.blocks[b].exercises[e].name
        said = {name_key(need.kit) for need in exercise.kit}
        for name, need in _needs(exercise, library):
            keys = [name_key(item) for item in need]
            items = [counted[key] for key in keys if key in counted]
            if not items or said & set(keys) or there & set(keys):
                continue
            if not bibs:
                for item in items:
                    needing.setdefault(item, []).append(name)
            elif another and (
                library.kit is not None or keys[0] in counted or len(items) == len(keys)
            ):
                taken.update(items)
                yield sentence(
                    place,
                    f"{quoted(name)} needs {listed(items, 'or')}, which [kit] counts; what "
                    f"own tasks take is not counted, so see that {bibs_words(bibs)} can have it",
                )
    for item in plan.kit:
        if item not in taken:
            names = list(dict.fromkeys(map(quoted, needing.get(item, ()))))
            verb = "needs" if len(names) == 1 else "need"
            by = f"by the library {listed(names)} {verb} it: " if names else ""
            where = _it(len(names)) if names else "each that does"
            yield (
                f"[kit] counts {item}, and no exercise takes it; {by}write "
                f"kit = [{quoted(item)}] at {where}"
            )


def _needs(exercise: Exercise, library: Library) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Yield what is done and needs kit by the library, and each of its needs."""
    for name in () if exercise.is_left_out else exercise.names:
        entry = library.find(name)
        for need in entry.kit if entry else ():
            yield name, need


def _unknown(plan: Plan, library: Library) -> Iterator[str]:
    unknown = (quoted(name) for _, name in doings(plan) if library.find(name) is None)
    names = list(dict.fromkeys(unknown))
    if names:
        shown = names[:UNKNOWN_MOST]
        more = len(names) - len(shown)
        words = listed([*shown, f"{more} more"] if more else shown)
        yield f"{words}: not in the library, so nothing is said about {_it(len(names))}"


def _it(count: int) -> str:
    return "it" if count == 1 else "them"
