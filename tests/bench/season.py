"""Twelve weeks of a class of twenty with a planted truth, as journals in a store.

People are ``handbell.virtual.athletes``' model; what they press is counted by the core's own rules
and written as a box writes it, without a box, so that a season takes a second.
"""

from __future__ import annotations

import math
import random
import struct
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

from oddities import Oddity, plant

from handbell.compile import build
from handbell.plan.files import parse_plan
from handbell.store import Store
from handbell.store.logs.timelines import Window, decode
from handbell.virtual.athletes import HOLD_MS, Athlete, Floor
from handbell_core import journal as j
from handbell_core import timeline as t
from handbell_core.runner import PLAY
from handbell_core.taps import APART_US, SlotCount

WEEKS = 12
LANES, EACH = 5, 4
WEEK_MS = 7 * 86_400_000
START_UTC_MS = 1_788_700_000_000  # a Sunday in September 2026
COMES = 0.9  # how likely somebody comes
PLAN = (
    'title = "Harbour circuit"\nbuttons = 4\nbreak_s = 60\n'
    + "".join(
        f'[[group]]\nname = "Lane {n + 1}"\nbibs = {[n * EACH + k + 1 for k in range(EACH)]}\n'
        for n in range(LANES)
    )
    + """
[[block]]
rounds = 3
rest_s = 15
  [[block.exercise]]
  name = "Squat jump"  # open, with something to wish for
  work_s = 30
  goal = 10
  [[block.exercise]]
  name = "Push-up"     # a target
  work_s = 30
  reps = 10
  [[block.exercise]]
  name = "Sit-up"
  work_s = 30
  reps = 10
  tap = "finish"

[[block]]
rounds = 3
rest_s = 15
  [[block.exercise]]
  name = "Burpee"
  work_s = 40
  goal = 10
  [[block.exercise]]
  name = "Row"
  work_s = 30
  reps = 10
  [[block.exercise]]
  name = "Plank"
  work_s = 30
  hold = true
"""
)
OPEN_HARDER = 1.2  # the pace of an open window's goal, against a target's


@dataclass(frozen=True)
class Planted:
    """One person's truth: ``kind``, and what the model takes, week by week."""

    bib: int
    kind: str
    athlete: Athlete
    weekly: float = 1.0  # the pace is multiplied by it each week
    rating: tuple[int, int] = (6, 7)

    def at(self, week: int, rng: random.Random, noise: float) -> Athlete:
        """Return the athlete of a week, on that day's form."""
        pace = self.athlete.pace * self.weekly**week * rng.gauss(1, noise)
        return replace(self.athlete, pace=pace, rating=rng.randint(*self.rating))


@dataclass(frozen=True)
class Strength:
    """How plain the planted people are: ranges of the model's figures, least and most."""

    steady: tuple[float, float]
    gains: tuple[float, float]  # an improver's pace is multiplied by it each week
    fades: tuple[float, float]
    struggles: tuple[float, float]
    idles: tuple[float, float]
    day_noise: float  # of the pace, from day to day


PLAIN = Strength((0.76, 0.84), (0.94, 0.96), (0.26, 0.34), (1.2, 1.35), (0.8, 0.95), 0.04)
FAINT = Strength((0.72, 0.92), (0.965, 0.975), (0.16, 0.24), (1.05, 1.15), (0.5, 0.7), 0.06)


def steady(bib: int, rng: random.Random, how: Strength) -> Planted:
    """Make the targets with a little rest, and stay so."""
    athlete = Athlete(bib, rng.uniform(*how.steady), rng.uniform(0.02, 0.05), hangs_on_s=26)
    return Planted(bib, "steady", athlete)


def improver(bib: int, rng: random.Random, how: Strength) -> Planted:
    """Begin like the steady ones and get quicker each week."""
    athlete = Athlete(bib, rng.uniform(0.78, 0.86), rng.uniform(0.02, 0.05), hangs_on_s=26)
    return Planted(bib, "improver", athlete, rng.uniform(*how.gains))


def fader(bib: int, rng: random.Random, how: Strength) -> Planted:
    """Make the first round and slow down with each round after it."""
    athlete = Athlete(bib, rng.uniform(0.74, 0.82), rng.uniform(*how.fades), hangs_on_s=26)
    return Planted(bib, "fader", athlete, rating=(7, 9))


