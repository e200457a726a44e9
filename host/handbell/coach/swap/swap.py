"""Swapping exercises of a plan: which, and what may take their place."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from handbell.base.errors import HandbellError
from handbell.base.words import listed
from handbell.coach.library.entry import Entry, needs_words
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library
from handbell.coach.writing.edit import PlanText, Written
from handbell.plan.own_tasks import bibs_words

from .floor import Floor, as_called, kit_of_all, known_in
from .keys import ends_with_its_reps, is_inside
from .rank import SPARING, Choice, Surroundings, Wish, beyond, choices, lacks, named_choice
from .sore import strained
from .views import View

GRADES = ("too-hard", "too-easy")  # what single bibs may ask of all that they do
OTHERS_TOLD = 3  # where no exercise of the pattern can do


@dataclass
class Swap:
    """One exercise of a plan, everywhere it is done, and what may take its place.

    ``name`` is what the plan calls it, ``old`` is None when the library doesn't know it.
    ``said`` tells what else changes with the first choice, ``spare`` that nothing may be
    more than it was. ``view`` is whose own task it becomes, None for everybody's. Without choices
    ``stuck`` says why, and it stays as it is, or those bibs leave it ``out``, if they ``may_rest``.
    ``was_out`` is what those bibs leave out now.
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
    may_rest: bool = False
    was_out: bool = False
    find: Callable[[str], Entry | None] = field(default=lambda name: None, repr=False)

    @property
    def moves(self) -> bool:
        """Whether anything changes."""
        return bool(self.choices) or self.out

    @property
    def names(self) -> list[str]:
        """All that the plan calls it."""
        return list(dict.fromkeys(place.values["name"] for place in self.places))

    @property
    def new(self) -> Entry:
        """The exercise that takes its place; there must be choices."""
        return self.choices[0].entry

    def leave(self, why: str, remedy: str) -> None:
        """Leave the exercise as it is, and say so."""
        self.choices = []
        self.said = []
        self.out = False
        self.stuck = HandbellError(why, remedy)


_Key = tuple[str, bool, bool]
"""What is done, whether it is in a list of all, and whether it is left out."""


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
    some bibs do that is looked at; for what is too hard or too easy, all of it. Exercises are
    called as the plan calls them. Raises
    NotThereError when the exercise named isn't there, HandbellError when for everybody nothing can
    take its place.
    """
    library = as_called(library, text)
    doings = text.exercises if view is None else view.doings
    known = known_in(doings, library)
    grouped: dict[_Key, Swap] = {}
    for place in (*doings, *(view.left if view else ())):
        if block is None or place.block == block - 1:
            here, old = place.values["name"], library.find(place.values["name"])
            shared = view is not None and place.place in view.shared
            left = view is not None and place in view.left
            key = (old.id if old else name_key(here), shared, left)
            grouped.setdefault(
                key, Swap(here, old, [], view=view, find=library.find, was_out=left)
            ).places.append(place)
    floor = Floor(text, known, kit_of_all(text, library) if view else frozenset())
    if name is None:
        everything = view is not None and wish.because in GRADES
        done = (s for s in grouped.values() if s.old and not s.was_out)
        asked = [
            s
            for s in done
            if s.old and (everything or _because(s.old, wish, floor.around(s.places)))
        ]
    else:
        asked = _named(name, grouped, library, text.name, block, to is not None)
    for swap in asked:
        swap.spare = wish.because in SPARING
        _choose(text, swap, library, _wish_for(swap, wish), floor, to)
        _keep_kind(text, swap)
        if view is not None:
            _keep_own(text, swap, view)
            asked_for = to is None or wish.because == "sore"
            swap.may_rest = asked_for and not (_is_shared(swap, view) or wish.because in GRADES)
            swap.out = not swap.choices and swap.may_rest
        if swap.stuck and name is not None and view is None:
            raise swap.stuck
        for place in swap.places if swap.choices else ():
            known[place.at] = swap.new
    return asked


def _named(
    name: str,
    grouped: dict[_Key, Swap],
    library: Library,
    file: str,
    block: int | None,
    replaced: bool,
) -> list[Swap]:
    """Return what is called so; what is left out only where it is said what is done instead."""
    entry = library.find(name)
    keys = {name_key(name), *([entry.id] if entry else [])}
    found = [swap for (key, *_), swap in grouped.items() if key in keys]
    done = [swap for swap in found if not swap.was_out]
    if done or (found and replaced):
        return done or found
    where = f"{file}, block {block}," if block is not None else file
    if found and found[0].view is not None:
        out, whose = found[0].name, bibs_words(found[0].view.bibs)
        raise NotThereError(
            f"{where} has {out} left out for {whose} (out = true)",
            f"Name behind it what they do instead, or {out} again to let them do it",
        )
    names = (swap.name for swap in grouped.values() if not swap.was_out)
    there = ", ".join(dict.fromkeys(names)) or "nothing"
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


def _given_another_for(text: PlanText, swap: Swap, library: Library) -> dict[str, str]:
    """Return, by their ids, what everybody does where these bibs were given another for it.

    Why they were the plan doesn't keep, so it is not given back to them unless somebody names it.
    """
    own = swap.view.own if swap.view else {}
    names = [text.at(place.place)["name"] for place in swap.places if place.place in own]
    found = {name: library.find(name) for name in names}
    return {entry.id: name for name, entry in found.items() if entry}


def _choose(
    text: PlanText, swap: Swap, library: Library, wish: Wish, floor: Floor, to: str | None
) -> None:
    around = floor.around(swap.places, swap.view.bibs if swap.view else ())
    if to is not None:
        new = library.need(to)
        if new is swap.old and not swap.was_out:
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
            shunned = _given_another_for(text, swap, library) if wish.because != "too-easy" else {}
            found = choices(library, swap.old, wish, around)
            swap.choices = [choice for choice in found if choice.entry.id not in shunned]
            others = beyond(library, swap.old, wish, around)
            _require_choice(swap, wish, [c for c in others if c.entry.id not in shunned])
            if found and not swap.choices:
                swap.leave(
                    f"Nothing but {listed(list(shunned.values()))} can take the place of "
                    f"{swap.name} here, and they were given another for that before",
                    "Leave it out, or name another for it",
                )


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
    """Leave what can be an own task: none in a list, and no hold where everybody tallies.

    Nor where reps say when a task of a turn is done: a hold would take the whole of it.
    """
    if _is_shared(swap, view):
        swap.leave(
            f"{swap.name} in block {swap.places[0].block + 1} is in a list that everybody goes "
            "through, which has no own tasks",
            f"Let {bibs_words(view.bibs)} leave it out there, or swap it for everybody",
        )
        return
    blocks = text.plan.blocks
    tallied = any(blocks[p.block].exercises[p.at[1]].tap.rule == "tally" for p in swap.places)
    untimed = any(ends_with_its_reps(text, p) for p in swap.places)
    if swap.choices and (tallied or untimed):
        kept = [choice for choice in swap.choices if not choice.entry.is_hold]
        if not kept:
            why = "is tallied by everybody" if tallied else "has the whole turn, too long to hold"
            swap.leave(
                f"{swap.new.name} is a hold, and {swap.name} {why}",
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
