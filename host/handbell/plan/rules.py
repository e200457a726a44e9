"""What only a whole plan can be asked: names that exist, time to enter tallies, an order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from handbell.base.words import several
from handbell.plan.agreement import Fault
from handbell.plan.legs import exercise_of, moves_on
from handbell.plan.model import SHARE, Block, Plan
from handbell.plan.pauses import Place as WindowPlace
from handbell.plan.pauses import pauses_after, places, rest_ms
from handbell.plan.values import WINDOW_LEAST_MS
from handbell_core.timeline import CHANGE, PEOPLE_MOST

GUIDED_MOST = 100
LEGS_MOST = 30_000  # of 65,535 own tasks that a timeline counts
TALLY_LEAST_MS = 10_000
_TALLY_WRITTEN_MS = 15_000  # what a remedy writes: with time to read the screen


def of_plan(plan: Plan) -> Iterator[Fault]:
    """Yield every fault of a plan whose tables are sound by themselves."""
    yield from _names(plan)
    yield from _guided(plan)
    yield from _tallies(plan)
    yield from _own_tasks(plan)
    yield from _handed_over(plan)


def missing(plan: Plan) -> Iterator[Fault]:
    """Yield blocks in which groups can't simply move on to the next station, and no order is."""
    for b, block in enumerate(plan.blocks if plan.is_rotation else ()):
        stations, groups = len(block.exercises), len(plan.groups)
        if block.order is None and stations != groups:
            more = "groups than stations" if groups > stations else "stations than groups"
            yield (
                ("block", b),
                f"more {more} ({several(stations, 'exercise')}, {several(groups, 'group')}), so "
                f"it needs an order: {SHARE}",
            )


def _names(plan: Plan) -> Iterator[Fault]:
    """Yield pairs and circuits that name what isn't in the plan."""
    every = [e for block in plan.blocks for e in block.exercises]
    exercises = {name for e in every for name in (e.name, *e.names)}
    exercises |= {own.name for e in every for own in e.scaled if own.name is not None}
    groups = {group.name for group in plan.groups}
    for key, pairs, known, word in (
        ("never_after", plan.never_after, exercises, "exercise"),
        ("alternate", plan.alternate, groups, "group"),
    ):
        for name in dict.fromkeys(name for pair in pairs for name in pair):
            if name not in known:
                yield (key,), f'no {word} is called "{name}"; write the name as it stands there'
    paired = Counter(name for pair in plan.alternate for name in pair)
    for name in (name for name, times in paired.items() if times > 1):
        yield ("alternate",), f'"{name}" is in two pairs; a group alternates with one other'
    circuits = {e.circuit for block in plan.blocks for e in block.exercises}
    for n, group in enumerate(plan.groups):
        if group.circuit is not None and group.circuit not in circuits:
            yield (
                ("group", n, "circuit"),
                f'no exercise has circuit = "{group.circuit}"; write it at those of that circuit',
            )


def _guided(plan: Plan) -> Iterator[Fault]:
    """Yield a warm-up or cool-down without end."""
    for key, parts in (
        ("warm_up", plan.warm_up),
        ("practice", plan.practice),
        ("cool_down", plan.cool_down),
    ):
        if len(parts) > GUIDED_MOST:
            yield (key,), f"{len(parts)} parts; write at most {GUIDED_MOST}"


def _tallies(plan: Plan) -> Iterator[Fault]:
    """Yield tallies with no time to enter them."""
    for b, block in enumerate(plan.blocks):
        tallied = [e for e, exercise in enumerate(block.exercises) if exercise.tap.rule == "tally"]
        if tallied:
            yield from _tallies_of(plan, b, block, tallied)


