"""What the parts of a plan must agree on with one another.

Each rule returns faults as (place, sentence); a place is a path of keys and list indexes below
the table that is checked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from handbell.base.words import several
from handbell.plan import orders
from handbell.plan.pauses import Place as WindowPlace
from handbell.plan.pauses import pauses_after, places
from handbell_core.timeline import CHANGE

if TYPE_CHECKING:
    from handbell.plan.model import Block, Exercise, Group, Plan, Station

WINDOWS_MOST = 16_000  # four spans each at most, so a timeline keeps below 65,535 spans
GUIDED_MOST = 100
TALLY_LEAST_MS = 10_000

Place = tuple[str | int, ...]
Fault = tuple[Place, str]


class Disagreement(ValueError):
    """Parts of a plan that don't agree, with every fault found."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("; ".join(sentence for _, sentence in faults))
        self.faults = faults


def require(faults: Iterable[Fault]) -> None:
    """Raise Disagreement if there are faults."""
    found = list(faults)
    if found:
        raise Disagreement(found)


# One exercise


def of_exercise(exercise: Exercise) -> Iterable[Fault]:
    """Yield what an exercise's keys disagree on."""
    if exercise.reps is not None and exercise.goal is not None:
        yield (
            ("goal",),
            "a window has a target or a goal, not both; "
            "keep reps for a target, or goal for an open window",
        )
    for key in ("reps", "goal"):
        if exercise.hold and getattr(exercise, key) is not None:
            yield (key,), f"a hold counts no reps; take out {key}, or hold = true"
    if exercise.parts and (exercise.hold or exercise.both_sides):
        key = "hold" if exercise.hold else "both_sides"
        yield (key,), f"a list gone through has none; take out {key}, or the parts"
    fault = tap_fault(exercise)
    if fault and exercise.tap_as is not None:
        yield ("tap",), fault


def tap_fault(exercise: Exercise) -> str:
    """Return what is wrong with how an exercise is tapped, "" if nothing."""
    rule = exercise.tap.rule
    if exercise.hold and rule not in ("drop", "none"):
        return f'"{rule}" is not for a hold; write "drop" or "none", or take the line out'
    if rule == "drop" and not exercise.hold:
        return '"drop" is only for a hold; write hold = true, or another way to tap'
    if rule == "finish" and exercise.reps is None:
        return '"finish" needs a target; write reps = 10, or another way to tap'
    return ""


def lists_of(exercise: Exercise) -> list[tuple[str, int]]:
    """Return the keys of an exercise that are lists, with their lengths."""
    keyed = (("work_s", exercise.work), ("reps", exercise.reps), ("goal", exercise.goal))
    return [(key, len(value.values)) for key, value in keyed if value and value.listed]


# One block


def of_block(block: Block) -> Iterable[Fault]:
    """Yield what a block's exercises disagree on with it."""
    if not block.exercises:
        yield (), "it has no exercise; add a [[block.exercise]] with name and work_s"
        return
    rounds = block.rounds
    for n, exercise in enumerate(block.exercises):
        for key, entries in lists_of(exercise):
            if entries != rounds:
                yield (
                    ("exercise", n, key),
                    f"{several(entries, 'entry', 'entries')} for {several(rounds, 'round')}; "
                    "write one entry for each round, or a single number",
                )
    if block.rest_after_last and not _trailing_rest_ms(block):
        yield ("rest_after_last",), "there is no rest to keep; write rest_s, or take it out"


def _trailing_rest_ms(block: Block) -> int:
    if block.round_rest_ms is not None:
        return block.round_rest_ms
    own = block.exercises[-1].rest_ms
    return block.rest_ms if own is None else own


# Groups and stations


def of_groups(groups: Sequence[Group]) -> Iterable[Fault]:
    """Yield names and bibs that are there twice."""
    names: dict[str, int] = {}
    bibs: dict[int, str] = {}
    for n, group in enumerate(groups):
        if names.setdefault(group.name, n) != n:
            yield (
                ("group", n, "name"),
                f'"{group.name}" is group {names[group.name] + 1} already; '
                "give each group a name of its own",
            )
        for bib in group.bibs:
            if bib in bibs:
                yield (
                    ("group", n, "bibs"),
                    f'bib {bib} is in "{bibs[bib]}" already; use each bib once',
                )
            bibs.setdefault(bib, group.name)


def of_stations(stations: Sequence[Station], data: dict[str, Any]) -> Iterable[Fault]:
    """Yield what the stations disagree on with groups and boxes (absent from ``data`` if wrong)."""
    labels: dict[str, int] = {}
    for n, station in enumerate(stations):
        label = station.label or f"Station {n + 1}"
        if labels.setdefault(label, n) != n:
            yield (
                ("station", n, "label"),
                f'"{label}" is station {labels[label] + 1} already; '
                "give each station a label of its own",
            )
    groups, boxes = data.get("groups", ()), data.get("boxes_said")
    if groups and boxes:
        yield ("boxes",), "each group has a box of its own; take out boxes, or the groups"
    elif data.get("layout") == "rotation":
        pass  # there, exercises and stations agree, see of_blocks
    elif stations and groups and len(groups) != len(stations):
        more = "add stations" if len(groups) > len(stations) else "take stations out"
        yield (
            ("station",),
            f"{several(len(groups), 'group')} but {several(len(stations), 'station')}; each group "
            f"needs one: {more}, or take them all out to have them numbered",
        )
    elif stations and boxes and boxes != len(stations):
        yield (
            ("station",),
            f"{several(boxes, 'box', 'boxes')} but {several(len(stations), 'station')}; "
            "take out boxes, or write as many stations",
        )
    if len(groups) > 99 or len(stations) > 99:
        yield ("group" if len(groups) > 99 else "station",), "at most 99 boxes; take some out"


