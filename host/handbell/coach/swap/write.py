"""A plan's text with its swaps in place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from handbell.base.errors import HandbellError, PlanError
from handbell.coach.writing.edit import Change, OwnTask, PlanText, Written
from handbell.coach.writing.pairs import renamed_pairs
from handbell.plan.files import parse_plan
from handbell.plan.values import PAUSE_LEAST_MS, in_seconds

from .floor import names_of_lists
from .keys import ends_with_its_reps, is_inside, kept_by_own, new_keys

if TYPE_CHECKING:
    from handbell.compile.build import CompiledClass

    from .swap import Swap

Made = tuple[bytes, "CompiledClass"]


def as_far_as_playable(swaps: Sequence[Swap], write: Callable[[Sequence[Swap]], Made]) -> Made:
    """Return what ``write`` makes of a plan with those swaps with which it passes the check.

    Any other is left, and says why; where it may rest it is left out. ``write`` raises
    HandbellError, too, for what can't be written into the file.
    """
    moving = [swap for swap in swaps if swap.moves]
    try:
        return write(moving)
    except HandbellError:
        pass
    kept: list[Swap] = []
    for swap in moving:
        if not _fails(swap, kept, write):
            kept.append(swap)
        elif swap.may_rest:
            stuck, swap.out = swap.stuck, True
            if not _fails(swap, kept, write):
                kept.append(swap)
            swap.stuck = stuck
    return write(kept)


def _fails(swap: Swap, kept: list[Swap], write: Callable[[Sequence[Swap]], Made]) -> bool:
    """Return whether a plan can't be written, or fails the check, with a swap; it is left then."""
    try:
        write([*kept, swap])
    except PlanError as error:
        with_it = swap.new.name if swap.choices else f"{swap.name} left out"
        swap.leave(
            f"With {with_it} the plan would not pass the check: {'; '.join(error.faults)}",
            "Mend that first, or name another for it",
        )
        return True
    except HandbellError as error:
        swap.leave(error.what, error.remedy)
        return True
    return False


def swapped(text: PlanText, swaps: Sequence[Swap]) -> Made:
    """Return the plan's bytes with each first choice in place, and the plan compiled anew.

    A swap with which the plan would not pass the check any more is left.
    """
    return as_far_as_playable(swaps, lambda kept: _written(text, kept))


def _written(text: PlanText, swaps: Sequence[Swap]) -> Made:
    from handbell.compile import build

    changes = []
    for swap in swaps:
        swap.said = []
        for place in swap.places:
            alone = not is_inside(text, place)
            keys, said = new_keys(place.values, swap.old, swap.new, text.kit, alone, swap.spare)
            if text.plan.blocks[place.block].format == "ladder" and not place.in_list:
                said.append("the ladder's reps and times stay as they are")
            if keys.get("hold"):
                _time_hold(text, place, keys, said, swap.new.hold_s)
            changes.append(Change(place.place, keys))
            for n, own in enumerate(place.values.get("scaled", ()) if alone else ()):
                work = text.plan.blocks[place.block].exercises[place.at[1]].work
                entry = swap.find(own.get("name", swap.name))
                kept, words = kept_by_own(own, place.values, keys, entry, min(work.values))
                said += words
                if kept:
                    changes.append(Change((*place.place, "scaled", n), kept))
            swap.said += [words for words in said if words not in swap.said]
    named = names_of_lists(text, changes)
    kept_apart = rules_kept(text, swaps, [*changes, *named])
    for swap in swaps:
        for change in named:
            if any(place.place[:2] == change.place for place in swap.places):
                name = change.values["name"]
                swap.said.append(
                    f'the list gets a name, "{name}": it is too long for a box\'s line'
                )
    data = text.changed([*changes, *named, *kept_apart])
    return data, build(parse_plan(data, text.name))


def rules_kept(
    text: PlanText, swaps: Sequence[Swap], changes: Sequence[Change], own: Sequence[OwnTask] = ()
) -> list[Change]:
    """Return the change of never_after that the changes for some swaps need; each says its own."""
    kept_apart, said_of = renamed_pairs(text, changes, lambda *names: _serves(swaps, *names), own)
    for swap in swaps:
        swap.said += [said_of.pop(name) for name in swap.names if name in said_of]
    if swaps:
        swaps[0].said += said_of.values()
    return kept_apart


def _serves(swaps: Sequence[Swap], was: str, now: str) -> bool:
    """Return whether what is ruled for one exercise goes for what takes its place: its pattern."""
    moving = (swap for swap in swaps if swap.choices and was in swap.names)
    both = [(swap.old, swap.new) for swap in moving if swap.new.name == now]
    return all(old is not None and set(old.patterns) & set(new.patterns) for old, new in both)


def _time_hold(
    text: PlanText,
    place: Written,
    keys: dict[str, Any],
    said: list[str],
    hold_s: tuple[int, int] | None,
) -> None:
    """Say how long a hold takes where only reps said when a task is done.

    Not where single bibs go on with reps: they would have less time for them.
    """
    if not ends_with_its_reps(text, place) or hold_s is None:
        return
    own = (own for own in place.values.get("scaled", ()) if not own.get("out"))
    if any(map(_asks_reps, own)):
        return
    turn_ms = text.plan.blocks[place.block].exercises[place.at[1]].work.values[0]
    work_s = in_seconds(min(hold_s[0] * 1000, turn_ms - PAUSE_LEAST_MS))
    keys["work_s"] = work_s
    said.append(f"work_s = {work_s}, the library's least, then rest")


def _asks_reps(own: dict[str, Any]) -> bool:
    """Return whether an own task asks for reps, or may: it names another exercise."""
    return any(key in own for key in ("reps", "goal", "name")) and not own.get("hold")
