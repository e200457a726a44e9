"""Classes of made-up boxes, on the host's and the box's own clock code.

The offsets, the rates and the bounds come from ``handbell.boxes``, a box's time from the core in
integers with its 8 s anchors; only the worlds (``clock_worlds.py``) are made up.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from clock_worlds import BoxTime, Crystals, as_exchanges, exchanges, pauses, warming

from handbell.base.drift import DAY_US, TOLERANCE_PPB, drift_us
from handbell.boxes.clocks.clock import Offset, enough, offset_of
from handbell.boxes.clocks.contacts import Contact
from handbell.boxes.clocks.rate import Rate, estimate
from handbell.boxes.clocks.skew import ClockState, worst_skew_us
from handbell_core.clock import ANCHOR_EVERY_MS, ClockModel, RunTime
from handbell_core.ticks import MASK, ticks_diff

BOXES = 24
CALIBRATE_MIN = 30
AFTER_MIN = (15, 60)
SEND_TO_ARM_S = 600
CHART_MIN = (0, 5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60)
UTC_US = 1_790_000_000_000_000
RTC_PPM, RTC_PPM_K = 2.0, 0.03  # DS3231: its data sheet's limit; what it leaves of temperature


@dataclass
class Fleet:
    """24 boxes that were calibrated, by the host's code and by plainer ones (ppb by box)."""

    crystals: Crystals
    rates: list[Rate]
    least_squares: np.ndarray
    single: np.ndarray
    true_ppb: np.ndarray
    two: list[Rate]
    room_c: float
    stepped: bool


@dataclass
class Result:
    """Errors in us by (class, box) for each minute; ``bounds`` as the host states them."""

    errors: dict[str, dict[int, list[np.ndarray]]] = field(default_factory=dict)
    bounds: dict[str, dict[int, list[np.ndarray]]] = field(default_factory=dict)
    offset_errors: dict[str, list[float]] = field(default_factory=dict)
    offset_bounds: list[float] = field(default_factory=list)
    shortest_bounds: list[float] = field(default_factory=list)
    rates_held: list[bool] = field(default_factory=list)
    rate_bounds: list[float] = field(default_factory=list)
    stepped: list[bool] = field(default_factory=list)

    def add(self, name: str, minute: int, errors: np.ndarray, bounds: np.ndarray | None) -> None:
        self.errors.setdefault(name, {}).setdefault(minute, []).append(errors)
        if bounds is not None:
            self.bounds.setdefault(name, {}).setdefault(minute, []).append(bounds)

    def skews_ms(self, name: str, minute: int) -> np.ndarray:
        """Return each class's skew in ms: its earliest box against its latest."""
        return np.ptp(np.array(self.errors[name][minute]), axis=1) / 1000

    def p95_ms(self, name: str, minute: int, stepped: bool | None = None) -> float:
        """Return the 95th percentile of the skew, of all classes or by the host's clock."""
        skews = self.skews_ms(name, minute)
        if stepped is not None:
            skews = skews[np.array(self.stepped[: len(skews)]) == stepped]
        return float(np.percentile(skews, 95))

    def box_coverage(self, name: str) -> float:
        """Return the share of errors that were within the stated bound, all minutes together."""
        held = [
            np.abs(np.array(errors)) <= np.array(self.bounds[name][minute])
            for minute, errors in self.errors[name].items()
            if minute in self.bounds[name]
        ]
        return float(np.mean(np.concatenate(held)))

    def skew_coverage(self, name: str) -> float:
        """Return the share of classes whose skew was within the stated worst."""
        held = []
        for minute, bounds in self.bounds[name].items():
            stated = np.array([worst_skew_us(b.tolist()) for b in bounds]) / 1000
            held.append(self.skews_ms(name, minute) <= stated)
        return float(np.mean(np.concatenate(held)))


