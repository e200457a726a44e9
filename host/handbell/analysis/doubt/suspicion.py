"""Data that may not be what it looks like, each finding named and with its evidence in a line.

Nothing is dropped or corrected here: the coach looks, and says what was.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from statistics import fmean, stdev

from handbell.base.times import whole_clock
from handbell.base.words import several
from handbell.coach.library.shelf import Library
from handbell.store.results.effort import Effort, Outcome
from handbell_core import faults
from handbell_core import journal as j
from handbell_core import timeline as t

from ..past.history import PastClass
from ..past.taps import TAP, Key, TapRow, counted
from .against_own import against_own
from .bursts import within_bursts
from .finding import CLASS_WIDE, CLOCK_LOST, SIGNALS_MISSED, Finding
from .lumps import Lump, lumps
from .together import together

# All of these are our own, from what people can do and what a contact does; no source.
DOUBLE_SENSIBLE = 0.5  # of the quickest sensible rep
DOUBLE_UNKNOWN_MS = 300  # where the library doesn't know the exercise
SIGNALS_LEAST = 2  # a press is two of them
OUTSIDE_LEAST = 5  # taps between windows; one or two are a slip
STRAY_LEAST = 12  # taps at one go
STRAY_GAP_MS = 3_000
STRAY_VARIATION = 0.05  # of the gaps: people vary more
FASTEST_SHARE = 0.4  # of the quickest sensible rep: over twice as fast as the library's most


@dataclass(frozen=True)
class Look:
    """What the checks look at: a class, its taps, and the library's sensible reps."""

    past: PastClass
    taps: Sequence[TapRow]
    times: dict[Key, list[int]]
    library: Library

    @cached_property
    def efforts(self) -> list[Effort]:
        """Everybody's efforts."""
        return [e for who in self.past.people for e in who.efforts]

    def times_of(self, effort: Effort) -> list[int]:
        """Return the ``class_ms`` of an effort's counted taps."""
        return self.times.get((effort.run, effort.window, effort.slot), [])

    def quickest_ms(self, effort: Effort) -> float | None:
        """Return the time of one rep at the library's most sensible reps; None if unknown."""
        entry = self.library.find(effort.name)
        if entry is None or entry.reps_30s is None:
            return None
        return 30_000 / entry.reps_30s[1]


Check = Callable[[Look], Iterable[Finding]]


def findings_of(
    past: PastClass, taps: Sequence[TapRow], library: Library, before: Sequence[PastClass] = ()
) -> list[Finding]:
    """Return what is suspicious about a class; ``before`` are earlier ones, oldest first."""
    look = Look(past, taps, counted(taps), library)
    found = [finding for check in CHECKS for finding in check(look)]
    return found + list(against_own(past, before))


def double_presses(look: Look) -> Iterable[Finding]:
    """Taps much closer than reps can follow each other, two or more for one rep."""
    by_exercise: dict[tuple[int, str], list[tuple[Effort, int, int]]] = {}
    for effort in look.efforts:
        if effort.tap not in (t.TAP_EACH, t.TAP_EVERY) or effort.outcome is Outcome.PAUSED:
            continue  # a pause takes no time of the class, so taps before and after seem close
        quickest = look.quickest_ms(effort)
        floor = DOUBLE_UNKNOWN_MS if quickest is None else DOUBLE_SENSIBLE * quickest * effort.every
        twice = within_bursts(look.times_of(effort), floor)
        if twice:
            key = effort.bib, effort.name
            by_exercise.setdefault(key, []).append((effort, len(twice), min(twice)))
    for (bib, name), some in by_exercise.items():
        taps, shortest = sum(n for _, n, _ in some), min(ms for _, _, ms in some)
        yield Finding(
            "double-press",
            (bib,),
            some[0][0].station,
            name,
            f"{name}: {several(taps, 'tap')} came as close as {shortest} ms to the one before, "
            f"in {several(len(some), 'round')}; each may be one press too many",
            tuple(sorted({effort.run for effort, _, _ in some})),
        )


def lumped(look: Look) -> Iterable[Finding]:
    """Reps that were tapped in a lump: how many may be right, when is not."""
    efforts = look.efforts
    times = {n: look.times_of(e) for n, e in enumerate(efforts)}
    quickest = {e.name: look.quickest_ms(e) for e in efforts}
    by_exercise: dict[tuple[int, str], list[Lump]] = {}
    for lump in lumps(efforts, times, quickest):
        by_exercise.setdefault((lump.effort.bib, lump.effort.name), []).append(lump)
    for (bib, name), some in by_exercise.items():
        most = max(some, key=lambda lump: lump.taps)
        yield Finding(
            "lumped",
            (bib,),
            most.effort.station,
            name,
            f"{name}: in {several(len(some), 'round')} all taps came late and in a lump, "
            f"{most.taps} of them within {most.took_ms / 1000:.1f} s; their times tell nothing",
            tuple(sorted({lump.effort.run for lump in some})),
        )


def too_fast(look: Look) -> Iterable[Finding]:
    """More reps in a time than people can do."""
    for effort in look.efforts:
        quickest = look.quickest_ms(effort)
        if quickest is None or effort.outcome is not Outcome.DONE or not effort.reps:
            continue
        ms = effort.finish_ms
        reps = effort.goal
        if ms is None:
            ms, reps = effort.end_ms - effort.start_ms, effort.reps
        if ms < reps * quickest * FASTEST_SHARE:
            yield Finding(
                "too-fast",
                (effort.bib,),
                effort.station,
                effort.name,
                f"{effort.name}, round {effort.round}: {reps} reps in {ms / 1000:.1f} s; the "
                f"library's most would take {reps * quickest / 1000:.0f} s",
                (effort.run,),
            )


