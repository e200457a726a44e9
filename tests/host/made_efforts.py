"""Efforts, classes and taps for tests of the analysis, made by hand and without a store."""

from dataclasses import replace

from handbell.analysis.past.history import Attended, PastClass, Person, Played
from handbell.analysis.past.taps import TapRow
from handbell.store.results.effort import Effort, Outcome
from handbell.store.results.records import ClassRecord, ClassRow, Wearer
from handbell.store.results.sums import added_up
from handbell_core import journal as j
from handbell_core import timeline as t

START_US = 1_790_000_000_000_000
WEEK_US = 7 * 86_400_000_000

TARGET = Effort(
    bib=1, who="", station=1, block=1, item=1, round=1, name="Push-up", ask=t.ASK_TARGET,
    tap=t.TAP_EACH, goal=10, start_ms=10_000, end_ms=40_000, outcome=Outcome.DONE, reps=10,
    made_ms=30_000, run=1, window=1,
)  # fmt: skip


def effort(**changes) -> Effort:
    """Return a target of ten push-ups made in 20 s, changed."""
    return replace(TARGET, **changes)


def attended(bib, efforts, rating=7, name=None, there=True) -> Attended:
    """Return somebody's class."""
    person = (
        Person(f"name {name}", name, True) if name else Person(f"bib {bib}", f"Bib {bib}", False)
    )
    sums = tuple(one for _, one in added_up(efforts))
    return Attended(person, bib, sums, rating, there, lambda: Played(None, {bib: tuple(efforts)}))


def past(people, week=0, runs=(), absent=()) -> PastClass:
    """Return a class of some week with people in it."""
    at = START_US + week * WEEK_US
    row = ClassRow(week + 1, "0" * 24, "Two blocks", at, "host", at, 1, at)
    wearers = {bib: Wearer(bib, None, True) for bib in absent}
    record = ClassRecord(row, {}, list(runs), [], {}, [], wearers)
    return PastClass(row, 900_000, tuple(people), lambda: Played(record, {}))


def taps(times_ms, bib=1, window=1, run=1, flags=0, slot=0) -> list[TapRow]:
    """Return taps at some times; those that are outside or extra don't stand."""
    stands = not flags & (j.TAP_OUTSIDE | j.TAP_EXTRA)
    return [
        TapRow(run, n, "tap", slot, bib, window, int(at), flags, stands)
        for n, at in enumerate(times_ms)
    ]
