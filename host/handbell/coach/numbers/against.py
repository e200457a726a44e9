"""A plan's numbers beside another one's, such as last week's."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .numbers import Range, one, over

if TYPE_CHECKING:
    from handbell.compile import CompiledClass

    from .numbers import Expected, Numbers, Share


@dataclass(frozen=True)
class Measure:
    """One number of both plans; least and most differ where people do different things.

    ``unit`` is ``ms``, ``percent``, ``reps`` or ``kcal/kg``, or ``windows``; ``estimate`` says
    that it is none of the exact ones.
    """

    what: str
    unit: str
    last: Range
    now: Range
    estimate: bool = False


@dataclass(frozen=True)
class Against:
    """What differs between two plans; the lists name exercises."""

    measures: tuple[Measure, ...]
    new: tuple[str, ...]
    gone: tuple[str, ...]
    changed: tuple[str, ...]


def against(
    built: CompiledClass, numbers: Numbers, last_built: CompiledClass, last: Numbers
) -> Against:
    """Return how a plan compares with the last one."""
    before, after = _asked(last), _asked(numbers)
    return Against(
        tuple(_measures(built, numbers, last_built, last)),
        tuple(name for name in after if name not in before),
        tuple(name for name in before if name not in after),
        tuple(
            f"{name}: {before[name]}, now {after[name]}"
            for name in after
            if name in before and before[name] != after[name]
        ),
    )


def _measures(
    built: CompiledClass, numbers: Numbers, last_built: CompiledClass, last: Numbers
) -> Iterator[Measure]:
    now_t, last_t = built.totals, last_built.totals
    yield Measure("lead-in to cool-down", "ms", one(last_t.slot_ms), one(now_t.slot_ms))
    yield Measure("first bell to last", "ms", one(last_t.total_ms), one(now_t.total_ms))
    yield Measure("windows", "windows", one(last_t.windows), one(now_t.windows))
    was, now = last.shares, numbers.shares
    for what, unit, value in _EXACT:
        yield Measure(what, unit, over(was, value), over(now, value))
    patterns = {p: None for s in (*was, *now) for p in s.work_by_pattern_ms}
    for pattern in sorted(patterns):

        def work_ms(share: Share, pattern: str = pattern) -> Range:
            return one(share.work_by_pattern_ms.get(pattern, 0))

        yield Measure(f"work: {pattern}", "ms", over(was, work_ms), over(now, work_ms))
    for what, unit, value in _ESTIMATED:
        yield Measure(what, unit, over(was, value), over(now, value), estimate=True)


_EXACT: tuple[tuple[str, str, Callable[[Share], Range]], ...] = (
    ("work", "ms", lambda s: one(s.work_ms)),
    ("rest", "ms", lambda s: one(s.rest_ms)),
    ("density", "percent", lambda s: one(s.density_percent)),
    ("work with hard landings", "ms", lambda s: one(s.high_impact_ms)),
    ("work on the floor", "ms", lambda s: one(s.floor_ms)),
    ("reps of targets", "reps", lambda s: one(s.asked_reps)),
)
_ESTIMATED: tuple[tuple[str, str, Callable[[Share], Range]], ...] = (
    ("likely reps", "reps", lambda s: s.likely_reps),
    ("hard landings", "reps", lambda s: s.landings),
    ("earned rest", "ms", lambda s: s.earned_rest_ms),
    ("energy", "kcal/kg", lambda s: s.kcal_per_kg),
)


def _asked(numbers: Numbers) -> dict[str, str]:
    """Return for each exercise what it asks for in all, in words."""
    found: dict[str, dict[str, None]] = {}
    for share in numbers.shares:
        for expected in share.exercises:
            name = expected.name + ", the list" * (expected.unit != "reps")
            found.setdefault(name, {})[_words(expected)] = None
    return {name: " or ".join(words) for name, words in found.items()}


def _words(expected: Expected) -> str:
    if expected.each_round:
        return f"{expected.each_round} in each round of a list"
    windows = "1 window" if expected.windows == 1 else f"{expected.windows} windows"
    times = f"{expected.work_ms / 1000:g} s in {windows}"
    if expected.ask == "hold":
        return f"{times} held"
    if not expected.asked:
        return times
    how = "wished for" if expected.ask == "open" else "in all"
    unit = expected.unit[:-1] if expected.asked == 1 else expected.unit
    return f"{times}, {expected.asked} {unit} {how}"
