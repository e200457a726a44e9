"""What people at their first class are promised when a class is fitted: one check of the result.

No rest or break gets shorter than it was or than a least, no window longer, nobody owes more reps
a second as the box counts them, no more of the time is work, and there are no more rounds than
before. The figures are ours; more rest on a first attempt is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from handbell.compile.expand import expand
from handbell.plan.own_tasks import each_task
from handbell.plan.pauses import pauses_after, places
from handbell_core.timeline import BREAK, REST

if TYPE_CHECKING:
    from handbell.plan.model import Exercise, Plan
    from handbell.plan.values import PerRound

BREAK_LEAST_MS = 60_000
REST_LEAST_MS = 15_000
REST_GROWS_TO_MS = 60_000  # by half as much again, but no further than this
ROUND_REST_GROWS_TO_MS = 90_000
TENTH_MS = 100


def break_least_ms(now_ms: int) -> int:
    """Return the least that a break may become."""
    return max(now_ms, BREAK_LEAST_MS)


def rest_least_ms(now_ms: int, between_rounds: bool = False) -> int:
    """Return the least that a rest may become: half as much again up to a limit."""
    grows_to_ms = ROUND_REST_GROWS_TO_MS if between_rounds else REST_GROWS_TO_MS
    return max(now_ms, REST_LEAST_MS, min(half_more_ms(now_ms), grows_to_ms))


def half_more_ms(now_ms: int) -> int:
    """Return half as much again, up to the next tenth of a second."""
    return -(-now_ms * 3 // (2 * TENTH_MS)) * TENTH_MS


class Pause(NamedTuple):
    """What says a pause: of a block (from 0), a ``kind``, for a rest of one exercise its number."""

    block: int
    kind: str
    exercise: int | None = None


@dataclass(frozen=True)
class Short:
    """A pause that is less than first-timers should have."""

    pause: Pause
    ms: int
    should_ms: int


def broken(before: Plan, after: Plan, kept: Collection[str] = ()) -> list[str]:
    """Return how a fitted plan breaks what first-timers are promised, a sentence's part each.

    What the plan's ``[fit]`` says or what is ``kept`` may leave pauses below the least; those are
    told by ``short``.
    """
    said = said_bounds(before)
    found = [*_pauses_cut(before, after), *_windows(before, after, said), *_paces(before, after)]
    for one in short(before, after):
        is_break = one.pause.kind == "break"
        level, key = ("breaks", "break_ms") if is_break else ("rests", "rest_ms")
        if level not in kept and key not in said:
            found.append(f"{one.pause}: {one.ms} ms is less than {one.should_ms}")
    was, now = expand(before), expand(after)
    if now.work_ms * was.total_ms > was.work_ms * now.total_ms:
        found.append("more of the time is work")
    return found


def said_bounds(plan: Plan) -> set[str]:
    """Return which bounds a plan's own ``[fit]`` says, by their fields."""
    return {name for name in type(plan.fit).model_fields if getattr(plan.fit, name) is not None}


def short(before: Plan, after: Plan) -> list[Short]:
    """Return the pauses that are less than first-timers should have, short forms aside."""
    return [one for one in _short(before, after) if not _keeps_its_times(after, one)]


def short_by_form(before: Plan, after: Plan) -> list[Short]:
    """Return the rests that are less than first-timers should have, as short forms keep theirs."""
    return [one for one in _short(before, after) if _keeps_its_times(after, one)]


def _keeps_its_times(plan: Plan, one: Short) -> bool:
    return one.pause.kind != "break" and plan.blocks[one.pause.block].format is not None


def _short(before: Plan, after: Plan) -> Iterator[Short]:
    was = _pauses_before(before, after)
    for pause, ms in pauses_of(after).items():
        if pause.kind == "break":
            should_ms = break_least_ms(was[pause])
        else:
            should_ms = rest_least_ms(was[pause], pause.kind == "rounds")
        if ms < should_ms:
            yield Short(pause, ms, should_ms)


def _pauses_cut(before: Plan, after: Plan) -> Iterator[str]:
    was = _pauses_before(before, after)
    for pause, ms in pauses_of(after).items():
        if ms < was[pause]:
            yield f"{pause}: {ms} ms was {was[pause]}"


def _pauses_before(before: Plan, after: Plan) -> dict[Pause, int]:
    """Return the pauses of a plan as it was, in as many rounds as it has now.

    A rest that only a second round has says in the plan, too, how long it is.
    """
    blocks = tuple(
        old if old.rounds == new.rounds else old.model_copy(update={"rounds_said": new.rounds})
        for old, new in zip(before.blocks, after.blocks, strict=True)
    )
    return pauses_of(before.model_copy(update={"blocks": blocks}))


def pauses_of(plan: Plan) -> dict[Pause, int]:
    """Return every break, and every rest that follows some window, but those written as none."""
    found: dict[Pause, int] = {}
    for b, block in enumerate(plan.blocks):
        for place in places(plan, block):
            after = pauses_after(plan, b, place)
            if place.ends_block and b + 1 < len(plan.blocks):
                found[Pause(b, "break")] = sum(p.duration_ms for p in after if p.kind == BREAK)
            if place.ends_block and not block.rest_after_last:
                continue
            rest_ms = sum(p.duration_ms for p in after if p.kind == REST)
            exercise = block.exercises[0 if plan.is_rotation else place.step]
            if place.ends_round and block.round_rest_ms is not None:
                found[Pause(b, "rounds")] = rest_ms
            elif exercise.rest_ms is None:
                found[Pause(b, "rest")] = rest_ms
            elif exercise.rest_ms:
                e = 0 if plan.is_rotation else place.step
                found[Pause(b, "rest", e)] = rest_ms
    return found


def _windows(before: Plan, after: Plan, said: set[str]) -> Iterator[str]:
    """Yield windows that are longer, rounds that are more, and both at once with shorter ones."""
    cut = more = False
    for old, new in zip(before.blocks, after.blocks, strict=True):
        more = more or new.rounds > old.rounds
        for was, now in zip(old.exercises, new.exercises, strict=True):
            pairs = list(zip(was.work.values, now.work.values, strict=True))
            cut = cut or any(b < a for a, b in pairs)
            if "work_ms" not in said and any(b > a for a, b in pairs):
                yield f"{was.name}: longer windows"
    if more and (cut or "rounds" not in said):
        yield "more rounds"


def _paces(before: Plan, after: Plan) -> Iterator[str]:
    """Yield tasks of which more reps a second are owed than before."""
    for old, new in zip(before.blocks, after.blocks, strict=True):
        for was, now in zip(old.exercises, new.exercises, strict=True):
            for (task, _), (later, _) in zip(each_task(was), each_task(now), strict=True):
                for key in ("reps", "goal"):
                    asked, asked_now = getattr(task, key), getattr(later, key)
                    if asked is not None and _is_faster(task, asked, later, asked_now, new.rounds):
                        yield f"{task.name}: more reps a second"


def _is_faster(
    was: Exercise, asked: PerRound, now: Exercise, asked_now: PerRound, rounds: int
) -> bool:
    return any(
        now.tap.owed(asked_now.at(r)) * was.work.at(r) > was.tap.owed(asked.at(r)) * now.work.at(r)
        for r in range(1, rounds + 1)
    )
