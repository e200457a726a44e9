"""A plan resolved: who does what, where and when, worked out once for all that read it.

    resolve(plan) -> Schedule -> a Post for each station and step of a block
                              -> a Row for each station and stretch of the class

A station has the same exercise and people in every round, so a block's posts are made once; only
where a relay's legs move on has each leg its own. Rows are made station by station as they are
read: all at once could be millions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from handbell.base.errors import PlanError
from handbell.compile.expand import Course, Stretch, expand
from handbell.compile.posts import (
    Bibs,
    Crews,
    Groups,
    Post,
    Posts,
    Walks,
    alike_of,
    mixed_of,
    posts_of,
    walks_of,
)
from handbell.compile.tasks import Task, task_of
from handbell.plan import rules
from handbell.plan.faults import told
from handbell.plan.legs import exercise_of
from handbell.plan.model import Exercise, Plan, for_bib
from handbell.plan.own_tasks import Tasks, everybody, in_legs, tasks_of
from handbell_core.timeline import RATING, WINDOW

RATING_MS = 30_000


class Leg(NamedTuple):
    """A leg: the person's place in the group's order, from 0, their bib, and what they do."""

    place: int
    bib: int
    what: str


class Row(NamedTuple):
    """What a station has in a stretch of the class, or when it asks for ratings after it.

    ``item`` is the exercise's number in its block, from 1, of the window or the one before, 0 when
    there was none. ``exercise`` is what a window asks of most, None in a pause, and ``own`` what it
    asks of those with a task of their own, by button, from 0. ``who`` and ``bibs`` (by button, 0
    for nobody) are those shown: before a window already those who come, but whoever was at a window
    enters its tally. ``coming`` is the name of what comes next. Where a tap hands over, ``bibs``
    are nobody's, and ``legs`` who does what in turn, until it begins anew.
    """

    stretch: Stretch
    item: int
    exercise: Exercise | None
    who: str
    bibs: Bibs
    own: tuple[tuple[int, Task], ...]
    coming: str
    is_tallied: bool
    legs: tuple[Leg, ...] = ()

    @property
    def task(self) -> Task | None:
        """What the window asks of most, in numbers."""
        return task_of(self.exercise, self.stretch.round) if self.exercise else None


@dataclass(frozen=True)
class Schedule:
    """A class: its stretches in time, and the posts of each block and step.

    Stations, groups, blocks and steps count from 0. ``walks`` are the posts of each block and step
    by walker, a station's lane or a group of a rotation, None while it waits; ``alike`` has for
    each walker the first with the same exercises at the same times, and ``mixed`` for each block
    whether stations may do different ones at once. ``last`` has for each station the groups whose
    last window is there, and ``names`` are what groups are called, alone and together.
    """

    plan: Plan = field(compare=False, repr=False)
    course: Course
    crews: Crews = field(compare=False, repr=False)
    posts: list[Posts]
    walks: list[Walks]
    alike: list[int]
    mixed: list[bool]
    last: list[list[Groups]]
    names: list[str]

    @property
    def stretches(self) -> list[Stretch]:
        """All stretches in order."""
        return self.course.stretches

    @property
    def boxes(self) -> int:
        """How many stations there are."""
        return self.plan.boxes

    def windows(self) -> Iterator[Stretch]:
        """Yield the stretches that are windows."""
        return (s for s in self.stretches if s.kind == WINDOW)

    def at(self, stretch: Stretch) -> tuple[Post, ...]:
        """Return the posts of all stations in a window, or in the one before a pause."""
        return self.posts[stretch.block - 1][stretch.step]

    def walk(self, walker: int) -> Iterator[tuple[Stretch, Post | None]]:
        """Yield every window and a walker's post in it, None while it waits."""
        for s in self.windows():
            yield s, self.walks[s.block - 1][s.step][walker]

    def rows(self, station: int) -> Iterator[Row]:
        """Yield what a station has, stretch by stretch, ratings last."""
        who = ""
        bibs: Bibs = ()
        is_tallied = False
        for s, coming in zip(self.stretches, self._coming(station), strict=True):
            post = self.at(s)[station] if s.block else None
            exercise = post.exercise if post and s.kind == WINDOW else None
            if not is_tallied:
                shown = self.posts[s.at_block][s.at_step][station]
                who, bibs = shown.who, shown.bibs(s.turn)
            item = post.number + 1 if post else 0
            if post and exercise and exercise.hands_over:
                legs = _legs(exercise, post.people, s.round)
                exercise = exercise if legs else for_bib(exercise, post.people[0])  # all are out
                yield Row(s, item, exercise, who, (), (), coming, is_tallied, legs)
            else:
                own = tuple(_own(exercise, s.round, bibs)) if exercise and exercise.scaled else ()
                yield Row(s, item, exercise, who, bibs, own, coming, is_tallied)
            is_tallied = exercise is not None and exercise.tap.rule == "tally"
        yield from self._ratings(station)

    def _coming(self, station: int) -> list[str]:
        """Return the name of what comes after each stretch."""
        names = []
        coming = ""
        for s in reversed(self.stretches):
            names.append(coming)
            coming = self.at(s)[station].exercise.name if s.kind == WINDOW else s.name or coming
        return names[::-1]

    def _ratings(self, station: int) -> Iterator[Row]:
        """Yield a row for each set of bibs whose last window is at a station."""
        after = Stretch(RATING, self.course.slot_ms, RATING_MS)
        for groups in self.last[station] if self.plan.rate else ():
            crew = self.crews.of(groups)
            for bibs in crew.turns:
                yield Row(after, 0, None, crew.who, bibs, (), "", False)

    def bibs(self, station: int) -> list[int]:
        """Return every bib that is ever at a station, group by group."""
        if not self.plan.groups:
            return [station + 1]
        there = {g for posts in self.posts for step in posts for g in step[station].groups}
        return list(self.crews.of(tuple(sorted(there))).people)

    def asked(self, block: int, number: int) -> Tasks[Exercise]:
        """Return what an exercise asks of all who ever do it."""
        exercise = self.plan.blocks[block].exercises[number]
        if not exercise.scaled:
            return Tasks(exercise, ())
        if not self.plan.is_rotation:
            return tasks_of(exercise, everybody(self.plan))
        there = {g for step in self.posts[block] for g in step[number].groups}
        return tasks_of(exercise, self.crews.of(tuple(sorted(there))).people)