def idler(bib: int, rng: random.Random, how: Strength) -> Planted:
    """Could do it, leave windows early, and call it easy."""
    gives_up = rng.uniform(*how.idles)
    athlete = Athlete(bib, rng.uniform(0.76, 0.84), 0.03, gives_up=gives_up, hangs_on_s=12)
    return Planted(bib, "idler", athlete, rating=(2, 3))


def struggler(bib: int, rng: random.Random, how: Strength) -> Planted:
    """Work to the end and fall short."""
    athlete = Athlete(bib, rng.uniform(*how.struggles), rng.uniform(0.03, 0.06), hangs_on_s=14)
    return Planted(bib, "struggler", athlete, rating=(8, 10))


CAST: tuple[tuple[Callable[[int, random.Random, Strength], Planted], int], ...] = (
    (steady, 10),
    (improver, 3),
    (fader, 3),
    (idler, 2),
    (struggler, 2),
)


class Taps(Floor):
    """The modelled athletes, whose presses are kept instead of the contact's bounce."""

    def __init__(self, data: bytes, athletes: list[Athlete], seed: int) -> None:
        super().__init__(data, athletes, seed)
        self.presses: list[tuple[float, int, float]] = []  # class_ms, slot, held ms

    def _contact(self, class_ms: float, held_ms: float, slot: int) -> None:
        self.presses.append((class_ms, slot, held_ms))

    def _rep_times(self, span: t.Span, athlete: Athlete) -> list[int]:
        if span.ask == t.ASK_OPEN:
            athlete = replace(athlete, pace=athlete.pace * OPEN_HARDER)
        return super()._rep_times(span, athlete)


def journal(
    data: bytes,
    presses: Iterable[tuple[float, int, float]],
    ratings: dict[int, int],
    start_utc_ms: int | None,
) -> bytes:
    """Return a run's journal as a box would have written it; for plans without tallies."""
    timeline = decode(data)
    end_ms = timeline.slot_ms
    records = [j.run_record(bytes.fromhex(timeline.digest), timeline.station)]
    records.append(j.record(j.BOX, 0, 0, 0, bytes(8) + struct.pack("<HH", 3900, 1)))
    utc_ms = -1 if start_utc_ms is None else start_utc_ms
    if start_utc_ms is not None:
        records.append(j.record(j.UTC, 0, 0, 0, struct.pack("<qI", utc_ms * 1000, 400)))
    records.append(j.record(j.STATE, 0, 0, 0, struct.pack("<BBHq", PLAY, j.BY_HOST, 0, utc_ms)))
    counts = {
        w: [_count(window, slot) for slot in range(t.SLOTS)]
        for w, window in timeline.windows.items()
    }
    tapped, taps = _tap_records(presses, timeline.windows, counts, end_ms)
    records += tapped
    for number, window in timeline.windows.items():
        for slot, count in enumerate(counts[number]):
            if count.bib:
                records.append(_result(window, slot, count))
    for bib, rating in ratings.items():
        records.append(j.record(j.RATED, 0, 0, end_ms + 20_000, struct.pack("<HB", bib, rating)))
    records.append(
        j.record(j.END, 0, 0, end_ms + 30_000, struct.pack("<BBHII", j.BY_TIME, 0, 0, 0, taps))
    )
    return b"".join(records)


def _count(window: Window, slot: int) -> SlotCount:
    count = SlotCount()
    count.begin(window.bibs[slot], window.ask, window.tap, window.every, window.goal)
    return count


