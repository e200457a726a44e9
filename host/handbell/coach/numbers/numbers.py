"""A plan in numbers: what one person does in it, and what the library makes of that.

Sums of times are exact. Reps, landings, earned rest and energy are estimates for a group, never a
measurement, and are called so wherever they are printed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from handbell.coach.library import lists
from handbell.compile.tasks import asked
from handbell_core.timeline import ASK_HOLD, ASK_TARGET, ASKS

from .efforts import Effort, ways
from .likely import Range as Range
from .likely import above, earned, left_ms_of, likely_reps, times
from .work_rest import Bout, bouts_of, compared

if TYPE_CHECKING:
    from handbell.coach.library.entry import Entry
    from handbell.coach.library.shelf import Library
    from handbell.compile import CompiledClass
    from handbell.plan.model import Exercise

UNKNOWN = "not in the library"
WAITING = "waiting"

# Compendium of Physical Activities, vigorous calisthenics 02020 and vigorous circuit training
# 02040: 7.5 MET (2024), 8.0 MET (2011).
MET_LEAST, MET_MOST = 7.5, 8.0
EXAMPLE_KG = 70
ENERGY_SOURCE = (
    "Energy: MET x 3.5 x kg / 200 kcal a minute (ACSM Guidelines), from the windows alone at 7.5 "
    "MET to the whole time at 8.0 (Compendium of Physical Activities, vigorous circuit training, "
    "2024 and 2011)"
)
REPS_SOURCE = (
    "Reps, landings and earned rest: the library's reps for 30 s (rule of thumb), "
    "stretched to the window; in long windows they will be fewer"
)


@dataclass(frozen=True)
class Expected:
    """What an exercise asks of one person and what is likely to come of it, all windows together.

    ``asked`` counts reps of targets or goals; ``likely`` are reps, None when the library doesn't
    know them or a position is kept. ``too_many`` is a target above what the library thinks sensible
    in its window, 0 when there is none. Of a list that is gone through the ``unit`` is rounds, and
    its parts have their reps in ``each_round``; how its time goes to them is an estimate.
    """

    name: str
    ask: str
    windows: int
    work_ms: int
    asked: int
    likely: Range | None
    too_many: int = 0
    unit: str = "reps"
    each_round: int = 0


@dataclass(frozen=True)
class Share:
    """The numbers of one person; ``who`` are the groups (or stations) that they are true of.

    Where not all of a group do the same, ``who`` names the bibs behind it: ``Red (bib 8)``.
    """

    who: tuple[str, ...]
    work_ms: int
    rest_ms: int
    work_by_pattern_ms: dict[str, int]
    high_impact_ms: int
    low_impact_ms: int
    floor_ms: int
    exercises: tuple[Expected, ...]
    landings: Range
    earned_rest_ms: Range
    kcal_per_kg: Range

    @property
    def density_percent(self) -> float:
        """Work in hundredths of the time from first bell to last."""
        return 100 * self.work_ms / (self.work_ms + self.rest_ms)

    @property
    def asked_reps(self) -> int:
        """The reps of all targets."""
        targets = (e for e in self.exercises if e.ask == ASKS[ASK_TARGET] and e.unit == "reps")
        return sum(e.asked for e in targets)

    @property
    def likely_reps(self) -> Range:
        """The reps that are likely in all."""
        likely = (e.likely for e in self.exercises if e.likely and e.unit == "reps")
        return sum(likely, Range())


@dataclass(frozen=True)
class Numbers:
    """A plan's numbers: a share for each sort of person, and the bouts that occur.

    ``rest_by_pattern_ms`` is what follows the windows of a pattern, from the person who gets the
    least to the one who gets the most.
    """

    shares: tuple[Share, ...]
    rest_by_pattern_ms: dict[str, Range]
    bouts: tuple[Bout, ...]


@dataclass
class _Sums:
    """Adds up one person's windows."""

    work_ms: dict[str, int] = field(default_factory=dict)
    impact_ms: dict[str, int] = field(default_factory=lambda: {"none": 0, "low": 0, "high": 0})
    floor_ms: int = 0
    expected: dict[tuple[str, str, str], Expected] = field(default_factory=dict)
    landings: Range = field(default_factory=Range)
    earned_rest_ms: Range = field(default_factory=Range)

    def add(self, effort: Effort, exercise: Exercise, entry: Entry | None) -> None:
        ms = effort.duration_ms
        pattern = entry.pattern if entry else UNKNOWN
        self.work_ms[pattern] = self.work_ms.get(pattern, 0) + ms
        ask, goal = asked(exercise, effort.round)
        likely = None
        if entry and entry.reps_30s and ask != ASK_HOLD:
            likely = likely_reps(entry.reps_30s, ms, goal if ask == ASK_TARGET else None)
        if entry:
            self.impact_ms[entry.impact] += ms
            self.floor_ms += ms if entry.position == "floor" else 0
            if ask == ASK_TARGET and entry.reps_30s:
                self.earned_rest_ms += earned(entry.reps_30s, ms, goal)
            if likely and entry.impact == "high":
                self.landings += times(likely, entry.landings)
        too_many = goal if ask == ASK_TARGET and entry and above(entry, ms, goal) else 0
        self._expect(Expected(exercise.name, ASKS[ask], 1, ms, goal, likely, too_many))

    def add_list(self, effort: Effort, exercise: Exercise, library: Library) -> None:
        """Add a list that is gone through, each part with its share of the time."""
        parts, ms = lists.timed(exercise, library), effort.duration_ms
        if parts is None:
            self.add(effort, exercise, None)
            return
        ask, goal = asked(exercise, effort.round)
        is_target = ask == ASK_TARGET
        slow, fast = lists.rounds_in(ms, parts)
        most = goal if is_target else fast
        rounds = Range(min(slow, most), min(fast, most))
        too_many = goal if is_target and goal > fast else 0
        times = len(parts) if exercise.hands_over else 1  # a leg is one of the parts
        likely = Range(rounds.least * times, rounds.most * times)
        unit = f"{exercise.unit}s"
        self._expect(Expected(exercise.name, ASKS[ask], 1, ms, goal, likely, too_many, unit=unit))
        if is_target:
            once = [sum(p.slow_ms for p in parts), sum(p.fast_ms for p in parts)]
            self.earned_rest_ms += Range(*(max(0, ms - goal * each_ms) for each_ms in once))
        for p, part_ms in zip(parts, lists.shared_out(ms, parts), strict=True):
            self._add_part(p, part_ms, ASKS[ask], goal, rounds)

    def _add_part(self, p: lists.Timed, ms: int, ask: str, goal: int, rounds: Range) -> None:
        pattern = p.entry.pattern if p.entry else UNKNOWN
        self.work_ms[pattern] = self.work_ms.get(pattern, 0) + ms
        reps = p.part.reps or 0
        likely = Range(rounds.least * reps, rounds.most * reps) if reps else None
        if p.entry:
            self.impact_ms[p.entry.impact] += ms
            self.floor_ms += ms if p.entry.position == "floor" else 0
            if likely and p.entry.impact == "high":
                self.landings += times(likely, p.entry.landings)
        self._expect(Expected(p.part.name, ask, 1, ms, goal * reps, likely, each_round=reps))

    def _expect(self, more: Expected) -> None:
        key = (more.name, more.ask, more.unit)
        was = self.expected.get(key)
        if was is None:
            self.expected[key] = more
            return
        self.expected[key] = replace(
            was,
            windows=was.windows + more.windows,
            work_ms=was.work_ms + more.work_ms,
            asked=was.asked + more.asked,
            likely=was.likely + more.likely if was.likely and more.likely else None,
            too_many=max(was.too_many, more.too_many),
        )