def resolve(plan: Plan) -> Schedule:
    """Resolve a plan; raises PlanError when a block needs an order and has none."""
    missing = told(rules.missing(plan))
    if missing:
        raise PlanError(plan.path, missing)
    crews = Crews(plan)
    posts = posts_of(plan, crews)
    walks, alike, last = walks_of(plan, posts), alike_of(plan), _last(plan, posts)
    mixed, names = mixed_of(plan, posts), _names(plan, crews, posts, last)
    return Schedule(plan, expand(plan), crews, posts, walks, alike, mixed, last, names)


def _own(exercise: Exercise, round_: int, bibs: Bibs) -> Iterator[tuple[int, Task]]:
    for button, bib in enumerate(bibs):
        own = for_bib(exercise, bib)
        if own is not exercise:
            yield button, task_of(own, round_)


def _legs(exercise: Exercise, people: Bibs, round_: int) -> tuple[Leg, ...]:
    """Return the legs of a group, until everybody has done each part once.

    Each round begins one leg further on, so that not always the same people have one more.
    """
    bibs = in_legs(exercise, people)
    parts = [part.words for part in exercise.parts] or [exercise.name]
    count = len(bibs) * len(parts)
    return tuple(
        Leg(place % len(bibs), bibs[n % len(bibs)], parts[exercise_of(n, len(bibs), len(parts))])
        for place, n in enumerate((n + round_ - 1) % count for n in range(count))
    )


def _names(plan: Plan, crews: Crews, posts: list[Posts], last: list[list[Groups]]) -> list[str]:
    """Return what each group is called, then those that are ever at a station together."""
    alone = (group.name for group in plan.groups)
    shown = (post.who for block in posts for step in block for post in step)
    ended = (crews.of(groups).who for there in last for groups in there)
    return [name for name in dict.fromkeys((*alone, *shown, *ended)) if name]


def _last(plan: Plan, posts: list[Posts]) -> list[list[Groups]]:
    """Return for each station the groups whose last window is there, the latest first."""
    found: list[list[Groups]] = [[] for _ in range(plan.boxes)]
    left = set(range(len(plan.groups)))
    for step in (step for block in reversed(posts) for step in reversed(block)):
        if not left:
            break
        for post in step:
            here = tuple(g for g in post.groups if g in left)
            if here:
                found[post.station].append(here)
        left.difference_update(*(post.groups for post in step))
    return found