def _tallies_of(plan: Plan, b: int, block: Block, tallied: list[int]) -> Iterator[Fault]:
    short: dict[int, list[WindowPlace]] = {}
    by_legs, count = moves_on(plan, block), len(block.exercises)
    for n, place in enumerate(places(plan, block)):
        if not _can_enter(plan, b, place):
            here = [row[place.step] - 1 for row in block.order or ()] or [place.step]
            if by_legs:
                here = [exercise_of(n, len(group.bibs), count) for group in plan.groups]
            for exercise in tallied if plan.is_rotation else here:
                short.setdefault(exercise, []).append(place)
    for exercise in tallied:
        if exercise in short:
            fault = _short_tally(plan, block, exercise, short[exercise])
            yield ("block", b, "exercise", exercise, "tap"), fault


def _short_tally(plan: Plan, block: Block, e: int, short: list[WindowPlace]) -> str:
    needs = f'"tally" needs {TALLY_LEAST_MS // 1000} s of rest right after each window'
    if block.format == "every-minute":  # the rest is what is left of each minute
        task = block.exercises[e]
        every_ms = max(task.work.values) + (task.rest_ms or 0)
        less_ms = every_ms - _TALLY_WRITTEN_MS
        works = f"work_s = {less_ms // 1000}, or " if less_ms >= WINDOW_LEAST_MS else ""
        return f"{needs}, and this leaves less; write {works}another way to tap"
    if short[0].ends_block and not block.rest_after_last:
        why = "the block's last window has none"
    else:
        why = f"round {short[0].round} has less"
    writes = " and ".join(dict.fromkeys(_longer_rests(plan, block, short)))
    return f"{needs}, and {why}; write {writes}, or another way to tap"


def _longer_rests(plan: Plan, block: Block, short: list[WindowPlace]) -> Iterator[str]:
    """Yield the lines that make the rests after some windows long enough, none of them shorter."""
    lasting = block.model_copy(update={"rest_after_last": True})
    for place in short:
        own = place.ends_round and block.round_rest_ms is not None
        if rest_ms(plan, lasting, place) < TALLY_LEAST_MS:
            yield f"{'round_rest_s' if own else 'rest_s'} = {_TALLY_WRITTEN_MS // 1000}"
        if place.ends_block and not block.rest_after_last:
            yield "rest_after_last = true"


def _can_enter(plan: Plan, b: int, place: WindowPlace) -> bool:
    after = pauses_after(plan, b, place)
    walks = plan.is_rotation and after and after[0].kind == CHANGE
    return bool(after) and after[0].duration_ms >= TALLY_LEAST_MS and not walks


def _handed_over(plan: Plan) -> Iterator[Fault]:
    """Yield groups too large for a box to know by heart whose leg it is."""
    for n, group in enumerate(plan.groups if any(b.hand_over for b in plan.blocks) else ()):
        if len(group.bibs) > PEOPLE_MOST:
            yield (
                ("group", n, "bibs"),
                f"{len(group.bibs)} people in a relay by taps; write two groups, of "
                f"{PEOPLE_MOST} at most",
            )
        legs = sum(
            len(group.bibs) * max(1, len(exercise.parts)) * block.rounds
            for block in plan.blocks
            for exercise in block.exercises
            if block.hand_over
        )
        if legs > LEGS_MOST:
            yield ("group", n, "bibs"), f"{legs} legs in relays by taps; a box holds {LEGS_MOST}"


def _own_tasks(plan: Plan) -> Iterator[Fault]:
    """Yield scaled bibs that nobody wears, and lists that don't match their rounds."""
    known = {bib for group in plan.groups for bib in group.bibs}
    known = known or set(range(1, plan.boxes + 1))
    for b, block in enumerate(plan.blocks):
        rounds = block.rounds
        for e, exercise in enumerate(block.exercises):
            for n, own in enumerate(exercise.scaled):
                place = ("block", b, "exercise", e, "scaled", n)
                for bib in sorted(set(own.bibs) - known):
                    yield (*place, "bibs"), f"bib {bib} is in no group; take it out"
                for key in ("reps", "goal"):
                    value = getattr(own, key)
                    if value is not None and value.listed and len(value.values) != rounds:
                        yield (
                            (*place, key),
                            f"{len(value.values)} entries for {rounds} rounds; "
                            "write one entry for each round, or a single number",
                        )
