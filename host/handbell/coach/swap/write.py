"""A plan's text with its swaps in place."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError, PlanError
from handbell.base.words import listed
from handbell.coach.writing.edit import Change, PlanText
from handbell.plan.files import parse_plan

from .floor import names_of_lists, without_names
from .keys import is_inside, kept_by_own, new_keys

if TYPE_CHECKING:
    from handbell.compile.build import CompiledClass

    from .swap import Swap


def swapped(text: PlanText, swaps: Iterable[Swap]) -> tuple[bytes, CompiledClass]:
    """Return the plan's bytes with each first choice in place, and the plan compiled anew.

    Raises HandbellError when the plan would not pass the check any more.
    """
    from handbell.compile import build

    changes = []
    swaps = [swap for swap in swaps if swap.choices]
    for swap in swaps:
        for place in swap.places:
            alone = not is_inside(text, place)
            keys, said = new_keys(place.values, swap.old, swap.new, text.kit, alone, swap.spare)
            if not alone and not place.in_list:
                said.append("the ladder's reps and times stay as they are")
            changes.append(Change(place.place, keys))
            for n, own in enumerate(place.values.get("scaled", ()) if alone else ()):
                work = text.plan.blocks[place.block].exercises[place.at[1]].work
                entry = swap.find(own.get("name", swap.name))
                kept, words = kept_by_own(own, place.values, keys, entry, min(work.values))
                said += words
                if kept:
                    changes.append(Change((*place.place, "scaled", n), kept))
            swap.said += [words for words in said if words not in swap.said]
    renamed = {place.at: swap.new.name for swap in swaps for place in swap.places}
    forgotten = without_names(text, renamed)
    changes += forgotten
    for swap in swaps:
        if forgotten and any(swap.name in pair for pair in text.plan.never_after):
            swap.said.append(f"never_after no longer speaks of {swap.name}")
    named = names_of_lists(text, changes)
    for swap in swaps:
        for change in named:
            if any(place.place[:2] == change.place for place in swap.places):
                name = change.values["name"]
                swap.said.append(
                    f'the list gets a name, "{name}": it is too long for a box\'s line'
                )
    data = text.changed([*changes, *named])
    try:
        return data, build(parse_plan(data, text.name))
    except PlanError as error:
        raise unplayable(swaps, error) from None


def unplayable(swaps: Iterable[Swap], error: PlanError) -> HandbellError:
    """Return what to say of a plan that would not pass the check with its swaps."""
    names = listed([swap.new.name for swap in swaps if swap.choices])
    return HandbellError(
        f"With {names} the plan would not pass the check: {'; '.join(error.faults)}",
        "Nothing is changed; mend that first, or name another for it",
    )