def _tap_records(
    presses: Iterable[tuple[float, int, float]],
    windows: dict[int, Window],
    counts: dict[int, list[SlotCount]],
    end_ms: int,
) -> tuple[list[bytes], int]:
    records, taps, last = [], 0, {}
    order = sorted(windows.values(), key=lambda w: w.start_ms)
    bibs = order[0].bibs
    for at, slot, held_ms in sorted(presses):
        class_ms = int(at)
        if class_ms >= end_ms or class_ms - last.get(slot, -1_000) < APART_US // 1000:
            continue
        last[slot] = class_ms
        window = next((w for w in order if w.start_ms <= class_ms < w.end_ms), None)
        count = counts[window.number][slot] if window else None
        if held_ms >= HOLD_MS - 200:
            if count is not None and window is not None and count.back():
                payload = struct.pack("<HHH", count.bib, 0, count.taps)
                records.append(j.record(j.BACK, slot, window.number, class_ms, payload))
            continue
        taps += 1
        if count is None or window is None or not count.asked:
            records.append(
                j.tap_record(slot, 0, class_ms, bibs[slot], int(held_ms), 0, j.TAP_OUTSIDE)
            )
            continue
        flags = 0 if count.tap(class_ms) else j.TAP_EXTRA
        records.append(
            j.tap_record(slot, window.number, class_ms, count.bib, int(held_ms), count.taps, flags)
        )
    return records, taps


def _result(window: Window, slot: int, count: SlotCount) -> bytes:
    held = j.HELD_TO_END if count.drop_ms < 0 else (count.drop_ms - window.start_ms) // 100
    flags = j.RES_ASKED if count.asked else 0
    payload = struct.pack("<HHiHB", count.bib, count.reps, count.made_ms, held, flags)
    return j.record(j.RESULT, slot, window.number, window.end_ms, payload)


@dataclass
class Season:
    """What was planted: ``people`` by bib, ``there`` by week, and what is odd."""

    people: dict[int, Planted]
    how: Strength
    there: list[set[int]] = field(default_factory=list)
    odd: list[Oddity] = field(default_factory=list)


def cast(rng: random.Random, how: Strength) -> dict[int, Planted]:
    """Return who is who, in a random order of bibs."""
    kinds = [make for make, count in CAST for _ in range(count)]
    rng.shuffle(kinds)
    return {bib: make(bib, rng, how) for bib, make in enumerate(kinds, 1)}


def play(
    store: Store,
    seed: int,
    weeks: int = WEEKS,
    how: Strength = PLAIN,
    odd: bool = True,
    planted: Callable[[dict[int, Planted], random.Random], list[Oddity]] | None = None,
    people: dict[int, Planted] | None = None,
) -> Season:
    """Fill a store with a season and return its truth; ``odd`` plants suspicious data too.

    ``planted`` says which, in place of the usual, and ``people`` who is there.
    """
    rng = random.Random(seed)
    season = Season(people or cast(rng, how), how)
    if planted is not None:
        season.odd = planted(season.people, rng)
    elif odd:
        kinds = {bib: one.kind for bib, one in season.people.items()}
        season.odd = [o for o in plant(kinds, EACH, rng) if o.week < weeks]
    built = build(parse_plan(PLAN.encode()))
    store.put_plan(PLAN.encode(), built.plan.title)
    for box in built.timelines:
        store.put_timeline(box.data)
    for week in range(weeks):
        there = {bib for bib in season.people if rng.random() < COMES}
        there |= {bib for o in season.odd if o.week == week for bib in o.bibs}
        season.there.append(there)
        for lane, box in enumerate(built.timelines):
            own = there & set(box.bibs)
            _play_box(store, season, week, lane, box.data, own, rng)
    return season


def _play_box(
    store: Store,
    season: Season,
    week: int,
    lane: int,
    data: bytes,
    bibs: set[int],
    rng: random.Random,
) -> None:
    odd = [o for o in season.odd if o.week == week]
    wears = {bib: body for o in odd for bib, body in o.wears.items()}
    slower = math.prod(o.slower for o in odd)
    own = []
    for bib in sorted(bibs):
        athlete = season.people[wears.get(bib, bib)].at(week, rng, season.how.day_noise)
        own.append(replace(athlete, bib=bib, pace=athlete.pace * slower))
    floor = Taps(data, own, rng.randrange(1 << 30))
    ratings = floor.play().ratings
    timeline = decode(data)
    presses = [p for p in floor.presses if p[0] < timeline.slot_ms]
    for o in odd:
        if o.change is not None and o.lane == lane:
            presses = o.change(presses, timeline)
    lost = any(o.name == "clock-lost" and o.lane == lane for o in odd)
    start_ms = START_UTC_MS + week * WEEK_MS
    raw = journal(data, presses, ratings, None if lost else start_ms)
    store.ingest(raw, f"e66164084b{lane:06x}", (start_ms + 3_600_000) * 1000)
