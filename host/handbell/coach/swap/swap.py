"""Swapping exercises of a plan: which, and what may take their place."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from handbell.base.errors import HandbellError
from handbell.base.words import listed
from handbell.coach.library.entry import Entry, needs_words
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library
from handbell.coach.writing.edit import PlanText, Written
from handbell.plan.own_tasks import bibs_words

from .floor import Floor, known_in
from .keys import is_inside
from .rank import SPARING, Choice, Surroundings, Wish, beyond, choices, lacks, named_choice
from .sore import strained
from .views import View

if TYPE_CHECKING:
    pass


GRADES = ("too-hard", "too-easy")  # what single bibs may ask of all that they do
OTHERS_TOLD = 3  # where no exercise of the pattern can do


@dataclass
class Swap:
    """One exercise of a plan, everywhere it is done, and what may take its place.

    ``name`` is what the plan calls it, ``old`` is None when the library doesn't know it.
    ``said`` tells what else changes with the first choice, ``spare`` that nothing may be
    more than it was. ``view`` is whose own task it becomes, None for everybody's. Without choices
    ``stuck`` says why, and it stays as it is, or those bibs leave it ``out``.
    """

    name: str
    old: Entry | None
    places: list[Written]
    because: str = ""
    choices: list[Choice] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    stuck: HandbellError | None = None
    spare: bool = False
    view: View | None = None
    out: bool = False
    find: Callable[[str], Entry | None] = field(default=lambda name: None, repr=False)

    @property
    def moves(self) -> bool:
        """Whether anything changes."""
        return bool(self.choices) or self.out

    @property
    def new(self) -> Entry:
        """The exercise that takes its place; there must be choices."""
        return self.choices[0].entry

    def leave(self, why: str, remedy: str) -> None:
        """Leave the exercise as it is, and say so."""
        self.choices = []
        self.stuck = HandbellError(why, remedy)


class NotThereError(HandbellError):
    """An exercise that is to be swapped is not done."""


def find_swaps(
    text: PlanText,
    library: Library,
    wish: Wish,
    name: str | None = None,
    to: str | None = None,
    block: int | None = None,
    view: View | None = None,
) -> list[Swap]:
    """Return the swaps that a wish asks for, each with its choices, best first.

    Without ``name`` every exercise that can't be done as things stand: its kit is missing or it
    loads a sore part; one that nothing can take the place of is ``stuck``, and the others go on.
    ``to`` names the replacement, ``block`` (from 1) keeps to one block. With a ``view`` it is what
    some bibs do that is looked at; for what is too hard or too easy, all of it. Raises
    NotThereError when the exercise named isn't there, HandbellError when for everybody nothing can
    take its place.
    """
    doings = text.exercises if view is None else view.doings
    known = known_in(doings, library)
    grouped: dict[tuple[str, bool], Swap] = {}
    for place in doings:
        if block is None or place.block == block - 1:
            here, old = place.values["name"], known[place.at]
            shared = view is not None and place.place in view.shared
            key = (old.id if old else name_key(here), shared)
            grouped.setdefault(
                key, Swap(here, old, [], view=view, find=library.find)
            ).places.append(place)
    floor = Floor(text, known)
    if name is None:
        everything = view is not None and wish.because in GRADES
        asked = [
            s
            for s in grouped.values()
            if s.old and (everything or _because(s.old, wish, floor.around(s.places)))
        ]
    else:
        asked = _named(name, grouped, library, text.name, block)
    for swap in asked:
        swap.spare = wish.because in SPARING
        _choose(swap, library, _wish_for(swap, wish), floor, to)
        _keep_kind(text, swap)
        if view is not None:
            _keep_own(text, swap, view)
            swap.out = (
                not swap.choices and not _is_shared(swap, view) and wish.because not in GRADES
            )
        if swap.stuck and name is not None and view is None:
            raise swap.stuck
        for place in swap.places if swap.choices else ():
            known[place.at] = swap.new
    return asked


def _named(
    name: str,
    grouped: dict[tuple[str, bool], Swap],
    library: Library,
    file: str,
    block: int | None,
) -> list[Swap]:
    entry = library.find(name)
    keys = {name_key(name), *([entry.id] if entry else [])}
    found = [swap for (key, _), swap in grouped.items() if key in keys]
    if found:
        return found
    where = f"{file}, block {block}," if block is not None else file
    there = ", ".join(dict.fromkeys(swap.name for swap in grouped.values())) or "nothing"
    raise NotThereError(f'{where} has no exercise "{name}"', f"It has {there}")


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
            raise HandbellError(f"{swap.name} is {new.name} already", "Name another")
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
            "Name another for it",
        )
    else:
        swap.choices = kept


def _keep_own(text: PlanText, swap: Swap, view: View) -> None:
    """Leave what can be an own task: none in a list, and no hold where everybody tallies."""
    if _is_shared(swap, view):
        swap.leave(
            f"{swap.name} in block {swap.places[0].block + 1} is in a list that everybody goes "
            "through, which has no own tasks",
            f"Let {bibs_words(view.bibs)} leave it out there, or swap it for everybody",
        )
        return
    blocks = text.plan.blocks
    tallied = any(blocks[p.block].exercises[p.at[1]].tap.rule == "tally" for p in swap.places)
    if swap.choices and tallied:
        kept = [choice for choice in swap.choices if not choice.entry.is_hold]
        if not kept:
            swap.leave(
                f"{swap.new.name} is a hold, and {swap.name} is tallied by everybody",
                "Leave it out, or name another for it",
            )
        swap.choices = kept


def _is_shared(swap: Swap, view: View) -> bool:
    """Return whether its places, all alike, are in lists that everybody goes through."""
    return swap.places[0].place in view.shared


def _require_choice(swap: Swap, wish: Wish, others: Sequence[Choice]) -> None:
    assert swap.old is not None
    if wish.because == "no-kit" and not swap.old.kit:
        raise HandbellError(
            f"{swap.name} needs no kit", "Give another reason, or name another for it"
        )
    if not swap.choices:
        names = [choice.entry.name for choice in others[:OTHERS_TOLD]]
        such = f", such as {listed(names, 'or')}" if names else ""
        swap.leave(
            f"Nothing in the library can take the place of {swap.name} here",
            f"It is a {swap.old.pattern}: leave it out, or name another for it{such}",
        )
