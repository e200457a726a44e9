"""A plan's length as sums over its levers, and the smallest moves that make it a given length.

Levels are looked at from the dearest to the cheapest: first as few rounds as can be are moved,
then windows, warm-up, rests, and breaks at last; for first-timers windows are the dearest. Within a
level the sum of the moves is as small as can be, then the largest of them, then those further on in
the class. What is asked for in fives has as few odd times as can be before all that.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import gcd
from typing import Any

from handbell.coach.solver import Answer, new_model, search
from handbell.compile.expand import Course, expand
from handbell.plan.model import Plan

from .fives import odd
from .levers import Lever, moved
from .promise import TENTH_MS

Measure = Callable[[Course], int]
"""Something of a class in ms, or in so many ms, that its levers add to."""

LENGTH_MOST = 1 << 30
SECOND_MS = 1_000
FIRST_SECONDS = 5.0  # for any moves that do; then for the smallest
SEARCH_SECONDS = 20.0
LEVEL_SECONDS = 8.0  # for one level, so that those after it have some left


@dataclass(frozen=True)
class Sums:
    """How a plan's length, or another measure, depends on its levers, all in ms.

    A lever of a block with r rounds more than now adds ``each[lever] + r * each_round[lever]`` for
    each ms it is moved; ``round_ms`` is what a round more adds. A break adds ``breaks[lever][by]``,
    which is no product, since a change stands in where there is no break.
    """

    levers: list[Lever]
    now_ms: int
    each: dict[Lever, int]
    each_round: dict[Lever, int]
    breaks: dict[Lever, dict[int, int]]
    rounds: dict[int, Lever]
    round_ms: dict[int, int]


def slot_ms_of(course: Course) -> int:
    """Return how long a class lasts."""
    return course.slot_ms


def more_rest_ms(plan: Plan) -> Measure:
    """Return a measure that is below 0 where more of the time is work than in a plan."""
    was = expand(plan)
    common = gcd(was.work_ms, was.total_ms)
    work, total = was.work_ms // common, was.total_ms // common
    return lambda course: work * course.total_ms - total * course.work_ms


def sums(plan: Plan, levers: Iterable[Lever], measure: Measure) -> Sums:
    """Return how a measure depends on a plan's levers, by compiling it with each one moved.

    Levers that change nothing, whatever the others do, are left out.
    """

    def at(a_plan: Plan) -> int:
        return measure(expand(a_plan))

    all_levers = list(levers)
    now_ms = at(plan)
    rounds = {_block(lever): lever for lever in all_levers if lever.level == "rounds"}
    longer = {b: moved(plan, {lever: 1}) for b, lever in rounds.items()}
    longer_ms = {b: at(longer[b]) for b in rounds}
    each: dict[Lever, int] = {}
    each_round: dict[Lever, int] = {}
    breaks: dict[Lever, dict[int, int]] = {}
    for lever in all_levers:
        if lever.level == "breaks":
            breaks[lever] = _break_sums(plan, lever, at)
        elif lever.level != "rounds":
            by = max(lever.by, key=abs)
            each[lever] = (at(moved(plan, {lever: by})) - now_ms) // by
            each_round[lever] = 0
            if lever.block in rounds:
                both_ms = at(moved(longer[lever.block], {lever: by}))
                each_round[lever] = (both_ms - longer_ms[lever.block]) // by - each[lever]
    idle = {lever for lever, times in each.items() if not times and not each_round[lever]}
    more_ms = {b: ms - now_ms for b, ms in longer_ms.items()}
    used = [lever for lever in all_levers if lever not in idle]
    return Sums(used, now_ms, each, each_round, breaks, rounds, more_ms)


def _break_sums(plan: Plan, lever: Lever, at: Callable[[Plan], int]) -> dict[int, int]:
    """Return what a break adds when it is moved: as much, but from or to none."""
    (site,) = lever.sites
    now_ms = at(plan)
    none = {by for by in lever.by if site.plus(by) == 0}
    some = [by for by in lever.by if by not in none]
    ends = {*none, *some[:1], *some[-1:]}
    table = {by: at(moved(plan, {lever: by})) - now_ms for by in ends}
    each = 0 if len(some) < 2 else (table[some[-1]] - table[some[0]]) // (some[-1] - some[0])
    return {
        by: table[by] if by in table else table[some[0]] + each * (by - some[0]) for by in lever.by
    }


class Fitting:
    """The model of one plan's levers; times in it are tenths of a second.

    ``rest`` is a measure that may not fall below 0.
    """

    def __init__(self, of: Sums, order: Sequence[str], rest: Sums | None = None) -> None:
        self._order = order
        self._levers = of.levers
        self._sums = of
        self._model = new_model()
        every = dict.fromkeys([*of.levers, *(rest.levers if rest else ())])
        self._by = {lever: self._among(_units(lever, lever.by)) for lever in every}
        self._length = self._of(of)
        if rest is not None:
            self._model.add(self._of(rest) >= 0)
        self._end = time.monotonic() + SEARCH_SECONDS

    def exactly(self, slot_ms: int, odd_most: int | None = None) -> dict[Lever, int] | None:
        """Return the smallest moves that make the plan so long; None when none are found.

        With ``odd_most`` no more of them than that leave a time that is no whole fives of seconds;
        before they are small, those are as few as can be.
        """
        if slot_ms % SECOND_MS not in _fractions(self._sums):
            return None
        self._model.add(self._length == slot_ms // TENTH_MS)
        odd_times = 0 if odd_most is None else _sum(self._odd(lever) for lever in self._levers)
        if odd_most is not None:
            self._model.add(odd_times <= odd_most)
        answer = search(self._model, FIRST_SECONDS)
        if not answer.found:
            return None
        if odd_most:
            answer = self._least(odd_times, answer)
        for level in reversed(self._order):
            amounts: list[Any] = [
                self._amount(lever) for lever in self._levers if lever.level == level
            ]
            if amounts:
                answer = self._least(_sum(amounts), answer)
                largest: Any = self._model.new_int_var(0, LENGTH_MOST, "")
                self._model.add_max_equality(largest, amounts)
                answer = self._least(largest, answer)
        places = enumerate((self._amount(lever) for lever in self._levers), 1)
        answer = self._least(_sum(n * amount for n, amount in places), answer)
        moves = {lever: answer.value(by) * _unit(lever) for lever, by in self._by.items()}
        return {lever: by for lever, by in moves.items() if by}

    def nearest(self, slot_ms: int) -> tuple[int | None, int | None]:
        """Return the longest length below a slot that can't be met and the shortest above."""
        slot = slot_ms // TENTH_MS
        below = self._extreme(self._length < slot, -self._length)
        above = self._extreme(self._length > slot, self._length)
        return below, above

    def _extreme(self, limit: Any, least: Any) -> int | None:
        model = self._model.clone()
        model.add(limit)
        model.minimize(least)
        answer = search(model, self._end - time.monotonic())
        return answer.value(self._length) * TENTH_MS if answer.found else None

    def _least(self, amount: Any, known: Answer) -> Answer:
        """Make an amount as small as can be and keep it so; ``known`` is where to begin."""
        self._model.minimize(amount)
        self._model.clear_hints()  # type: ignore[no-untyped-call]
        for by in self._by.values():
            self._model.add_hint(by, known.value(by))
        answer = search(self._model, min(self._end - time.monotonic(), LEVEL_SECONDS))
        if not answer.found:  # the time is up: what is known does, too
            answer = known
        self._model.add(amount == answer.value(amount))
        return answer

    def _of(self, sums: Sums) -> Any:
        """Return a measure as the levers make it, in tenths."""
        adds = (self._adds(lever, sums) for lever in sums.levers)
        return sums.now_ms // TENTH_MS + _sum(adds)

    def _among(self, amounts: Iterable[int]) -> Any:
        return self._model.new_int_var_from_domain(self._domain(amounts), "")

    @staticmethod
    def _domain(amounts: Iterable[int]) -> Any:
        from ortools.sat.python.cp_model import Domain

        return Domain.from_values(list(amounts))

    def _adds(self, lever: Lever, of: Sums) -> Any:
        """Return what a lever adds to a measure; one of a block with rounds, see there."""
        by = self._by[lever]
        if lever in of.breaks:
            pairs = [(n // TENTH_MS, ms // TENTH_MS) for n, ms in of.breaks[lever].items()]
            adds = self._among({ms for _, ms in pairs})
            self._model.add_allowed_assignments([by, adds], pairs)
            return adds
        if lever.level == "rounds":
            return self._block_adds(lever, of)
        return 0 if lever.block in of.rounds else of.each[lever] * by

    def _block_adds(self, rounds: Lever, of: Sums) -> Any:
        """Return what a block adds whose rounds may move: for each number of them, another sum."""
        within = [lv for lv in of.levers if lv.block == rounds.block and lv in of.each]
        ends: list[int] = []
        sums = []
        for by in rounds.by:
            fixed = of.round_ms[_block(rounds)] // TENTH_MS * by
            times = {lever: of.each[lever] + of.each_round[lever] * by for lever in within}
            reach = [[n * times[lever] for n in _units(lever, lever.by)] for lever in within]
            ends += [fixed + sum(map(min, reach)), fixed + sum(map(max, reach))]
            sums.append((by, fixed + _sum(times[lever] * self._by[lever] for lever in within)))
        adds: Any = self._model.new_int_var(min(ends), max(ends), "")
        chosen = []
        for by, total in sums:
            is_so = self._model.new_bool_var("")
            self._model.add(self._by[rounds] == by).only_enforce_if(is_so)
            self._model.add(adds == total).only_enforce_if(is_so)
            chosen.append(is_so)
        self._model.add_exactly_one(chosen)
        return adds

    def _odd(self, lever: Lever) -> Any:
        """Return 1 where a lever leaves a time that is no whole fives of seconds, else 0."""
        amounts = [by for by in lever.by if not odd(lever, by)]
        if len(amounts) == len(lever.by):
            return 0
        is_odd: Any = self._model.new_bool_var("")
        if amounts:
            even = self._domain(_units(lever, amounts))
            within = self._model.add_linear_expression_in_domain(self._by[lever], even)
            within.only_enforce_if(~is_odd)
        else:
            self._model.add(is_odd == 1)
        return is_odd

    def _amount(self, lever: Lever) -> Any:
        """Return by how much a lever is moved, up or down."""
        most = max(map(abs, _units(lever, lever.by)))
        amount = self._model.new_int_var(0, most, "")
        self._model.add_abs_equality(amount, self._by[lever])
        return amount


def _fractions(of: Sums) -> set[int]:
    """Return what a plan's length can be past whole seconds, in ms.

    Where times have tenths and move by seconds, this tells at once what a search is long over.
    """
    fractions = {of.now_ms % SECOND_MS}
    for lever in of.levers:
        if lever in of.breaks:
            fractions = _with(fractions, of.breaks[lever].values())
        elif lever.level == "rounds":
            within = [lv for lv in of.levers if lv.block == lever.block and lv in of.each]
            each: set[int] = set()
            for by in lever.by:
                sums = {of.round_ms[_block(lever)] * by % SECOND_MS}
                for lv in within:
                    times = of.each[lv] + of.each_round[lv] * by
                    sums = _with(sums, (times * ms for ms in lv.by))
                each |= sums
            fractions = _with(fractions, each)
        elif lever.block not in of.rounds:
            fractions = _with(fractions, (of.each[lever] * ms for ms in lever.by))
    return fractions


def _with(fractions: set[int], more: Iterable[int]) -> set[int]:
    added = {ms % SECOND_MS for ms in more}
    return {(a + b) % SECOND_MS for a in fractions for b in added}


def _unit(lever: Lever) -> int:
    return 1 if lever.level == "rounds" else TENTH_MS


def _units(lever: Lever, amounts: Iterable[int]) -> list[int]:
    return [amount // _unit(lever) for amount in amounts]


def _block(lever: Lever) -> int:
    assert lever.block is not None, "breaks, rests, windows and rounds belong to a block"
    return lever.block


def _sum(parts: Iterable[Any]) -> Any:
    from ortools.sat.python.cp_model import LinearExpr

    return LinearExpr.sum(list(parts))
