"""Whose effort is meant: the places that a bib has in a class."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from handbell.base.errors import UsageError

from .records import Amendment, ClassRecord
from .settle import BIB

LISTED_MOST = 6


@dataclass(frozen=True)
class Among:
    """Of which windows something is said; "" and 0 mean all. ``since`` is a window, from it on."""

    exercise: str = ""
    round: int = 0
    window: int = 0
    block: int = 0
    since: int = 0

    def has(self, place: Place) -> bool:
        """Whether a place is among them."""
        return (
            (not self.exercise or place.exercise.casefold() == self.exercise.casefold())
            and self.round in (0, place.round)
            and self.window in (0, place.window)
            and self.block in (0, place.block)
            and self.since <= place.window
        )


@dataclass(frozen=True)
class Place:
    """One bib's place in a class: a window and slot of one box's run."""

    run: int
    station: int
    window: int
    slot: int
    bib: int
    exercise: str
    block: int
    round: int
    ask: int
    tap: int
    length_ms: int


ALL = Among()


def places_of(
    record: ClassRecord, bib: int, among: Among = ALL, as_planned: bool = False
) -> list[Place]:
    """Return a bib's places in a class, as far as they are among those that are meant.

    With ``as_planned`` those where the plan has it, whoever was there: so two bibs that changed
    places can be put right one after the other. Raises UsageError when there are none.
    """
    found = _all_places(record, bib, as_planned)
    wanted = [place for place in found if among.has(place)]
    if not wanted:
        does = _some([f"{p.exercise} round {p.round}" for p in found])
        raise UsageError(f"Bib {bib} has no such window in class {record.row.id}", f"It has {does}")
    return wanted


def both_places(
    record: ClassRecord, bibs: tuple[int, int], among: Among = ALL
) -> dict[int, list[Place]]:
    """Return the places where the plan has each of two bibs; one of them may have none there.

    Raises UsageError where neither has one, where one has none in the whole class, or for one bib.
    """
    if bibs[0] == bibs[1]:
        raise UsageError(f"Bib {bibs[0]} can't change with itself", "Say two bibs")
    found = {bib: _all_places(record, bib, as_planned=True) for bib in bibs}
    wanted = {bib: [p for p in some if among.has(p)] for bib, some in found.items()}
    if not any(wanted.values()):
        does = _some([f"{p.exercise} round {p.round}" for p in found[bibs[0]]])
        raise UsageError(
            f"Neither bib has such a window in class {record.row.id}", f"Bib {bibs[0]} has {does}"
        )
    return wanted


def _all_places(record: ClassRecord, bib: int, as_planned: bool) -> list[Place]:
    found = [
        Place(
            run=run.id,
            station=run.station,
            window=asked.number,
            slot=slot,
            bib=bib,
            exercise=asked.name,
            block=asked.block,
            round=asked.round,
            ask=asked.ask,
            tap=asked.tap,
            length_ms=asked.duration_ms,
        )
        for run in record.runs
        for each in (run.planned if as_planned else run.timeline).windows.values()
        for slot, there in enumerate(each.bibs)
        if there == bib
        for asked in (each.at(slot),)
    ]
    if found:
        return found
    planned = _who_was_planned(record, bib) if as_planned else []
    if planned:
        raise UsageError(
            f"What bib {bib} has in class {record.row.id} was given to it",
            f"Name the bib of the plan: --bib {' or '.join(map(str, planned))}",
        )
    have = ", ".join(map(str, record.bibs)) or "none"
    raise UsageError(
        f"Bib {bib} has no window in class {record.row.id}",
        f"The bibs of that class are {have}",
    )


def _who_was_planned(record: ClassRecord, bib: int) -> list[int]:
    """Return the bibs that the plan has where another one was as the coach said."""
    return sorted(
        {
            window.bibs[slot]
            for run in record.runs
            for window in run.planned.windows.values()
            for slot, there in enumerate(run.timeline.windows[window.number].bibs)
            if there == bib
        }
        - {0, bib}
    )


def twice_there(record: ClassRecord, amended: Iterable[Amendment]) -> list[str]:
    """Return a sentence for each bib that amendments leave at two buttons at the same time.

    Where a spare took over, its button is the same one.
    """
    at: dict[tuple[int, int], dict[tuple[int, int], int]] = {}
    windows = {}
    for run in record.runs:
        for window in run.timeline.windows.values():
            windows[run.id, window.number] = window
            for slot, bib in enumerate(window.bibs):
                planned = run.planned.windows[window.number].bibs[slot]
                at.setdefault((window.start_ms, bib), {})[run.station, slot] = planned
    said = []
    for one in amended:
        if one.what != BIB:
            continue
        window = windows[one.run, one.window]
        for bib in (int(one.value), one.bib):
            there = at.get((window.start_ms, bib), {})
            if bib and len(there) > 1:
                others = ", ".join(str(other) for other in sorted(there.values()) if other != bib)
                said.append(
                    f"Bib {bib} now has {len(there)} rows in {window.name}, round {window.round}: "
                    f"its own and that of bib {others}. Say who was at the other button, too: "
                    f"handbell amend {record.row.id} --bib {bib} --window {one.window} --to-bib BIB"
                )
    return list(dict.fromkeys(said))


def _some(words: Sequence[str]) -> str:
    """List the first of some words, and how many more there are."""
    different = list(dict.fromkeys(words))
    more = len(different) - LISTED_MOST
    return ", ".join(different[:LISTED_MOST]) + (f" and {more} more" if more > 0 else "")


def one_window(record: ClassRecord, places: Sequence[Place]) -> list[Place]:
    """Return the places of the one window that is meant; raises UsageError if there are several.

    Where two boxes played it, those with a result of it are taken, so that both say the same.
    """
    buttons = {(p.station, p.slot) for p in places}
    if len({p.window for p in places}) > 1:
        each = [f"{p.exercise} round {p.round} (window {p.window})" for p in places]
        raise UsageError(
            f"Bib {places[0].bib} has {len(places)} such windows: {_some(each)}",
            "Say which one with --exercise and --round, or with --window",
        )
    if len(buttons) > 1:
        one = places[0]
        raise UsageError(
            f"Bib {one.bib} has {len(buttons)} rows in window {one.window} ({one.exercise})",
            f"First say who was at the other button: handbell amend {record.row.id} "
            f"--bib {one.bib} --window {one.window} --to-bib BIB",
        )
    told = {(r.run, r.window, r.slot) for r in record.results}
    return [p for p in places if (p.run, p.window, p.slot) in told] or list(places[-1:])
