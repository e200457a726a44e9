"""Swapping exercises of a plan for others of the library."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from handbell.base.errors import UsageError
from handbell.coach.library.shelf import Library, load_library
from handbell.coach.swap import swap as swapping
from handbell.coach.swap.own import find_own, swapped_own
from handbell.coach.swap.rank import Wish, given_up
from handbell.coach.swap.sore import moved_by, newly_loaded, sore_parts, strained
from handbell.coach.swap.views import views
from handbell.coach.swap.write import swapped
from handbell.coach.writing.edit import PlanText
from handbell.plan.faults import place_words

from .exercises import kit_keys, missing_kit
from .plans import new_remarks, plan_text, write_changed

CHOICES_TOLD = 5


@dataclass(frozen=True)
class Place:
    """Where an exercise stands, from 1; ``part`` in a list that is gone through, else None."""

    block: int
    exercise: int
    part: int | None = None


@dataclass(frozen=True)
class Choice:
    """What may take an exercise's place; the lower the cost the nearer. ``why`` are reasons."""

    id: str
    name: str
    cost: float
    why: tuple[str, ...]


@dataclass(frozen=True)
class Swap:
    """An exercise to swap, ``known`` by the library under another name, and its choices.

    ``bibs`` are those who get another, none for everybody. ``changes`` says what else changes with
    the first choice, ``given_up`` what is lost with it, ``cautions`` what to mind. For a sore part
    ``newly_loads`` has the parts that it loads and the old one did not, and ``chosen_before`` is
    whether it takes the place of another that only these bibs had. Where there are no choices,
    ``stuck`` says why, and ``left_out`` whether these bibs rest meanwhile.
    """

    exercise: str
    bibs: tuple[int, ...]
    known: str
    places: tuple[Place, ...]
    where: str
    because: str
    stuck: str
    choices: tuple[Choice, ...]
    changes: tuple[str, ...]
    given_up: str
    newly_loads: tuple[str, ...]
    chosen_before: bool
    cautions: str
    left_out: bool


@dataclass(frozen=True)
class Swapped:
    """Swaps found, and what each first choice changes in the plan's file, ``difference``.

    ``sore`` are the parts to spare, ``also_spared`` the joints that those among them move which are
    muscles; ``unknown`` the exercises that the library doesn't know, so that nothing can be said of
    them, ``loads_unknown`` those of which nobody wrote what they load; ``bibs`` those it is for,
    none for everybody, and ``idle`` those of them who need no swap. ``ok`` is False where something
    is stuck.
    """

    ok: bool
    plan: str
    swaps: tuple[Swap, ...]
    difference: tuple[str, ...]
    warnings: tuple[str, ...]
    sore: tuple[str, ...]
    also_spared: tuple[str, ...]
    unknown: tuple[str, ...]
    loads_unknown: tuple[str, ...]
    bibs: tuple[int, ...]
    idle: tuple[int, ...]
    written: str | None


@dataclass(frozen=True)
class Reasons:
    """Why exercises are swapped, as it was said: kit as texts, ``where`` the sore parts."""

    because: str | None = None
    where: Sequence[str] = ()
    without: Sequence[str] | None = None
    kit: Sequence[str] | None = None


def swap(
    plan: Path,
    exercise: str | None = None,
    reasons: Reasons | None = None,
    to: str | None = None,
    block: int | None = None,
    own_library: Path | None = None,
    write: bool = False,
    out: Path | None = None,
    bibs: Sequence[int] = (),
) -> Swapped:
    """Swap an exercise, or without its name all that lack kit or load a sore part.

    ``to`` names the replacement, ``block`` (from 1) keeps to one; for ``bibs`` own tasks are
    written, and all they do may be too hard or too easy. Raises UsageError when it isn't said what
    to swap, PlanError, HandbellError when nothing can take the exercise's place.
    """
    library = load_library(own_library)
    wish = _wish(reasons or Reasons(), library, exercise, to, bool(bibs))
    text, before = plan_text(plan)
    blocks = len(text.plan.blocks)
    if block is not None and not 1 <= block <= blocks:
        raise UsageError(f"{plan} has no block {block}", f"Name a block from 1 to {blocks}")
    if bibs:
        swaps = find_own(text, library, wish, bibs, exercise, to, block)
    else:
        swaps = swapping.find_swaps(text, library, wish, exercise, to, block)
    after = before
    warnings: tuple[str, ...] = ()
    if any(one.moves for one in swaps):
        after, built = swapped_own(text, swaps) if bibs else swapped(text, swaps)
        warnings = new_remarks(text.plan, built, library)
    moving = [one for one in swaps if one.moves]
    for one in swaps if exercise is not None and not bibs else ():
        if one.stuck:
            raise one.stuck
    written = write_changed(plan, before, after, write, out) if moving or not swaps else None
    return Swapped(
        moving == swaps,
        str(plan),
        tuple(_told(one, text, library, wish) for one in swaps),
        _difference(before, after),
        warnings,
        tuple(wish.sore),
        moved_by(wish.sore),
        _unknown(text, library, bibs) if wish.sore or (bibs and exercise is None) else (),
        _loads_unknown(text, library, wish, bibs),
        tuple(sorted({*bibs})),
        _idle(swaps, bibs),
        written if moving else None,
    )