def numbers_of(built: CompiledClass, library: Library) -> Numbers:
    """Return a plan's numbers; exercises that the library lacks count only as time."""
    shares: list[tuple[Share, list[str]]] = []
    rests: dict[str, list[int]] = {}
    bouts: dict[tuple[int, int, bool], Bout] = {}
    known: dict[tuple[tuple[int, int, int], ...], Share] = {}
    total_ms = built.totals.total_ms

    def left_ms(effort: Effort) -> int:
        return left_ms_of(effort, library)

    all_ways = list(ways(built))  # kept, so that no two exercises can have the same id
    for who, efforts in all_ways:
        # Groups of a rotation do the same in other orders: their sums are made once.
        work = tuple(sorted((id(e.exercise), e.round, e.duration_ms) for e in efforts))
        if work not in known:
            known[work] = _share(efforts, library, total_ms)
        share = known[work]
        same = next((names for s, names in shares if s == share), None)
        if same is None:
            shares.append((share, list(who)))
        else:
            same += who
        for pattern, rest_ms in _rests(efforts, library, total_ms).items():
            rests.setdefault(pattern, []).append(rest_ms)
        for bout in bouts_of(built, efforts, left_ms):
            bouts.setdefault(bout, compared(*bout))
    ranges = {pattern: Range(min(found), max(found)) for pattern, found in rests.items()}
    told = tuple(replace(share, who=tuple(names)) for share, names in shares)
    return Numbers(told, ranges, tuple(bouts.values()))


def one(value: float) -> Range:
    """Return a value as a range."""
    return Range(value, value)


def over(shares: Sequence[Share], value: Callable[[Share], Range]) -> Range:
    """Return from the least to the most that a value is for any of some people."""
    ranges = [value(share) for share in shares]
    return Range(min(r.least for r in ranges), max(r.most for r in ranges))


def kcal_per_kg(met: float, ms: int) -> float:
    """Return an energy estimate: MET x 3.5 x kg / 200 kcal a minute, for 1 kg."""
    return met * 3.5 / 200 * ms / 60_000


def _share(efforts: list[Effort], library: Library, total_ms: int) -> Share:
    sums = _Sums()
    for effort in efforts:
        if effort.exercise is None:
            continue
        if effort.exercise.parts:
            sums.add_list(effort, effort.exercise, library)
        else:
            sums.add(effort, effort.exercise, library.find(effort.exercise.name))
    work_ms = sum(sums.work_ms.values())
    return Share(
        (),
        work_ms,
        total_ms - work_ms,
        {pattern: sums.work_ms[pattern] for pattern in sorted(sums.work_ms)},
        sums.impact_ms["high"],
        sums.impact_ms["low"],
        sums.floor_ms,
        tuple(sorted(sums.expected.values(), key=lambda e: (e.name, e.ask, e.unit))),
        sums.landings,
        sums.earned_rest_ms,
        Range(kcal_per_kg(MET_LEAST, work_ms), kcal_per_kg(MET_MOST, total_ms)),
    )


def _rests(efforts: list[Effort], library: Library, total_ms: int) -> dict[str, int]:
    """Return the pauses after windows of each pattern; waiting is a pause too."""
    found: dict[str, int] = {}
    pattern = WAITING
    ends = [e.start_ms for e in efforts[1:]] + [efforts[0].start_ms + total_ms]
    for effort, next_ms in zip(efforts, ends, strict=True):
        rest_ms = next_ms - effort.start_ms
        if effort.exercise is not None:
            entry = library.find(effort.exercise.names[-1])
            pattern = entry.pattern if entry else UNKNOWN
            rest_ms -= effort.whole_ms  # one who waits for a turn has no pause of its length
        found[pattern] = found.get(pattern, 0) + rest_ms
    return found
