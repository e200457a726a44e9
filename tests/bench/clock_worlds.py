"""Made-up crystals, rooms and cables, for the simulation of clocks beside this file.

Every figure that no source stands beside is an assumption (from memory); ``docs/engineers/skew.md`` lists
them. Times are true seconds, as numpy arrays; stamps are whole microseconds as the code has them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from handbell.boxes.clocks.clock import Exchange

MINUTE_S = 60.0
STEP_S = 30.0  # of the piecewise straight temperature
HEAT_S = 600.0  # how fast a box warms or cools to its surroundings
TURN_C = 25.0
CUBIC_PPM_K3 = 1.05e-4  # AT cut
EXCHANGES = 24


@dataclass
class Crystals:
    """AT-cut crystals: error at 25 degrees, slope with temperature, ageing; one a box."""

    ppm: np.ndarray
    slope_ppm_k: np.ndarray
    ageing_ppm_day: np.ndarray
    heat_usb_k: np.ndarray  # how much warmer than the room, plugged in and charging
    heat_own_k: np.ndarray  # the same on its battery
    late_back_s: np.ndarray  # what its way back is slower by, always: nobody can see it

    @classmethod
    def draw(cls, rng: np.random.Generator, boxes: int) -> Crystals:
        return cls(
            rng.uniform(-30, 30, boxes),
            rng.normal(-0.15, 0.06, boxes),
            rng.uniform(-3, 3, boxes) / 365,
            rng.uniform(2, 4, boxes),
            rng.uniform(0.5, 1.5, boxes),
            rng.uniform(0, 0.3e-3, boxes),
        )

    def ppm_at(self, celsius: np.ndarray, age_days: np.ndarray | float = 0.0) -> np.ndarray:
        """Return the error by (box, time) for temperatures by (box, time)."""
        away = celsius - TURN_C
        return (
            self.ppm[:, None]
            + self.slope_ppm_k[:, None] * away
            + CUBIC_PPM_K3 * away**3
            + (self.ageing_ppm_day * age_days)[:, None]
        )


class BoxTime:
    """Each box's own microseconds against true seconds, from a temperature by (box, time)."""

    def __init__(self, seconds: np.ndarray, ppm: np.ndarray, origin_us: np.ndarray) -> None:
        self.seconds = seconds
        mean = (ppm[:, 1:] + ppm[:, :-1]) / 2
        gains = np.cumsum(mean * np.diff(seconds), axis=1)  # us
        self._gain_us = np.concatenate([np.zeros((len(ppm), 1)), gains], axis=1)
        self._gains = self._gain_us.tolist()
        self.origin_us = origin_us

    def us(self, box: int, at_s: np.ndarray) -> np.ndarray:
        """Return a box's time at true instants, as a float."""
        gain = np.interp(at_s, self.seconds, self._gain_us[box])
        return self.origin_us[box] + at_s * 1e6 + gain

    def true_s(self, box: int, box_us: float) -> float:
        """Return the true instant of a box's time; each step leaves 1/30,000 of the error."""
        away_us = float(box_us - self.origin_us[box])
        at_s = away_us / 1e6
        gains = self._gains[box]
        for _ in range(2):
            n = min(int(at_s / STEP_S), len(gains) - 2)
            gain_us = gains[n] + (gains[n + 1] - gains[n]) * (at_s / STEP_S - n)
            at_s = (away_us - gain_us) / 1e6
        return at_s


def warming(
    rng: np.random.Generator, crystals: Crystals, minutes: float, room_c: float, plugged: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Return (seconds, temperature by box and time).

    Plugged in, the box warms up from the room's temperature; unplugged, it cools down from what
    ten minutes of USB made it while people warm the room by up to 6 K in an hour.
    """
    seconds = np.arange(0, minutes * MINUTE_S + STEP_S, STEP_S)
    boxes = len(crystals.ppm)
    place = rng.normal(0, 0.5 if plugged else 1.0, boxes)[:, None]
    fade = np.exp(-seconds / HEAT_S)[None, :]
    usb, own = crystals.heat_usb_k[:, None], crystals.heat_own_k[:, None]
    if plugged:
        rise = rng.uniform(-1, 1) * seconds / 3600
        heat = usb * (1 - fade)
    else:
        rise = rng.uniform(0, 6) * (1 - np.exp(-seconds / 1800)) / (1 - np.exp(-2))
        heat = own + (usb * (1 - np.exp(-1)) - own) * fade
    return seconds, room_c + place + rise[None, :] + heat


def exchanges(
    rng: np.random.Generator,
    time: BoxTime,
    box: int,
    late_back_s: float,
    at_s: np.ndarray,
    spikes: float,
) -> np.ndarray:
    """Return stamps by (contact, exchange, 4) in whole us.

    Each way waits 0 to 1 ms for the bus and 0.1 ms in a hub; the way there waits for the box's
    loop (0 to 1.1 ms) besides. A share ``spikes`` of all ways takes ten times as long.
    """
    shape = (len(at_s), EXCHANGES)
    there = rng.uniform(0, 1e-3, shape) + rng.uniform(0, 1.1e-3, shape) + 0.1e-3
    back = rng.uniform(0, 1e-3, shape) + 0.1e-3
    there *= np.where(rng.random(shape) < spikes, 10.0, 1.0)
    back *= np.where(rng.random(shape) < spikes, 10.0, 1.0)
    back += late_back_s
    busy = rng.uniform(0.3e-3, 1e-3, shape)
    pause = (np.arange(EXCHANGES) * 0.618 % 1 / 1000)[None, :]
    took = pause + there + busy + back
    sent = at_s[:, None] + np.cumsum(took, axis=1) - took + pause
    arrived = sent + there
    stamps = np.stack(
        [
            np.floor(sent * 1e6),
            np.floor(time.us(box, arrived)),
            np.floor(time.us(box, arrived + busy)),
            np.floor((arrived + busy + back) * 1e6),
        ],
        axis=-1,
    )
    return stamps.astype(np.int64)


def as_exchanges(stamps: np.ndarray) -> list[list[Exchange]]:
    """Return the stamps of contacts as the host's code takes them."""
    return [[Exchange(*e) for e in contact] for contact in stamps.tolist()]


def pauses(minutes: float) -> np.ndarray:
    """Return when a calibration of so many minutes measures, in seconds from its start."""
    from handbell.boxes.clocks.calibrate import FIRST_PAUSE_S, LONGEST_PAUSE_S, PAUSE_GROWS

    at, pause, out = 0.0, FIRST_PAUSE_S, [0.0]
    while at < minutes * MINUTE_S:
        at = min(minutes * MINUTE_S, at + pause)
        pause = min(LONGEST_PAUSE_S, pause * PAUSE_GROWS)
        out.append(at)
    return np.array(out)
