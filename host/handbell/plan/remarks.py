"""What is no fault in a plan, but worth knowing before class."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from math import gcd
from typing import TYPE_CHECKING

from handbell.base.times import whole_clock
from handbell.base.words import listed, quoted
from handbell.plan.agreement import Place
from handbell.plan.faults import sentence
from handbell.plan.legs import exercise_of, moves_on, turns_in
from handbell.plan.model import does
from handbell.plan.own_tasks import PlacedTask, bibs_words, every_task, everybody
from handbell.plan.texts import LINE_MOST, drawable

if TYPE_CHECKING:
    from handbell.plan.model import Block, Exercise, Plan

# What is told as rarely meant. Common practice, no source.
LONG_MS = 600_000
SHORT_MS = 60_000


def remarks(plan: Plan) -> list[str]:
    """Return warnings, each naming its place."""
    found: dict[str, str] = {}
    tasks = list(every_task(plan))
    for place, text in _texts(plan, tasks):
        for fault in _text_remarks(text):
            found.setdefault(fault, sentence(place, fault))
    more = (
        *_scale(plan),
        *_turns(plan),
        *_steps(tasks),
        *_never_there(plan, tasks),
        *_legs(plan),
        *_same_leg(plan),
        *_empty(plan),
        *_led_before(plan),
    )
    return [*found.values(), *more]


def _texts(plan: Plan, tasks: Sequence[PlacedTask]) -> Iterator[tuple[Place, str]]:
    """Yield every text that goes onto a box, with its place."""
    yield ("title",), plan.title
    for n, group in enumerate(plan.groups):
        yield ("group", n, "name"), group.name
    for n, station in enumerate(plan.stations):
        if station.label:
            yield ("station", n, "label"), station.label
    for key, parts in (
        ("warm_up", plan.warm_up),
        ("practice", plan.practice),
        ("cool_down", plan.cool_down),
    ):
        for n, part in enumerate(parts):
            yield (key, n, "name"), part.name
    for place, exercise, _ in tasks:
        short = exercise.parts and plan.blocks[int(place[1])].format is not None
        yield (*(place[:2] if short else place), "name"), exercise.name
        for n, leg in enumerate(exercise.parts if exercise.hands_over else ()):
            at = (*place[:2], "exercise", n) if short else (*place, "part", n)
            yield (*at, "name"), leg.words


def _text_remarks(text: str) -> Iterator[str]:
    drawn = drawable(text)
    if drawn != text:
        yield f"{quoted(text)} is shown as {quoted(drawn)} on the boxes"
    if len(drawn) > LINE_MOST:
        yield (
            f"{quoted(drawn)} has {len(drawn)} characters and a line of the box holds "
            f"{LINE_MOST}; it will be cut"
        )


def _scale(plan: Plan) -> Iterator[str]:
    """Yield times that are rarely meant."""
    for b, block in enumerate(plan.blocks):
        for e, exercise in enumerate(block.exercises if block.format is None else ()):
            longest = max(exercise.work.values)
            if longest > LONG_MS and not exercise.parts:
                yield sentence(
                    ("block", b, "exercise", e, "work_s"),
                    f"{whole_clock(longest)} of {quoted(exercise.name)} in one window; "
                    "times are in seconds",
                )
    for key, parts, word in (
        ("warm_up", plan.warm_up, "warm-up"),
        ("cool_down", plan.cool_down, "cool-down"),
    ):
        total = sum(part.work_ms for part in parts)
        if parts and total < SHORT_MS:
            yield sentence((key,), f"the {word} is {whole_clock(total)} in all; is that meant?")


def _turns(plan: Plan) -> Iterator[str]:
    if all(block.one_at_a_time for block in plan.blocks):
        return
    for n, group in enumerate(plan.groups):
        if plan.turns_said is None and len(group.bibs) > plan.buttons:
            yield sentence(
                ("group", n, "bibs"),
                f"{len(group.bibs)} bibs share {plan.buttons} "
                f"{'button' if plan.buttons == 1 else 'buttons'}; they take turns window by "
                'window, since turns is not written (turns = "window" or "round")',
            )


def _steps(tasks: Sequence[PlacedTask]) -> Iterator[str]:
    said = set()
    for place, exercise, _ in tasks:
        every = exercise.tap.every
        uneven = {r for r in (exercise.reps.values if exercise.reps else ()) if r % every}
        for reps in sorted(uneven):
            which = (place[:4], reps, every)  # an own task mostly keeps what is written for all
            if which in said:
                continue
            said.add(which)
            owed = exercise.tap.owed(reps)
            yield sentence(
                (*place, "tap"),
                f"{reps} reps are not a multiple of {every}; the target counts as made at "
                f"tap {owed // every}, after {owed} reps",
            )


def _led_before(plan: Plan) -> Iterator[str]:
    """Yield practice that stands behind a block in the file, as if it were led there."""
    heads = re.findall(rb"^[ \t]*\[\[[ \t]*(practice|block)[ \t]*\]\]", plan.source, re.MULTILINE)
    if b"block" in heads and b"practice" in heads[heads.index(b"block") :]:
        first = heads[: heads.index(b"block")].count(b"practice")
        yield sentence(
            ("practice", first),
            "it stands behind a block and is led before the first one all the same; for "
            'practice between blocks write a [[block]] with name = "Practice"',
        )


def _never_there(plan: Plan, tasks: Sequence[PlacedTask]) -> Iterator[str]:
    """Yield own tasks of bibs whose group is of the other circuit."""
    for place, exercise, bibs in tasks if plan.is_rotation else ():
        elsewhere = [group.bibs for group in plan.groups if not does(group, exercise)]
        away = sorted({bib for others in elsewhere for bib in others} & set(bibs))
        if away:
            yield sentence(
                (*place, "bibs"),
                f"{bibs_words(away)} never {'does' if len(away) == 1 else 'do'} this exercise, "
                "which is of the other circuit",
            )


def _legs(plan: Plan) -> Iterator[str]:
    """Yield groups whose people don't all get as many legs of a relay."""
    for b, block in enumerate(plan.blocks):
        legs = block.rounds * len(block.exercises)
        found: dict[int, list[str]] = {}
        for group in plan.groups if block.relay else ():
            if legs % len(group.bibs):
                found.setdefault(len(group.bibs), []).append(quoted(group.name))
        for size, names in found.items():
            more = legs % size
            yield sentence(
                ("block", b),
                f"{legs} legs for the {size} of {listed(names)}: "
                f"{more} of {'them' if len(names) == 1 else 'each'} "
                f"{'does' if more == 1 else 'do'} one more than the others",
            )


