"""Whether the cues leave room for flash writes.

A write stalls the whole chip, so it must fall where nothing rings; and a tap must be stored within
5 s. So a cue-free stretch of 1.5 s must come round every 5 s: a box needs 1.4 s of it at most, so
where one ends the next must begin 3.6 s later or sooner. That leaves room for a count of three and
the bell it leads to, between whose notes a box writes as well (docs/engineers/timing.md).

A pause may cut a window in two. What is left goes on with a bell, from any millisecond with at
least 5 s left; only where sides change can that bell crowd the cues behind it. Then up to 4 s may
go by without a gap, so a tap is stored within 5.4 s, once after a pause: no plan is refused for
less.
"""

from __future__ import annotations

from collections.abc import Iterator

from handbell.base.errors import PlanError
from handbell.compile.expand import Stretch
from handbell.compile.schedule import Schedule
from handbell.plan.agreement import Place
from handbell.plan.faults import sentence
from handbell_core.cues import CLOSE, GO, motif_ms, next_cue
from handbell_core.states import LEFT_LEAST_MS
from handbell_core.timeline import BOTH_SIDES, KINDS, WINDOW

EVERY_MS = 5_000
GAP_MS = 1_500
NEEDED_MS = 1_400
BUSY_MOST_MS = EVERY_MS - NEEDED_MS
AFTER_A_PAUSE_MS = 4_000
FAULTS_MOST = 8

Sounds = tuple[tuple[int, int], ...]


class Cues:
    """The cues of spans as (from, to) offsets in ms, worked out once for each sort of span."""

    def __init__(self, count_s: int) -> None:
        self._count_s = count_s
        self._known: dict[tuple[int, int, int], Sounds] = {}

    def of(self, kind: int, duration_ms: int, flags: int) -> Sounds:
        """Return when a span's cues sound."""
        sort = (kind, duration_ms, flags & BOTH_SIDES)
        if sort not in self._known:
            self._known[sort] = tuple(self._ring(*sort))
        return self._known[sort]

    def _ring(self, kind: int, duration_ms: int, flags: int) -> Iterator[tuple[int, int]]:
        after_ms = 0
        while True:
            at_ms, cue = next_cue(kind, duration_ms, flags, self._count_s, after_ms)
            if at_ms < 0:
                return
            yield at_ms, at_ms + motif_ms(cue)
            after_ms = at_ms + 1


def crowded(
    stretches: list[Stretch],
    flags: list[int],
    cues: Cues | _GoesOn,
    most_ms: int = BUSY_MOST_MS,
) -> list[Stretch]:
    """Return the stretches from which on cues ring for too long without a gap, in order.

    A gate counts as 0 here, which is the worst case: it can only add quiet.
    """
    found: list[Stretch] = []
    begins = stretches[0]
    began_ms = quiet_ms = -GAP_MS

    def check() -> None:
        if quiet_ms - began_ms > most_ms and (not found or found[-1] is not begins):
            found.append(begins)

    for s, bits in zip(stretches, flags, strict=True):
        for start, end in cues.of(s.kind, s.duration_ms, bits):
            if s.start_ms + start - quiet_ms >= GAP_MS:
                begins, began_ms = s, s.start_ms + start
            quiet_ms = max(quiet_ms, s.start_ms + end)
            check()
    if stretches[-1].end_ms - quiet_ms < GAP_MS:
        quiet_ms = stretches[-1].end_ms + motif_ms(CLOSE)
        check()
    return found


class _GoesOn:
    """The cues of a window that goes on after a pause, and of what follows it."""

    def __init__(self, cues: Cues, first: Sounds) -> None:
        self._cues = cues
        self._first: Sounds | None = first

    def of(self, kind: int, duration_ms: int, flags: int) -> Sounds:
        """Return when a span's cues sound; the first one that is asked for goes on."""
        first, self._first = self._first, None
        return self._cues.of(kind, duration_ms, flags) if first is None else first


