"""A plan laid out in time: the stretches that every box of the class goes through together."""

from __future__ import annotations

from dataclasses import dataclass

from handbell.plan.legs import moves_on, turns_in
from handbell.plan.model import Plan
from handbell.plan.pauses import Pause, Place, change_ms, pauses_after, places
from handbell_core.timeline import CHANGE, COOL_DOWN, GATE, LEAD_IN, REST, WARM_UP, WINDOW

NOBODY = -1


@dataclass(frozen=True)
class Stretch:
    """A contiguous stretch of a class with one meaning; times are ``class_ms``, gates count as 0.

    ``block`` (from 1), ``round``, ``step`` and ``window`` are those of the window itself or of the
    one before, 0 when there was none. ``step`` (from 0, see ``plan.pauses.Place``) is the leg in a
    relay whose legs move on. ``at_block`` (from 0) and ``at_step`` say which people are shown;
    ``turn`` whose turn on the buttons it is, NOBODY outside a window.
    """

    kind: int
    start_ms: int
    duration_ms: int
    block: int = 0
    round: int = 0
    step: int = 0
    window: int = 0
    at_block: int = 0
    at_step: int = 0
    turn: int = NOBODY
    name: str = ""

    @property
    def end_ms(self) -> int:
        """The ``class_ms`` at which it ends."""
        return self.start_ms + self.duration_ms


@dataclass(frozen=True)
class Course:
    """All stretches in order; ``slot_ms`` all of it, ``total_ms`` first bell to last."""

    stretches: list[Stretch]
    total_ms: int
    slot_ms: int
    work_ms: int
    windows: int


def expand(plan: Plan) -> Course:
    """Lay a plan out in time."""
    return _Expansion(plan).course()


class _Expansion:
    """Adds stretch after stretch, keeping the time and the turns."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.at_ms = 0
        self.window = 0
        self.turns_before = 0
        self.stretches: list[Stretch] = []

    def course(self) -> Course:
        plan = self.plan
        self._pause(Pause(LEAD_IN, plan.lead_in_ms))
        for part in plan.opening:
            self._add(WARM_UP, part.work_ms, part.name)
        first = plan.blocks[0]
        if first.gate:
            self._add(GATE, 0)
        elif plan.opening:
            self._pause(Pause(CHANGE, change_ms(plan, first)))
        first_ms = self.at_ms
        for index in range(len(plan.blocks)):
            self._block(index)
        last_ms = self.at_ms
        last = self.stretches[-1]
        for part in plan.cool_down:
            self._add(COOL_DOWN, part.work_ms, part.name, (last.at_block, last.at_step))
        work_ms = sum(s.duration_ms for s in self.stretches if s.kind == WINDOW)
        return Course(self.stretches, last_ms - first_ms, self.at_ms, work_ms, self.window)

    def _add(
        self, kind: int, duration_ms: int, name: str = "", at: tuple[int, int] = (0, 0)
    ) -> None:
        self.stretches.append(
            Stretch(kind, self.at_ms, duration_ms, at_block=at[0], at_step=at[1], name=name)
        )
        self.at_ms += duration_ms

    def _pause(self, pause: Pause) -> None:
        if pause.duration_ms:
            self._add(*pause)

    def _block(self, index: int) -> None:
        plan, block = self.plan, self.plan.blocks[index]
        order = list(places(plan, block))
        steps = range(len(order)) if moves_on(plan, block) else [place.step for place in order]
        for n, place in enumerate(order):
            work_ms = block.exercises[0 if plan.is_rotation else place.step].work.at(place.round)
            self.window += 1
            turn = self.turns_before + (n if block.relay else _turn(plan, place))
            here, at = (index, steps[n]), place._replace(step=steps[n])
            self._place(WINDOW, work_ms, index, at, here, turn)
            coming = (index, steps[n + 1]) if n + 1 < len(order) else (index + 1, 0)
            is_last = place.ends_block and index + 1 == len(plan.blocks)
            for pause in pauses_after(plan, index, place):
                stays = pause.kind == REST or is_last
                self._place(*pause, index, at, here if stays else coming, NOBODY)
        self.turns_before += turns_in(plan, block)

    def _place(
        self,
        kind: int,
        duration_ms: int,
        index: int,
        place: Place,
        at: tuple[int, int],
        turn: int,
    ) -> None:
        self.stretches.append(
            Stretch(
                kind,
                self.at_ms,
                duration_ms,
                index + 1,
                place.round,
                place.step,
                self.window,
                *at,
                turn,
            )
        )
        self.at_ms += duration_ms


def _turn(plan: Plan, place: Place) -> int:
    """Return whose turn on the buttons it is, counted from the block's first window.

    The turn goes on after every window, and a round begins one further on than the round before,
    so nobody always gets the same exercise. By rounds, it goes on after each round only.
    """
    outer, inner = place.round - 1, place.step
    if plan.is_rotation and plan.move == "round":
        outer, inner = inner, outer
    return outer if plan.turns == "round" else outer + inner