def _same_leg(plan: Plan) -> Iterator[str]:
    """Yield groups in whose relay somebody does not get to every exercise."""
    turns_before = 0
    for b, block in enumerate(plan.blocks):
        by_legs, count = moves_on(plan, block), len(block.exercises)
        found: dict[bool, list[str]] = {False: [], True: []}
        most = 0
        for group in plan.groups if block.relay and count > 1 else ():
            people = len(group.bibs)
            some = _left_out(group.bibs, block, by_legs, turns_before)
            if some:
                in_step = gcd(count, people) > 1 and not by_legs
                found[in_step].append(f"{bibs_words(some)} of {quoted(group.name)}")
                most = max(most, 0 if in_step else people)
        # Everybody needs a leg for each exercise; so many are enough, too.
        enough = f"rounds = {most}" if block.format is None else f"legs = {most * count}"
        for in_step, words in found.items():
            verb = "does" if len(words) == 1 and words[0].startswith("bib ") else "do"
            remedy = f"another number of exercises than {count}" if in_step else enough
            if words:
                yield sentence(
                    ("block", b),
                    f"{listed(words)} {verb} not get to every exercise; write {remedy}",
                )
        turns_before += turns_in(plan, block)


def _left_out(bibs: Sequence[int], block: Block, by_legs: bool, turns_before: int) -> list[int]:
    """Return who does not get to every exercise of a relay."""
    people, count = len(bibs), len(block.exercises)
    done: dict[int, set[int]] = {bib: set() for bib in bibs}
    for leg in range(min(block.rounds, people) * count):  # then it begins again
        which = exercise_of(leg, people, count) if by_legs else leg % count
        done[bibs[(turns_before + leg) % people]].add(which)
    return [bib for bib, which in done.items() if len(which) < count]


def _empty(plan: Plan) -> Iterator[str]:
    """Yield exercises that everybody leaves out, and legs of a relay whose only one rests."""
    for b, block in enumerate(plan.blocks):
        for e, exercise in enumerate(block.exercises):
            out = _who_is_out(exercise)
            if out.issuperset(everybody(plan)):
                yield sentence(
                    ("block", b, "exercise", e),
                    f"everybody leaves {quoted(exercise.name)} out, so nobody works in its "
                    "windows, though they count as work; take it out, or an out = true",
                )
            elif block.relay and out:
                yield sentence(("block", b, "exercise", e), _empty_legs(plan, exercise, out))


def _empty_legs(plan: Plan, exercise: Exercise, out: set[int]) -> str:
    groups = [group.name for group in plan.groups if out.intersection(group.bibs)]
    their = "its leg" if len(out) == 1 else "their legs"
    whom = quoted(groups[0]) if len(groups) == 1 else "their groups"
    it = "it" if len(out) == 1 else "them"
    leaves = "leaves" if len(out) == 1 else "leave"
    return (
        f"{bibs_words(out)} {leaves} {quoted(exercise.name)} out, and in {their} there nobody "
        f"of {whom} works; write another name for {it} instead of out = true"
    )


def _who_is_out(exercise: Exercise) -> set[int]:
    return {bib for own in exercise.scaled if own.out for bib in own.bibs}
