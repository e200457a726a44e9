"""The clock model: a box's own microseconds to UTC and back, and the grid of common instants.

``utc_us = a + d + d * rate_ppb / 10**9`` with ``d = box_us - c``; integers throughout. The model
holds for one boot: a box that restarts has lost it and says so.
"""

from .ticks import ticks_add, ticks_diff

PPB = 1_000_000_000
# The Pico's crystal as it comes (its data sheet, part ABM8-272-T3), and how far its rate moves
# over the temperatures of a hall (AT cut, from memory).
TOLERANCE_PPB = 30_000
TEMPERATURE_PPB = 1_500
GRID_LEAST_MS = 5_000
ANCHOR_EVERY_MS = 8_000


class ClockModel:
    """One box's clock against UTC.

    ``utc_us`` and ``box_us`` are the same instant; ``rate_ppb`` is how much faster UTC runs than
    the box; ``bound_us`` is the largest error the offset can have, ``doubt_ppb`` the largest
    that the rate can have.
    """

    def __init__(
        self,
        utc_us: int,
        box_us: int,
        rate_ppb: int = 0,
        bound_us: int = 0,
        doubt_ppb: int = TOLERANCE_PPB + TEMPERATURE_PPB,
    ) -> None:
        self.utc_us = utc_us
        self.box_us = box_us
        self.rate_ppb = rate_ppb
        self.bound_us = bound_us
        self.doubt_ppb = doubt_ppb

    def error_us(self, box_us: int) -> int:
        """Return the largest error the clock can have at ``box_us``."""
        return self.bound_us + abs(box_us - self.box_us) * self.doubt_ppb // PPB

    def at_rate(self, box_us: int, rate_ppb: int, doubt_ppb: int) -> "ClockModel":
        """Return this clock going on from ``box_us`` at another rate, without a jump."""
        bound_us = self.error_us(box_us)
        return ClockModel(self.utc_of(box_us), box_us, rate_ppb, bound_us, doubt_ppb)

    def utc_of(self, box_us: int) -> int:
        """Return ``utc_us`` at ``box_us``."""
        d = box_us - self.box_us
        return self.utc_us + d + d * self.rate_ppb // PPB

    def box_of(self, utc_us: int) -> int:
        """Return the first ``box_us`` whose UTC is ``utc_us`` or the last one before it."""
        d = utc_us - self.utc_us
        return self.box_us + d - d * self.rate_ppb // (PPB + self.rate_ppb)


def next_on_grid(now_ms: int, grid_ms: int, least_ms: int = GRID_LEAST_MS) -> int:
    """Return the first whole multiple of ``grid_ms`` that is at least ``least_ms`` after now."""
    return -(-(now_ms + least_ms) // grid_ms) * grid_ms


class RunTime:
    """Milliseconds that a runner lives on, tied to raw ticks.

    With a model, ``run_ms`` counts from ``base_utc_ms``, a whole second, and runs at the rate of
    UTC; without one it counts the box's own milliseconds. Between anchors (8 s at most) the box's
    crystal is taken as true: at 100 ppm that is under 1 ms. ``run_ms`` stays far below 2**30, so
    comparing costs no memory on the chip; only anchoring works with large integers.
    """

    def __init__(self, box_us: int, tick: int, model: "ClockModel | None" = None) -> None:
        self.model = model
        if model is None:
            self.base_utc_ms = 0
            self._base_box_us = box_us
        else:
            self.base_utc_ms = model.utc_of(box_us) // 1_000_000 * 1000
            self._base_box_us = 0
        self.tick = tick
        self.ms = 0
        self._frac_us = 0
        self.anchor(box_us, tick)

    def anchor(self, box_us: int, tick: int) -> None:
        """Take ``box_us`` at raw ``tick`` as the new reference; call every 8 s or sooner."""
        if self.model is None:
            run_us = box_us - self._base_box_us
        else:
            run_us = self.model.utc_of(box_us) - self.base_utc_ms * 1000
        self.ms = run_us // 1000
        self._frac_us = run_us % 1000
        self.tick = tick

    def ms_of(self, tick: int) -> int:
        """Return the ``run_ms`` that has begun at a raw tick near the anchor."""
        return self.ms + (ticks_diff(tick, self.tick) + self._frac_us) // 1000

    def tick_of(self, run_ms: int) -> int:
        """Return the raw tick at which ``run_ms`` begins (within 8.9 minutes of the anchor)."""
        return ticks_add(self.tick, (run_ms - self.ms) * 1000 - self._frac_us)

    def wait_us(self, run_ms: int, tick: int, most_us: int) -> int:
        """Return the microseconds from ``tick`` to ``run_ms``, ``most_us`` either way at most.

        A start may be hours off, which ticks can't tell; so the far cases are decided in ms.
        """
        away_ms = run_ms - self.ms_of(tick)
        if away_ms > most_us // 1000:
            return most_us
        if away_ms < -most_us // 1000:
            return -most_us
        return min(most_us, ticks_diff(self.tick_of(run_ms), tick))

    def us_since_anchor(self, tick: int) -> int:
        """Return the raw microseconds since the anchor."""
        return ticks_diff(tick, self.tick)

    def utc_ms(self, run_ms: int) -> int:
        """Return UTC in ms at ``run_ms``, or -1 without a model."""
        return -1 if self.model is None else self.base_utc_ms + run_ms

    def stamp_ms(self, run_ms: int) -> int:
        """Return UTC in ms at ``run_ms``, or -2 less the ms since the box started.

        So whoever learns the box's clock before its next start can still date it.
        """
        if self.model is None:
            return -2 - (self._base_box_us // 1000 + run_ms)
        return self.base_utc_ms + run_ms

    def run_ms_of_utc(self, utc_ms: int) -> int:
        """Return ``run_ms`` at a UTC instant; only with a model."""
        return utc_ms - self.base_utc_ms

    def start_after(self, run_ms: int, grid_s: int) -> int:
        """Return when a hand start at ``run_ms`` takes effect.

        On a good clock the next multiple of ``grid_s`` in UTC at least 5 s away; else 5 s on.
        """
        if self.model is None or grid_s <= 0:
            return run_ms + GRID_LEAST_MS
        return next_on_grid(self.base_utc_ms + run_ms, grid_s * 1000) - self.base_utc_ms

    def step(self, grid_s: int) -> int:
        """Return by how many ms one more press moves a hand start."""
        return GRID_LEAST_MS if self.model is None or grid_s <= 0 else grid_s * 1000