def calibrate(rng: np.random.Generator, spikes: float, steps: bool) -> Fleet:
    """Calibrate 24 fresh boxes; with ``steps`` in two sittings, the clock moved in the first."""
    crystals = Crystals.draw(rng, BOXES)
    room_c = rng.normal(20, 2)
    seconds, celsius = warming(rng, crystals, CALIBRATE_MIN + 2, room_c, plugged=True)
    ppm = crystals.ppm_at(celsius)
    times = BoxTime(seconds, ppm, rng.integers(0, 10**10, BOXES).astype(float))
    at_s = 10.0 + pauses(CALIBRATE_MIN)
    moved_us = np.zeros(len(at_s), dtype=np.int64)
    if steps:
        moved_us[rng.integers(5, len(at_s)) :] = int(rng.choice([-1, 1]) * rng.uniform(5e3, 5e5))
    fleet = Fleet(
        crystals, [], np.zeros(BOXES), np.zeros(BOXES), np.zeros(BOXES), [], room_c, steps
    )
    later = int(np.argmin(np.abs(at_s - at_s[0] - SEND_TO_ARM_S)))
    for box in range(BOXES):
        stamps, offsets = syncs(rng, times, box, crystals.late_back_s[box], at_s, spikes)
        moved = moved_us if box < BOXES // 2 else np.zeros_like(moved_us)
        contacts = _contacts(offsets, moved)
        found = estimate(contacts, UTC_US + 3600 * 10**6)
        assert found.rate is not None, found.why
        fleet.rates.append(found.rate)
        hasty = estimate([contacts[0], contacts[later]], UTC_US).rate
        fleet.two.append(hasty or Rate(0, TOLERANCE_PPB, 0, 0, UTC_US))
        x = np.array([c.box_us - contacts[0].box_us for c in contacts], dtype=float)
        y = np.array([c.offset_us for c in contacts], dtype=float)
        fleet.least_squares[box] = np.polyfit(x, y - y[0], 1)[0] * 1e9
        fleet.single[box] = _single_ppb(stamps, moved)
        gone = times.us(box, at_s[-1:]) - times.us(box, at_s[:1])
        fleet.true_ppb[box] = ((at_s[-1] - at_s[0]) * 1e6 / gone[0] - 1) * 1e9
    return fleet


def syncs(
    rng: np.random.Generator,
    times: BoxTime,
    box: int,
    late_back_s: float,
    at_s: np.ndarray,
    spikes: float,
) -> tuple[np.ndarray, list[Offset]]:
    """Return the first exchanges of each sync, and the offset that the host's code found."""
    stamps = exchanges(rng, times, box, late_back_s, at_s, spikes)
    offsets = []
    for got in as_exchanges(stamps):
        while not enough(got):
            on_s = np.array([got[-1].came_us / 1e6])
            got += as_exchanges(exchanges(rng, times, box, late_back_s, on_s, spikes))[0]
        offset = offset_of(got)
        assert offset is not None
        offsets.append(offset)
    return stamps, offsets


def _contacts(offsets: list[Offset], moved_us: np.ndarray) -> list[Contact]:
    return [
        Contact("box", 1, o.box_us, UTC_US + o.mono_us + moved, o.bound_us, UTC_US + moved)
        for o, moved in zip(offsets, moved_us.tolist(), strict=True)
    ]


