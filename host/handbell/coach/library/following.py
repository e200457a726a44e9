"""What people do directly after what in a class, and who: the one place that knows.

``soon`` is what comes before people have recovered, ``direct`` what a rule of never_after means;
``apart`` says which rules a plan breaks. Inside a block the next window is direct however
long the pause, and a wait between two parts them. Of a relay, what is done in it is left out: the
others have their legs between. So is what follows a relay by taps, since nobody knows before who
has its last leg.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from math import inf
from typing import TYPE_CHECKING, NamedTuple

from handbell.plan.own_tasks import done_by, in_legs
from handbell.plan.pauses import Place, pauses_after, steps_of
from handbell_core.timeline import GATE, WINDOW

if TYPE_CHECKING:
    from handbell.compile.expand import Stretch
    from handbell.compile.posts import Post
    from handbell.compile.schedule import Schedule
    from handbell.plan.model import Exercise, Plan

    from .entry import Entry

RECOVERED_MS = 60_000  # after a pause this long what was tired may be used again
Window = tuple[int, int]  # block and exercise, from 0
Pair = tuple[Window, Window]
Bibs = frozenset[int]
_OTHERS = -1


class _Done(NamedTuple):
    """A window of a lane or a group: ``who`` has it alone, 0 for all of them, and the rest after.

    ``waits`` whether a wait follows.
    """

    window: Window
    who: int
    length_ms: float
    rest_ms: float
    waits: bool = False


class Following:
    """All that follows what in a class."""

    def __init__(self, schedule: Schedule) -> None:
        self._schedule = schedule
        self._blocks = schedule.plan.blocks

    @cached_property
    def soon(self) -> dict[Pair, Bibs]:
        """Each exercise and the one that comes before people have recovered, and for whom."""
        return {pair: _all(near) for pair, (near, _) in self._found.items() if near}

    @cached_property
    def direct(self) -> dict[Pair, Bibs]:
        """Each exercise and the one that comes directly after it, and for whom.

        Itself only where it is a list, which begins with another part than it ends with.
        """
        return {pair: _all(straight) for pair, (_, straight) in self._found.items() if straight}

    @cached_property
    def _found(self) -> dict[Pair, tuple[list[Bibs], list[Bibs]]]:
        """Who does both soon, and who directly; an exercise that follows itself is meant so.

        Not the parts of a list that does.
        """
        found: dict[Pair, tuple[list[Bibs], list[Bibs]]] = {}
        for done, bibs, skipped in self._ways():
            soon, straight = set(), set()
            for one, other, rest_ms, is_next in _one_by_one(done, skipped):
                is_near, is_inside = rest_ms < RECOVERED_MS, one[0] == other[0]
                if is_inside and self._blocks[one[0]].one_at_a_time:
                    continue
                if is_near and one != other:
                    soon.add((one, other))
                is_direct = is_next if is_inside else is_near
                if is_direct and (one != other or self._blocks[one[0]].exercises[one[1]].parts):
                    straight.add((one, other))
            for pair in sorted(soon | straight):
                near, directly = found.setdefault(pair, ([], []))
                near += [bibs] if pair in soon else []
                directly += [bibs] if pair in straight else []
        return found

    def _ways(self) -> Iterator[tuple[list[_Done], Bibs, set[int]]]:
        """Yield what a lane or a group does, and for whom all but what windows of it."""
        plan = self._schedule.plan
        is_alone = any(block.one_at_a_time for block in self._blocks)
        together: dict[int, list[int]] = {}
        for walker, first in enumerate(self._schedule.alike):
            together.setdefault(walker if is_alone else first, []).append(walker)
        for first, same in together.items():
            done = self._done(first)
            people = [bib for walker in same for bib in _people(plan, walker)]
            for skipped, bibs in self._sorts(done, people).items():
                yield done, frozenset(bibs), set(skipped)

    def _sorts(
        self, done: Sequence[_Done], people: Sequence[int]
    ) -> dict[tuple[int, ...], list[int]]:
        """Return people by the windows that they leave out, or that others have alone."""
        left: dict[int, set[Window]] = {}
        for b, e in {one.window for one in done}:
            for own in self._blocks[b].exercises[e].scaled:
                for bib in own.bibs if own.out else ():
                    left.setdefault(bib, set()).add((b, e))
        alone = {one.who for one in done if one.who}
        found: dict[tuple[int, ...], list[int]] = {}
        all_legs = tuple(n for n, one in enumerate(done) if one.who)
        for bib in people:
            skipped = all_legs
            if bib in left or bib in alone:
                out = left.get(bib, ())
                skipped = tuple(
                    n for n, d in enumerate(done) if d.window in out or d.who not in (0, bib)
                )
            found.setdefault(skipped, []).append(bib)
        return found

    def _done(self, walker: int) -> list[_Done]:
        """Return the windows of a lane or a group; of a relay the legs a minute from its ends."""
        found: list[_Done] = []
        ends = self._ends_of_relays()
        for s in self._schedule.stretches:
            post = self._schedule.walks[s.block - 1][s.step][walker] if s.kind == WINDOW else None
            if post is not None:
                who = self._alone(s, post, ends) if s.block in ends else 0
                by_taps = self._blocks[s.block - 1].hand_over
                if who != _OTHERS:
                    rest_ms = inf if by_taps else 0.0
                    window = (s.block - 1, post.number)
                    found.append(_Done(window, who, inf if by_taps else s.duration_ms, rest_ms))
                    continue
                more_ms = inf if by_taps else s.duration_ms
            else:
                more_ms = inf if s.kind == GATE else s.duration_ms
            if found:
                waits = found[-1].waits or (s.kind == WINDOW and post is None)
                found[-1] = found[-1]._replace(rest_ms=found[-1].rest_ms + more_ms, waits=waits)
        return found

    def _alone(self, leg: Stretch, post: Post, ends: dict[int, tuple[int, int]]) -> int:
        """Return whose leg it is; by taps, who begins. _OTHERS for a leg that is no matter."""
        start_ms, end_ms = ends[leg.block]
        if self._blocks[leg.block - 1].hand_over:
            bibs = in_legs(post.exercise, post.people) if leg.start_ms == start_ms else []
        else:
            near_ms = min(leg.start_ms - start_ms, end_ms - leg.end_ms)
            bibs = [bib for bib in post.bibs(leg.turn) if bib] if near_ms < RECOVERED_MS else []
        return bibs[0] if bibs else _OTHERS

    def _ends_of_relays(self) -> dict[int, tuple[int, int]]:
        """Return when each relay (block from 1) begins and ends, in ms."""
        found: dict[int, tuple[int, int]] = {}
        for s in self._schedule.windows():
            if self._blocks[s.block - 1].one_at_a_time:
                found[s.block] = (found.get(s.block, (s.start_ms, 0))[0], s.end_ms)
        return found


def followings(schedule: Schedule) -> dict[Pair, Bibs]:
    """Return each exercise and the one that follows before people have recovered, with whom."""
    return Following(schedule).soon


def parts_blocks(plan: Plan, block: int) -> bool:
    """Return whether people have recovered, or may have, between a block (from 0) and the next."""
    here = plan.blocks[block]
    last = Place(here.rounds, steps_of(plan, here) - 1, True, True)
    after = pauses_after(plan, block, last)
    return any(p.kind == GATE for p in after) or sum(p.duration_ms for p in after) >= RECOVERED_MS


def shared_load(one: Entry, other: Entry) -> list[str]:
    """Return what both exercises tire."""
    return [part for part in one.tires if part in other.tires]


def in_turn(first: Exercise, second: Exercise, bibs: Bibs) -> dict[tuple[str, str], list[int]]:
    """Return the names of what bibs do one after the other, and who; all others come first."""
    written = (first.names[-1], second.names[0])
    scaled = {bib for exercise in (first, second) for own in exercise.scaled for bib in own.bibs}
    found: dict[tuple[str, str], list[int]] = {written: []}
    as_written = not scaled.issuperset(bibs)
    for bib in sorted(scaled & bibs):
        names = done_by(first, bib).names[-1], done_by(second, bib).names[0]
        if names != written:
            found.setdefault(names, []).append(bib)
        as_written = as_written or names == written
    return found if as_written else {names: some for names, some in found.items() if some}


def _one_by_one(
    done: Iterable[_Done], skipped: set[int]
) -> Iterator[tuple[Window, Window, float, bool]]:
    """Yield two windows, one done after the other, the rest between, and if nothing else is there.

    Leaving out is rest and no more: within a block it parts two windows once people have recovered.
    """
    last: Window | None = None
    rest_ms, waits, left = 0.0, False, False
    for n, one in enumerate(done):
        if n in skipped:
            rest_ms += one.length_ms + one.rest_ms
            waits, left = waits or one.waits, True
            continue
        if last is not None:
            is_next = not waits and (not left or rest_ms < RECOVERED_MS)
            yield last, one.window, rest_ms, is_next
        last, rest_ms, waits, left = one.window, one.rest_ms, one.waits, False


def _all(some: Iterable[Bibs]) -> Bibs:
    return frozenset().union(*some)


def _people(plan: Plan, walker: int) -> Sequence[int]:
    return plan.groups[walker].bibs if plan.groups else (walker + 1,)
