"""Swapping exercises of a plan: what may take their place, and the plan's text with it."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError, PlanError
from handbell.base.words import listed
from handbell.coach.library.entry import Entry, needs_words
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library
from handbell.coach.writing.edit import Change, PlanText, Written
from handbell.plan.files import parse_plan
from handbell.plan.shorthands import asks_each

from .floor import Floor, known_in, without_names
from .keys import new_keys
from .rank import (
    SPARING,
    Choice,
    Surroundings,
    Wish,
    beyond,
    choices,
    lacks,
    named_choice,
    strained,
)

if TYPE_CHECKING:
    from handbell.compile.build import CompiledClass


OTHERS_TOLD = 3  # where no exercise of the pattern can do


@dataclass
class Swap:
    """One exercise of a plan, everywhere it is done, and what may take its place.

    ``name`` is what the plan calls it, ``old`` is None when the library doesn't know it.
    ``said`` tells what else changes with the first choice, ``spare`` that nothing may be
    more than it was. Without choices it stays as it is, and ``stuck`` says why.
    """

    name: str
    old: Entry | None
    places: list[Written]
    because: str = ""
    choices: list[Choice] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    stuck: HandbellError | None = None
    spare: bool = False

    @property
    def new(self) -> Entry:
        """The exercise that takes its place; there must be choices."""
        return self.choices[0].entry

    def leave(self, why: str, remedy: str) -> None:
        """Leave the exercise as it is, and say so."""
        self.choices = []
        self.stuck = HandbellError(why, remedy)


def find_swaps(
    text: PlanText,
    library: Library,
    wish: Wish,
    name: str | None = None,
    to: str | None = None,
    block: int | None = None,
) -> list[Swap]:
    """Return the swaps that a wish asks for, each with its choices, best first.

    Without ``name`` every exercise that can't be done as things stand: its kit is missing or it
    loads a sore part; one that nothing can take the place of is ``stuck``, and the others go on.
    ``to`` names the replacement, ``block`` (from 1) keeps to one block. Raises HandbellError when
    the exercise named isn't there, or nothing can take its place.
    """
    known = known_in(text, library)
    grouped: dict[str, Swap] = {}
    for place in text.exercises:
        if block is None or place.block == block - 1:
            here, old = place.values["name"], known[place.at]
            key = old.id if old else name_key(here)
            grouped.setdefault(key, Swap(here, old, [])).places.append(place)
    floor = Floor(text, known)
    if name is None:
        asked = [
            s for s in grouped.values() if s.old and _because(s.old, wish, floor.around(s.places))
        ]
    else:
        asked = [_named(name, grouped, library, text.name, block)]
    for swap in asked:
        swap.spare = wish.because in SPARING
        _choose(swap, library, _wish_for(swap, wish), floor, to)
        _keep_kind(text, swap)
        if swap.stuck and name is not None:
            raise swap.stuck
        for place in swap.places if swap.choices else ():
            known[place.at] = swap.new
    return asked


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
            swap.said += [words for words in said if words not in swap.said]
            changes.append(Change(place.place, keys))
    renamed = {place.at: swap.new.name for swap in swaps for place in swap.places}
    forgotten = without_names(text, renamed)
    changes += forgotten
    for swap in swaps:
        if forgotten and any(swap.name in pair for pair in text.plan.never_after):
            swap.said.append(f"never_after no longer speaks of {swap.name}")
    data = text.changed(changes)
    try:
        return data, build(parse_plan(data, text.name))
    except PlanError as error:
        names = listed([swap.new.name for swap in swaps])
        raise HandbellError(
            f"With {names} the plan would not pass the check: {'; '.join(error.faults)}",
            "Nothing is changed; mend that first, or choose another with --to",
        ) from None


def _named(
    name: str, grouped: dict[str, Swap], library: Library, file: str, block: int | None
) -> Swap:
    entry = library.find(name)
    for key, swap in grouped.items():
        if key in (entry.id if entry else None, name_key(name)):
            return swap
    where = f"{file}, block {block}," if block is not None else file
    there = ", ".join(swap.name for swap in grouped.values()) or "nothing"
    raise HandbellError(f'{where} has no exercise "{name}"', f"It has {there}")


def _because(entry: Entry, wish: Wish, around: Surroundings) -> str:
    """Return why an exercise can't be done as things stand, or nothing."""
    words = []
    if missing := lacks(entry, wish, around):
        words.append(f"needs {needs_words(missing)}")
    if parts := strained(entry, wish.sore):
        words.append(f"strains the {listed(parts)}")
    return ", ".join(words)


def _wish_for(swap: Swap, wish: Wish) -> Wish:
    """Return the wish, with an exercise's own kit gone when that is the reason."""
    if wish.because != "no-kit" or swap.old is None:
        return wish
    own = {name_key(item) for need in swap.old.kit for item in need}
    return dataclasses.replace(wish, without=wish.without | own)


def _choose(swap: Swap, library: Library, wish: Wish, floor: Floor, to: str | None) -> None:
    around = floor.around(swap.places)
    if to is not None:
        new = library.need(to)
        if new is swap.old:
            raise HandbellError(f"{swap.name} is {new.name} already", "Name another with --to")
        if swap.old is None:
            swap.choices = [Choice(new, 0.0, ["chosen; the old one is not in the library"])]
        else:
            swap.choices = [named_choice(library, swap.old, new, wish, around)]
    elif swap.old is None:
        library.need(swap.name)  # raises, with the nearest names
    if swap.old is not None:
        swap.because = _because(swap.old, wish, around)
        if to is None:
            swap.choices = choices(library, swap.old, wish, around)
            _require_choice(swap, wish, beyond(library, swap.old, wish, around))


def is_inside(text: PlanText, place: Written) -> bool:
    """Return whether a list or a ladder has it, so that its own keys don't say all of it."""
    return place.in_list or not asks_each(text.plan.blocks[place.block].format)


def _keep_kind(text: PlanText, swap: Swap) -> None:
    """Leave what keeps a hold a hold, and reps reps, where a list or a ladder has it."""
    if not swap.choices:
        return
    inside = [p for p in swap.places if is_inside(text, p)]
    holds = {"hold_s" in p.values for p in inside}
    kept = [choice for choice in swap.choices if holds <= {choice.entry.is_hold}]
    if not kept:
        swap.leave(
            f"{swap.new.name} can't take the place of {swap.name} in block {inside[0].block + 1}, "
            "where a list or a ladder says reps or seconds",
            "Name another with --to",
        )
    else:
        swap.choices = kept


def _require_choice(swap: Swap, wish: Wish, others: Sequence[Choice]) -> None:
    assert swap.old is not None
    if wish.because == "no-kit" and not swap.old.kit:
        raise HandbellError(f"{swap.name} needs no kit", "Give another reason, or --to a name")
    if not swap.choices:
        names = [choice.entry.name for choice in others[:OTHERS_TOLD]]
        such = f", such as {listed(names, 'or')}" if names else ""
        swap.leave(
            f"Nothing in the library can take the place of {swap.name} here",
            f"It is a {swap.old.pattern}: leave it out, or name another with --to{such}",
        )