def _middles(stamps: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (host, box) midpoints of exchanges, from stamps with 4 as the last axis."""
    return (stamps[..., 0] + stamps[..., 3]) / 2, (stamps[..., 1] + stamps[..., 2]) / 2


def _single_ppb(stamps: np.ndarray, moved_us: np.ndarray) -> float:
    """Return the rate from one exchange at the start and one at the end."""
    host, box = _middles(stamps[[0, -1], 0, :])
    host = host + moved_us[[0, -1]]
    return float(((host[1] - host[0]) / (box[1] - box[0]) - 1) * 1e9)


def play(rng: np.random.Generator, fleet: Fleet, spikes: float, into: Result, chart: bool) -> None:
    """Sync 24 boxes, unplug them, and see when they would ring."""
    crystals = fleet.crystals
    age_days = rng.uniform(0, 30)
    room_c = fleet.room_c + rng.uniform(-1, 3)
    seconds, celsius = warming(rng, crystals, max(CHART_MIN) + 2, room_c, plugged=False)
    ppm = crystals.ppm_at(celsius, age_days)
    times = BoxTime(seconds, ppm, rng.integers(0, 10**10, BOXES).astype(float))
    now_us = fleet.rates[0].utc_us + int(age_days * DAY_US)
    rtc = rng.uniform(-RTC_PPM, RTC_PPM, BOXES)
    wander = rng.uniform(-RTC_PPM_K, RTC_PPM_K, BOXES)
    away = celsius.mean(axis=1) - fleet.room_c
    minutes = CHART_MIN if chart else AFTER_MIN
    errors: dict[tuple[str, int], np.ndarray] = {}
    bounds: dict[tuple[str, int], np.ndarray] = {}
    for box in range(BOXES):
        late_back_s = crystals.late_back_s[box]
        stamps, (offset,) = syncs(rng, times, box, late_back_s, np.array([1.0]), spikes)
        _note_offsets(into, stamps[0], times, box, offset)
        utc_us = now_us + offset.mono_us
        rate = fleet.rates[box]
        host, own = _middles(stamps[0, 0])
        for name, ppb, known in (("calibrated", rate.ppb, rate), ("uncalibrated", 0, None)):
            model = ClockModel(utc_us, offset.box_us, ppb, offset.bound_us)
            state = ClockState(utc_us, offset.bound_us, known)
            for minute in minutes:
                put(errors, name, minute, box, ring_error_us(model, times, box, now_us, minute))
                due_us = now_us + (60 * minute + 1) * 10**6
                put(bounds, name, minute, box, state.error_us(due_us))
        off = (host - own) - (offset.mono_us - offset.box_us)
        hasty = replace(fleet.two[box], utc_us=utc_us)
        doubtful = ClockState(utc_us, offset.bound_us, hasty)
        for minute in minutes:  # plainer ways, against the calibrated one
            base, after_us = errors["calibrated", minute][box], minute * 60e6
            least = base - drift_us(fleet.least_squares[box] - rate.ppb, after_us)
            put(errors, "least squares", minute, box, least)
            two = base - drift_us(hasty.ppb - rate.ppb, after_us)
            put(errors, "two contacts", minute, box, two)
            due_us = utc_us + minute * 60_000_000
            put(bounds, "two contacts", minute, box, doubtful.error_us(due_us))
            single = base - off - drift_us(fleet.single[box] - rate.ppb, after_us)
            put(errors, "single exchange", minute, box, single)
        off_us = utc_us - now_us - times.true_s(box, offset.box_us) * 1e6
        for minute in minutes:
            temperature = wander[box] * away[box]
            doubt = (rate.ppb - fleet.true_ppb[box]) / 1000
            for name, ppm_off in (("with RTC", rtc[box]), ("RTC calibrated", doubt)):
                put(errors, name, minute, box, off_us + (ppm_off + temperature) * minute * 60)
    into.stepped.append(fleet.stepped)
    for (name, minute), values in errors.items():
        into.add(name, minute, values, bounds.get((name, minute)))


def put(
    into: dict[tuple[str, int], np.ndarray], name: str, minute: int, box: int, value: float
) -> None:
    into.setdefault((name, minute), np.zeros(BOXES))[box] = value


def _note_offsets(
    into: Result, stamps: np.ndarray, times: BoxTime, box: int, found: Offset
) -> None:
    """Compare the offset with that of the shortest round trip and of a single exchange."""
    into.offset_bounds.append(found.bound_us)
    errors = into.offset_errors
    errors.setdefault("all", []).append(found.mono_us - times.true_s(box, found.box_us) * 1e6)
    host, own = _middles(stamps)
    rounds = (stamps[:, 3] - stamps[:, 0]) - (stamps[:, 2] - stamps[:, 1])
    shortest = int(np.argmin(rounds))
    into.shortest_bounds.append(float(rounds[shortest]) / 2)
    for name, n in (("shortest", shortest), ("single", 0)):
        errors.setdefault(name, []).append(host[n] - times.true_s(box, own[n]) * 1e6)


def ring_error_us(model: ClockModel, times: BoxTime, box: int, now_us: int, minute: int) -> float:
    """Return by how much a box rings late (us) so long after its sync, by the core's own code."""
    clock = RunTime(model.box_us, model.box_us & MASK, model)
    due_us = (now_us + 1_000_000 + minute * 60_000_000) // 1_000_000 * 1_000_000
    anchors = (model.box_of(due_us) - model.box_us) // (ANCHOR_EVERY_MS * 1000)
    anchor_us = model.box_us + max(0, anchors) * ANCHOR_EVERY_MS * 1000
    clock.anchor(anchor_us, anchor_us & MASK)
    tick = clock.tick_of(due_us // 1000 - clock.base_utc_ms)
    rings_us = anchor_us + ticks_diff(tick, anchor_us & MASK)
    return times.true_s(box, rings_us) * 1e6 - (due_us - now_us)


def simulate(
    classes: int, spikes: float = 0.0, seed: int = 1, fleets: int = 12, charted: int = 0
) -> Result:
    """Calibrate some fleets (every fourth on a host whose clock is moved) and play classes."""
    rng = np.random.default_rng(seed)
    made = [calibrate(rng, spikes, steps=n % 4 == 3) for n in range(fleets)]
    result = Result()
    for fleet in made:
        for rate, true_ppb in zip(fleet.rates, fleet.true_ppb, strict=True):
            result.rates_held.append(abs(rate.ppb - true_ppb) <= rate.bound_ppb)
            result.rate_bounds.append(rate.bound_ppb)
    for n in range(classes):
        play(rng, made[n % fleets], spikes, result, chart=n < charted)
    return result