def outside_windows(look: Look) -> Iterable[Finding]:
    """Taps when nothing was to be counted, more than a slip."""
    stations = {run.id: run.station for run in look.past.record.runs}
    by_bib: dict[tuple[int, int], list[TapRow]] = {}
    for tap in look.taps:
        if tap.kind == TAP and tap.outside and not tap.paused:
            by_bib.setdefault((tap.run, tap.bib), []).append(tap)
    for (run, bib), some in by_bib.items():
        if len(some) >= OUTSIDE_LEAST and not _stray(some):
            yield Finding(
                "outside-windows",
                (bib,) if bib else (),
                stations.get(run, 0),
                CLASS_WIDE,
                f"{len(some)} taps between windows, which count for nothing; the first at "
                f"{whole_clock(some[0].class_ms)}",
                (run,),
            )


def left_counting(look: Look) -> Iterable[Finding]:
    """A box that counts though nobody is doing anything: something swings against it, say."""
    stations = {run.id: run.station for run in look.past.record.runs}
    by_bib: dict[tuple[int, int], list[TapRow]] = {}
    for tap in look.taps:
        if tap.kind == TAP and not tap.flags & j.TAP_TALLIED and not tap.paused:
            by_bib.setdefault((tap.run, tap.bib), []).append(tap)
    absent = {w.bib for w in look.past.record.wearers.values() if w.absent}
    for (run, bib), some in by_bib.items():
        station = stations.get(run, 0)
        if bib in absent:
            words = f"{len(some)} taps although the bib is marked absent"
            yield Finding("left-counting", (bib,), station, CLASS_WIDE, words, (run,))
            continue
        stretch = _stray(some)
        if stretch:
            yield Finding(
                "left-counting",
                (bib,) if bib else (),
                station,
                CLASS_WIDE,
                f"{len(stretch)} taps from {whole_clock(stretch[0].class_ms)} on, through windows "
                f"and pauses, one every {_gap_s(stretch):.1f} s as even as a machine",
                (run,),
            )


def _stray(taps: Sequence[TapRow]) -> Sequence[TapRow]:
    """Return the longest stretch of even taps that runs on outside windows, or nothing."""
    best: Sequence[TapRow] = ()
    begin = 0
    for n in range(1, len(taps) + 1):
        if n < len(taps) and 0 <= taps[n].class_ms - taps[n - 1].class_ms <= STRAY_GAP_MS:
            continue  # where an act took the class back, another stretch begins
        stretch = taps[begin:n]
        begin = n
        if len(stretch) >= STRAY_LEAST and len(stretch) > len(best):
            outside = sum(tap.outside for tap in stretch)
            if outside >= OUTSIDE_LEAST and _even(stretch):
                best = stretch
    return best


def _even(taps: Sequence[TapRow]) -> bool:
    gaps = [b.class_ms - a.class_ms for a, b in pairwise(taps)]
    return stdev(gaps) < STRAY_VARIATION * fmean(gaps)


def _gap_s(taps: Sequence[TapRow]) -> float:
    return (taps[-1].class_ms - taps[0].class_ms) / (len(taps) - 1) / 1000


def tapped_for_two(look: Look) -> Iterable[Finding]:
    """Two bibs at one box whose taps go together as one person's two thumbs do."""
    for pair in together(look.efforts, look.times_of):
        yield Finding(
            "tapped-for-two",
            (pair.one, pair.other),
            pair.station,
            CLASS_WIDE,
            f"in {pair.windows} windows every tap of the one came {pair.lag_ms:.0f} ms beside "
            f"the other's, give or take {pair.spread_ms:.0f} ms over {pair.taps} taps",
            tuple(run.id for run in look.past.record.runs if run.station == pair.station),
        )


def clocks_lost(look: Look) -> Iterable[Finding]:
    """A box that did not know the time, so that its class was placed by when it was collected."""
    for run in look.past.record.runs:
        if run.clock == "lost":
            yield Finding(
                CLOCK_LOST,
                (),
                run.station,
                CLASS_WIDE,
                "the box had no clock: its times are right within the class, not against others",
            )


def signals_missed(look: Look) -> Iterable[Finding]:
    """A box that missed button signals, nobody knows in which windows: counts may be short.

    A note tells of what was missed before it; a box writes it when the class is over.
    """
    for run in look.past.record.runs:
        notes = [
            n for n in look.past.record.notes if n.run == run.id and n.fault == faults.EDGES_LOST
        ]
        missed = sum(n.value for n in notes)
        if missed < SIGNALS_LEAST:
            continue
        until_ms = max(n.class_ms for n in notes)
        bibs = {
            e.bib
            for e in look.efforts
            if e.run == run.id and e.tap != t.TAP_NONE and e.start_ms < until_ms
        }
        if bibs:
            yield Finding(
                SIGNALS_MISSED,
                tuple(sorted(bibs)),
                run.station,
                CLASS_WIDE,
                f"the box of station {run.station} missed {missed} button signals; "
                "its counts may be short",
                (run.id,),
                until_ms,
            )


CHECKS: tuple[Check, ...] = (
    double_presses,
    lumped,
    too_fast,
    outside_windows,
    left_counting,
    tapped_for_two,
    clocks_lost,
    signals_missed,
)
