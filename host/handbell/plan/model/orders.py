"""What a block's ``order`` must agree on with its exercises, groups and boxes.

An order has a list for each box in lanes, for each group in a rotation: the numbers of exercises
in the order in which they are done there, 0 for a group that waits.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

from handbell.base.words import several
from handbell.plan.agreement import Fault
from handbell.plan.model.block import Block, times_of
from handbell.plan.model.floor import Group, Station, does

SHARE = "handbell order --write works one out"


def of_orders(blocks: Sequence[Block], data: dict[str, Any]) -> Iterator[Fault]:
    """Yield what is wrong with the orders of a plan's blocks."""
    groups: Sequence[Group] = data["groups"]
    stations: Sequence[Station] = data["stations"]
    rotation = data.get("layout") == "rotation"
    rows = len(groups) if rotation else data.get("boxes_said") or len(groups) or len(stations) or 1
    for b, block in enumerate(blocks):
        if block.order is None:
            continue
        if len(block.order) != rows:
            of, many = ("group", "groups") if groups else ("box", "boxes")
            yield (
                ("block", b, "order"),
                f"{several(len(block.order), 'list')} for {several(rows, of, many)}; "
                f"write one for each {of}: {SHARE}",
            )
        elif rotation:
            for fault in (*_moves(block, groups), *_meetings(block, groups, stations)):
                yield ("block", b, "order"), f"{fault}; mend it, or take it out: {SHARE}"
        else:
            for fault in _lanes(block):
                yield ("block", b, "order"), f"{fault}; mend it, or take it out: {SHARE}"


def _lanes(block: Block) -> Iterator[str]:
    numbers = list(range(1, len(block.exercises) + 1))
    times = times_of(block)
    for n, row in enumerate(block.order or (), 1):
        if sorted(row) != numbers:
            yield f"list {n} must have each number from 1 to {numbers[-1]} once"
            continue
        for step, number in enumerate(row):
            if times[number - 1] != times[step]:
                own, there = block.exercises[number - 1], block.exercises[step]
                yield (
                    f"list {n} has {own.name} in place of {there.name}, whose work_s or rest_s "
                    "differs, and all boxes change together"
                )


def _moves(block: Block, groups: Sequence[Group]) -> Iterator[str]:
    """Yield groups that don't do each exercise of their circuit once."""
    steps = {len(row) for row in block.order or ()}
    if len(steps) > 1:
        yield f"its lists have {min(steps)} to {max(steps)} entries and must be equally long"
    for group, row in zip(groups, block.order or (), strict=True):
        due = [n for n, e in enumerate(block.exercises, 1) if does(group, e)]
        if sorted(number for number in row if number) != due:
            yield (
                f"{group.name} must do {'each of ' if len(due) > 1 else ''}"
                f"{', '.join(map(str, due)) or 'nothing'} once, and wait at 0"
            )


def _meetings(block: Block, groups: Sequence[Group], stations: Sequence[Station]) -> Iterator[str]:
    """Yield stations with more people than they have room for; one group, if that isn't said."""
    for step, at_once in enumerate(zip(*(block.order or ()), strict=False), 1):
        for number, meeting in Counter(at_once).items():
            station = stations[number - 1] if 0 < number <= len(stations) else None
            room = station.capacity if station else None
            people = sum(len(g.bibs) for g, n in zip(groups, at_once, strict=True) if n == number)
            if number and meeting > 1 and room is None:
                yield f"in step {step} {meeting} groups are at exercise {number}, with no capacity"
            elif number and room is not None and people > room:
                yield (
                    f"in step {step} {people} people are at exercise {number}, with room for {room}"
                )