# Blocks


def of_blocks(blocks: Sequence[Block], data: dict[str, Any]) -> Iterable[Fault]:
    """Yield what the blocks disagree on with the layout (absent from ``data`` if wrong)."""
    if not blocks:
        yield (
            ("block",),
            "the plan has no windows; add a [[block]] with at least one [[block.exercise]]",
        )
    rotation = data.get("layout") == "rotation"
    windows = sum(block.rounds * len(block.exercises) for block in blocks)
    if windows > WINDOWS_MOST:
        yield ("block",), f"{windows} windows; a class has at most {WINDOWS_MOST}: take rounds out"
    if rotation:
        yield from _of_rotation(blocks, data)
    for b, block in enumerate(blocks):
        place: Place = ("block", b, "relay" if block.format is None else "format")
        if block.relay and rotation:
            yield place, "a relay is for lanes; take it out, or write lanes"
        elif block.relay and not data.get("groups", True):
            yield place, "a relay is run by groups; add a [[group]] with its bibs"
    if "groups" in data and "stations" in data:
        yield from orders.of_blocks(blocks, data)


def _of_rotation(blocks: Sequence[Block], data: dict[str, Any]) -> Iterable[Fault]:
    if data.get("boxes_said"):
        yield ("boxes",), "a rotation has a box for each group; take out boxes"
    if "groups" not in data:
        return
    if not data["groups"]:
        yield ("group",), "a rotation moves groups; add a [[group]] for each exercise"
        return
    stations = len(data.get("stations", ())) or len(blocks[0].exercises if blocks else ())
    for b, block in enumerate(blocks):
        if len(block.exercises) != stations:
            yield (
                ("block", b),
                f"{several(len(block.exercises), 'exercise')} for {several(stations, 'station')}; "
                "a rotation needs an exercise for each station in each block",
            )
        yield from _unequal_times(b, block)


def _unequal_times(b: int, block: Block) -> Iterable[Fault]:
    """Yield exercises that would not change together with the first one."""
    first = block.exercises[0]
    first_rest = block.rest_ms if first.rest_ms is None else first.rest_ms
    for e, exercise in enumerate(block.exercises[1:], 1):
        rounds = range(1, block.rounds + 1)
        if any(exercise.work.at(r) != first.work.at(r) for r in rounds):
            yield (
                ("block", b, "exercise", e, "work_s"),
                "differs from exercise 1; in a rotation everybody changes together, "
                "so write the same work_s for all",
            )
        rest_ms = block.rest_ms if exercise.rest_ms is None else exercise.rest_ms
        if rest_ms != first_rest:
            yield (
                ("block", b, "exercise", e, "rest_s"),
                "differs from exercise 1; in a rotation everybody rests together, "
                "so write the same rest_s for all",
            )


# The whole plan


def of_plan(plan: Plan) -> Iterable[Fault]:
    """Yield tallies with no time to enter them, guided parts without end, and unknown names."""
    yield from orders.of_names(plan)
    for key, parts in (("warm_up", plan.warm_up), ("cool_down", plan.cool_down)):
        if len(parts) > GUIDED_MOST:
            yield (key,), f"{len(parts)} parts; write at most {GUIDED_MOST}"
    for b, block in enumerate(plan.blocks):
        tallied = [e for e, exercise in enumerate(block.exercises) if exercise.tap.rule == "tally"]
        if tallied:
            yield from _tallies(plan, b, block, tallied)


def _tallies(plan: Plan, b: int, block: Block, tallied: list[int]) -> Iterable[Fault]:
    short: dict[int, WindowPlace] = {}
    for place in places(plan, block):
        if not _can_enter(plan, b, place):
            here = [row[place.step] - 1 for row in block.order or ()] or [place.step]
            for exercise in tallied if plan.is_rotation else here:
                short.setdefault(exercise, place)
    for exercise in tallied:
        if exercise in short:
            yield ("block", b, "exercise", exercise, "tap"), _short_tally(block, short[exercise])


def _short_tally(block: Block, place: WindowPlace) -> str:
    needs = f'"tally" needs {TALLY_LEAST_MS // 1000} s of rest right after each window'
    if place.ends_block and not block.rest_after_last:
        return (
            f"{needs}, and the block's last window has none; "
            "write rest_s = 15 and rest_after_last = true, or another way to tap"
        )
    return f"{needs}, and round {place.round} has less; write rest_s = 15, or another way to tap"


def _can_enter(plan: Plan, b: int, place: WindowPlace) -> bool:
    after = pauses_after(plan, b, place)
    walks = plan.is_rotation and after and after[0].kind == CHANGE
    return bool(after) and after[0].duration_ms >= TALLY_LEAST_MS and not walks