def crowded_after_a_pause(
    stretches: list[Stretch], flags: list[int], cues: Cues
) -> Iterator[Stretch]:
    """Yield the windows that leave no gap if they are paused and go on at some millisecond.

    A bell crowds what follows the more, the earlier that begins; and it crowds the longest run of
    cues where the first of them is just too near for a gap between.
    """
    known: dict[tuple[int, ...], bool] = {}
    for at, (s, bits) in enumerate(zip(stretches, flags, strict=True)):
        if s.kind != WINDOW or not bits & BOTH_SIDES:
            continue
        behind = stretches[at : at + 4]
        sort = tuple(n for b in zip(behind, flags[at:], strict=False) for n in _sort(*b))
        if sort not in known:
            known[sort] = _crowds(behind, flags[at : at + 4], cues)
        if known[sort]:
            yield s


def _sort(s: Stretch, bits: int) -> tuple[int, int, int]:
    return s.kind, s.duration_ms, bits


def _crowds(behind: list[Stretch], flags: list[int], cues: Cues) -> bool:
    window = behind[0]
    sounds = cues.of(window.kind, window.duration_ms, flags[0])
    most_ms = window.duration_ms - LEFT_LEAST_MS
    near = [start - motif_ms(GO) - GAP_MS + 1 for start, _ in sounds]
    for gone_ms in {1, most_ms, *near, *(start - 1 for start, _ in sounds)}:
        if not 0 < gone_ms <= most_ms:
            continue
        left = [(start - gone_ms, end - gone_ms) for start, end in sounds if start > gone_ms]
        goes_on = _GoesOn(cues, ((0, motif_ms(GO)), *left))
        rest = Stretch(WINDOW, window.start_ms + gone_ms, window.duration_ms - gone_ms)
        if crowded([rest, *behind[1:]], flags, goes_on, AFTER_A_PAUSE_MS)[:1] == [rest]:
            return True
    return False


def require_gaps(schedule: Schedule) -> None:
    """Raise PlanError where cues leave no gaps, with the remedy that there is."""
    plan = schedule.plan
    places = _places(schedule, plan.count_s)
    if not places:
        return
    fewer = range(plan.count_s - 1, -1, -1)
    enough = next((n for n in fewer if not _places(schedule, n)), None)
    remedy = "lengthen the window" if enough is None else f"lower count_s to {enough}"
    fault = f"cues leave no quiet 1.5 s in every 5 s, which a box needs to store taps; {remedy}"
    faults = [sentence(place, fault) for place in places]
    if len(faults) > FAULTS_MOST:
        faults[FAULTS_MOST:] = [f"and {len(faults) - FAULTS_MOST} more places like these"]
    raise PlanError(plan.path, faults)


def _places(schedule: Schedule, count_s: int) -> list[Place]:
    """Return where cues leave no gaps when the last seconds are counted, for alike boxes once."""
    cues = Cues(count_s)
    alike: dict[tuple[tuple[bool, bool], ...], int] = {}
    for station in range(schedule.boxes):
        alike.setdefault(_flagged(schedule, station), station)
    places: dict[tuple[int, int, int], Place] = {}
    for station in alike.values():
        flags = [_sides(schedule, station, s) for s in schedule.stretches]
        found = crowded(schedule.stretches, flags, cues)
        for s in (*found, *crowded_after_a_pause(schedule.stretches, flags, cues)):
            item = schedule.at(s)[station].number if s.block else 0
            places.setdefault((s.block, item, s.kind), _place(s, item))
    return list(places.values())


def _flagged(schedule: Schedule, station: int) -> tuple[tuple[bool, bool], ...]:
    """Return how a station's windows are flagged, step by step."""
    exercises = (step[station].exercise for posts in schedule.posts for step in posts)
    return tuple((e.both_sides, e.tap.rule == "tally") for e in exercises)


def _sides(schedule: Schedule, station: int, s: Stretch) -> int:
    """Return the flag of a window in which sides change."""
    is_window = s.kind == WINDOW
    return BOTH_SIDES if is_window and schedule.at(s)[station].exercise.both_sides else 0


def _place(s: Stretch, item: int) -> Place:
    if not s.block:
        return (KINDS[s.kind],)
    place = ("block", s.block - 1, f"round {s.round}", "exercise", item)
    return place if s.kind == WINDOW else (*place, KINDS[s.kind])
