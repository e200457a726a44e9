"""Own tasks for those of whom something is noted, by the bib they wear; nothing says why."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from handbell.coach.library.shelf import Library, load_library
from handbell.coach.swap.own import find_own, swapped_own
from handbell.coach.swap.rank import Wish
from handbell.coach.swap.swap import Swap
from handbell.coach.swap.views import views
from handbell.coach.writing.edit import PlanText
from handbell.plan.faults import place_words
from handbell.plan.own_tasks import everybody
from handbell.store.people.told import BEGINNER, Note
from handbell.work.after.people import notes

from .plans import plan_text, write_changed


@dataclass(frozen=True)
class OwnTask:
    """What some bibs do in an exercise's place; ``instead`` "" where they rest."""

    bibs: tuple[int, ...]
    exercise: str
    where: str
    instead: str
    cautions: str


@dataclass(frozen=True)
class NotedTasks:
    """Own tasks that were found, and what they change in the plan's file, ``difference``.

    ``stuck`` are exercises for which nothing was found, ``unseen`` those of which not enough is
    known; ``strangers`` how many with a note wear no bib of the plan. ``ok``: nothing is stuck.
    """

    ok: bool
    plan: str
    tasks: tuple[OwnTask, ...]
    stuck: tuple[str, ...]
    unseen: tuple[str, ...]
    strangers: int
    difference: tuple[str, ...]
    written: str | None


def swap_noted(
    plan: Path,
    today: date,
    group: str | None = None,
    own_library: Path | None = None,
    write: bool = False,
    out: Path | None = None,
    store_at: str | None = None,
) -> NotedTasks:
    """Propose own tasks for who has a standing note, by the bib that they usually wear.

    ``group``: of the roster, for a plan in which only they are. Raises PlanError.
    """
    library = load_library(own_library)
    text, before = plan_text(plan)
    there = set(everybody(text.plan))
    some = [n for n in notes(today, store_at).notes if group is None or _is(n.group, group)]
    mine = [n for n in some if n.bib in there]
    done: list[Swap] = []
    now = before
    for wish, bibs in _wishes(mine):
        text = PlanText(now, str(plan))
        found = find_own(text, library, wish, bibs)
        if wish.because == "too-hard":  # twice makes nothing easier still
            found = [one for one in found if not _has_own(one)]
        if any(one.moves for one in found):
            now, _ = swapped_own(text, found)
        done += found
    moving = [one for one in done if one.moves]
    stuck = dict.fromkeys(one.name for one in done if one.stuck and not one.out)
    changed = now != before
    return NotedTasks(
        ok=not stuck,
        plan=str(plan),
        tasks=tuple(_told(one) for one in moving),
        stuck=tuple(stuck),
        unseen=tuple(_unseen(text, library, [n.bib for n in mine if n.bib is not None])),
        strangers=len({n.called for n in some} - {n.called for n in mine}),
        difference=_difference(before, now),
        written=write_changed(plan, before, now, write, out) if changed else None,
    )


def noted_bibs(bibs: Iterable[int], group: str, today: date, store_at: str | None) -> list[int]:
    """Return those of a group's bibs whose wearers have a standing note."""
    some = notes(today, store_at).notes
    return sorted({n.bib for n in some if n.bib is not None and _is(n.group, group)} & {*bibs})


def _is(group: str, other: str) -> bool:
    return group.casefold() == other.casefold()


def _wishes(some: Iterable[Note]) -> list[tuple[Wish, list[int]]]:
    """Return what is wished for which bibs; what is sore last, so that nothing loads it after."""
    by_bib: dict[int, set[str]] = {}
    for one in some:
        by_bib.setdefault(one.bib or 0, set()).add(one.what)
    wishes: dict[Wish, list[int]] = {}
    for bib, what in sorted(by_bib.items()):
        if BEGINNER in what:
            wishes.setdefault(Wish("too-hard"), []).append(bib)
    for bib, what in sorted(by_bib.items()):
        sore = tuple(sorted(what - {BEGINNER}))
        if sore:
            wishes.setdefault(Wish("sore", sore), []).append(bib)
    return list(wishes.items())


def _has_own(one: Swap) -> bool:
    return one.view is not None and any(p.place in one.view.own for p in one.places)


def _told(one: Swap) -> OwnTask:
    return OwnTask(
        one.view.bibs if one.view else (),
        one.name,
        "; ".join(place_words(place.place) for place in one.places),
        "" if one.out else one.new.name,
        "" if one.out else one.new.cautions,
    )


def _unseen(text: PlanText, library: Library, bibs: list[int]) -> list[str]:
    names = dict.fromkeys(w.values["name"] for view in views(text, bibs) for w in view.doings)
    entries = {name: library.find(name) for name in names}
    return [name for name, entry in entries.items() if entry is None or not entry.loads_known]


def _difference(before: bytes, after: bytes) -> tuple[str, ...]:
    old, new = (data.decode("utf-8-sig").splitlines() for data in (before, after))
    return tuple(difflib.unified_diff(old, new, "now", "then", n=1, lineterm=""))[2:]