def _wish(said: Reasons, library: Library, exercise: str | None, to: str | None, own: bool) -> Wish:
    sore = sore_parts(said.where)
    if said.because == "sore" and not sore:
        raise UsageError("Say what is sore", "Add --where knee, or another part")
    if said.where and said.because != "sore":
        raise UsageError("--where goes with --because sore", "Add --because sore")
    everywhere = said.without or said.kit or said.because == "sore"
    if exercise is None and own and said.because in swapping.GRADES:
        everywhere = True
    if exercise is None and said.because in swapping.GRADES and not everywhere:
        way = "easier" if said.because == "too-hard" else "harder"
        remedy = f"Name an exercise, or bibs with --bib; handbell fit --{way} changes a whole plan"
        raise UsageError("Say what to swap", remedy)
    if exercise is None and not everywhere:
        raise UsageError("Say what to swap", "Name an exercise, or --without some kit")
    there = library.kit if said.kit is None else said.kit
    kit = None if there is None else kit_keys(library, there)
    return Wish(said.because, sore, missing_kit(library, said.without), kit)


def _told(found: swapping.Swap, text: PlanText, library: Library, wish: Wish) -> Swap:
    known = library.entries[found.old.id].name if found.old else found.name
    taken = known if known != found.name else ""
    choices = found.choices[:CHOICES_TOLD]
    lost = given_up(found.old, found.new) if found.old and choices else ""
    fresh = newly_loaded(found.old, found.new) if found.old and choices and wish.sore else ()
    return Swap(
        found.name,
        found.view.bibs if found.view else (),
        taken,
        tuple(Place(*(n + 1 for n in place.at)) for place in found.places),
        "; ".join(place_words(place.place) for place in found.places),
        found.because,
        str(found.stuck or ""),
        tuple(Choice(c.entry.id, c.entry.name, round(c.cost, 2), tuple(c.why)) for c in choices),
        tuple(found.said),
        lost,
        tuple(fresh),
        bool(wish.sore) and _chosen_before(found, text),
        found.new.cautions if choices else "",
        found.out,
    )


def _chosen_before(found: swapping.Swap, text: PlanText) -> bool:
    """Return whether it is an own task already that has another name than everybody's."""
    own = found.view.own if found.view else {}
    tables = (text.at((*w.place, "scaled", own[w.place])) for w in found.places if w.place in own)
    return any("name" in table for table in tables)


def _unknown(text: PlanText, library: Library, bibs: Sequence[int]) -> tuple[str, ...]:
    return tuple(name for name in _names(text, bibs) if library.find(name) is None)


def _loads_unknown(
    text: PlanText, library: Library, wish: Wish, bibs: Sequence[int]
) -> tuple[str, ...]:
    """Return what may load a sore part, since it isn't written what it loads, as far as known."""
    known = ((name, library.find(name)) for name in _names(text, bibs) if wish.sore)
    return tuple(
        name
        for name, entry in known
        if entry and not entry.loads_known and not strained(entry, wish.sore)
    )


def _names(text: PlanText, bibs: Sequence[int]) -> list[str]:
    looked_at = [place for view in views(text, bibs) for place in view.doings]
    names = (place.values["name"] for place in (looked_at if bibs else text.exercises))
    return list(dict.fromkeys(names))


def _idle(swaps: Sequence[swapping.Swap], bibs: Sequence[int]) -> tuple[int, ...]:
    busy = {bib for swap in swaps if swap.view for bib in swap.view.bibs}
    return tuple(sorted({*bibs} - busy))


def _difference(before: bytes, after: bytes) -> tuple[str, ...]:
    old, new = (data.decode("utf-8-sig").splitlines() for data in (before, after))
    return tuple(difflib.unified_diff(old, new, "now", "then", n=1, lineterm=""))[2:]
