"""The rate of a box's crystal, from every contact: robust, bounded, and out of date in time.

Contacts fall into stretches within which the box ran on and nobody moved the computer's clock.
Each stretch gives a slope by Theil and Sen (the median of the slopes of all pairs) with Sen's
interval from ranks; no slope may leave what the contacts' own bounds allow. Stretches are then
weighed together: the crystal is the same, but the day's temperature is not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations
from statistics import median

from handbell.base.drift import (
    AGEING_PPB_A_DAY,
    DAY_US,
    MOST_PPB,
    PPB,
    RATE_LASTS_DAYS,
    TEMPERATURE_PPB,
    clock_moved,
    drift_us,
)
from handbell.base.robust import theil_sen

from .contacts import Contact

LEAST_SPAN_S = 300
CONFIDENCE = 0.99
RANKS_FROM = 8  # with fewer contacts the interval from ranks says little: only bounds count
MOST_CONTACTS = 120  # of a stretch, spread evenly: all pairs of more cost too long
ANOTHER_BOOT_US = 10_000_000  # further off it is another boot whose number came again
DAY_PPB = 300  # how a rate differs between two days for temperature, as a standard deviation


@dataclass(frozen=True)
class Rate:
    """``ppb`` is how much faster UTC runs than the box, right to within ``bound_ppb``.

    ``utc_us`` is the newest contact in it; ``span_s`` the longest stretch. How far temperature
    may carry the rate away is not in ``bound_ppb``.
    """

    ppb: int
    bound_ppb: int
    contacts: int
    span_s: int
    utc_us: int


@dataclass
class Estimate:
    """What the contacts of a box say: a rate, or ``why`` there is none; ``odd`` names outliers."""

    rate: Rate | None = None
    why: str = ""
    odd: list[str] = field(default_factory=list)


def stretches(contacts: Sequence[Contact]) -> list[list[Contact]]:
    """Split one box's contacts, sorted by UTC, where the box or the computer's clock broke off."""
    found: list[list[Contact]] = []
    for contact in contacts:
        if found and _goes_on(found[-1][-1], contact):
            found[-1].append(contact)
        else:
            found.append([contact])
    return found


def _goes_on(before: Contact, after: Contact) -> bool:
    passed_us = after.box_us - before.box_us
    if after.boot != before.boot or passed_us <= 0:
        return False
    if clock_moved(before.ahead_us, after.ahead_us, passed_us):
        return False
    apart_us = abs(after.offset_us - before.offset_us)
    return apart_us <= ANOTHER_BOOT_US + drift_us(MOST_PPB, passed_us)


def estimate(contacts: Sequence[Contact], now_utc_us: int) -> Estimate:
    """Return the rate of one box from all its contacts of the last days, in order of UTC."""
    since_us = now_utc_us - RATE_LASTS_DAYS * DAY_US
    split = stretches([c for c in contacts if c.utc_us >= since_us])
    got = Estimate()
    rates = []
    for stretch in split:
        if stretch[-1].box_us - stretch[0].box_us < LEAST_SPAN_S * 1_000_000:
            continue
        rate = _of_stretch(stretch, got.odd)
        if rate is not None:
            rates.append(rate)
    if rates:
        got.rate = _weighed(rates, now_utc_us, got.odd)
    elif not got.odd:
        got.why = _too_few(split)
    else:
        got.why = "its contacts contradict each other"
    return got


def _too_few(split: list[list[Contact]]) -> str:
    least = f"two contacts at least {LEAST_SPAN_S // 60} min apart are needed"
    if not split:
        return f"not measured in the last {RATE_LASTS_DAYS} days; {least}"
    longest_s = max(s[-1].box_us - s[0].box_us for s in split) // 1_000_000
    return f"{least} without a restart of the box or a change of this computer's clock; " + (
        f"the longest stretch is {longest_s} s" if longest_s else "there is one"
    )


def _thinned(stretch: list[Contact]) -> list[Contact]:
    """Return at most MOST_CONTACTS, the first and the last among them."""
    extra = len(stretch) - 1
    if extra < MOST_CONTACTS:
        return stretch
    return [stretch[n * extra // (MOST_CONTACTS - 1)] for n in range(MOST_CONTACTS)]


def _of_stretch(stretch: list[Contact], odd: list[str]) -> Rate | None:
    """Return one stretch's rate without its outliers, which are named in ``odd``."""
    used = _thinned(stretch)
    kept = _fitting(used, theil_sen(*_points(used)).slope)
    odd += [_naming(c) for c in used if c not in kept]
    span_us = kept[-1].box_us - kept[0].box_us if len(kept) > 1 else 0
    if span_us < LEAST_SPAN_S * 1_000_000:
        return None
    found = theil_sen(*_points(kept), CONFIDENCE)
    slope, low, high = found.slope, found.low, found.high
    least, most = _allowed(kept)
    if least <= most:
        slope = min(max(slope, least), most)
        half = min(_by_bounds(kept), max(slope - least, most - slope))
    else:  # temperature moved it by more than the bounds: no one rate fits, only the ends count
        half = _by_bounds(kept)
    if len(kept) >= RANKS_FROM:
        half = min(half, max(slope - low, high - slope) + _bend(kept))
    newest = kept[-1].utc_us
    return Rate(round(slope), max(1, math.ceil(half)), len(kept), span_us // 1_000_000, newest)


def _points(contacts: list[Contact]) -> tuple[list[float], list[float]]:
    """Return (x, y) so that a slope is in ppb: thousands of seconds, and us."""
    box_us, offset_us = contacts[0].box_us, contacts[0].offset_us
    return (
        [(c.box_us - box_us) / PPB for c in contacts],
        [float(c.offset_us - offset_us) for c in contacts],
    )


def _allowed(contacts: list[Contact]) -> tuple[float, float]:
    """Return the least and the most rate that every pair's bounds allow, in ppb."""
    x, y = _points(contacts)
    low = [drift - c.bound_us for drift, c in zip(y, contacts, strict=True)]
    high = [drift + c.bound_us for drift, c in zip(y, contacts, strict=True)]
    pairs = list(combinations(range(len(x)), 2))
    return (
        max((low[j] - high[i]) / (x[j] - x[i]) for i, j in pairs),
        min((high[j] - low[i]) / (x[j] - x[i]) for i, j in pairs),
    )


def _by_bounds(contacts: list[Contact]) -> float:
    """Return how far off the mean rate can be by the bounds of the first and last contact."""
    first, last = contacts[0], contacts[-1]
    return (first.bound_us + last.bound_us) * PPB / (last.box_us - first.box_us)


def _bend(contacts: list[Contact]) -> float:
    """Return how far a rate that changed on the way may leave the middle slope, in ppb.

    A quarter of what the two halves differ by: all of it would be from middle to middle.
    """
    half = len(contacts) // 2
    first = theil_sen(*_points(contacts[: half + 1])).slope
    second = theil_sen(*_points(contacts[half:])).slope
    return abs(second - first) / 4


def _fitting(contacts: list[Contact], slope_ppb: float) -> list[Contact]:
    """Return the contacts within reach of the line: their bound, and what temperature may bend."""
    first = contacts[0]
    left = [
        c.offset_us - first.offset_us - drift_us(slope_ppb, c.box_us - first.box_us)
        for c in contacts
    ]
    middle = median(left)
    bend = drift_us(TEMPERATURE_PPB, contacts[-1].box_us - first.box_us) / 4
    return [
        c for c, off in zip(contacts, left, strict=True) if abs(off - middle) <= c.bound_us + bend
    ]


def _naming(contact: Contact) -> str:
    from datetime import datetime, timezone

    when = datetime.fromtimestamp(contact.utc_us / 1e6, timezone.utc).astimezone()
    made = f" ({contact.what})" if contact.what else ""
    return f"the contact of {when:%d %b %H:%M:%S}{made} does not fit the others"


def _weighed(rates: list[Rate], now_utc_us: int, odd: list[str]) -> Rate:
    """Return one rate from those of several stretches, older ones widened by ageing.

    The narrowest one rules: another that can't be the same crystal is left out and named. The
    rest is weighed by width; if they scatter by more than they should, the width grows with it.
    """
    widths = {r: r.bound_ppb + _aged(r, now_utc_us) for r in rates}
    ruler = min(rates, key=lambda r: widths[r])
    same = []
    for rate in rates:
        room = widths[rate] + widths[ruler] + 2 * TEMPERATURE_PPB
        if abs(rate.ppb - ruler.ppb) <= room:
            same.append(rate)
        else:
            odd.append(f"a stretch of {rate.span_s} s says {-rate.ppb / 1000:+.1f} ppm: left out")
    weights = [1 / (widths[r] ** 2 + DAY_PPB**2) for r in same]
    total = sum(weights)
    middle = sum(w * r.ppb for w, r in zip(weights, same, strict=True)) / total
    half = math.sqrt(sum((w * widths[r]) ** 2 for w, r in zip(weights, same, strict=True))) / total
    if len(same) > 1:
        scatter = sum(w * (r.ppb - middle) ** 2 for w, r in zip(weights, same, strict=True))
        half *= max(1.0, math.sqrt(scatter / (len(same) - 1)))
    return Rate(
        round(middle),
        math.ceil(half),
        sum(r.contacts for r in same),
        max(r.span_s for r in same),
        max(r.utc_us for r in same),
    )


def _aged(rate: Rate, now_utc_us: int) -> float:
    """Return by how much ageing may have moved a rate since it was measured, in ppb."""
    return max(0, now_utc_us - rate.utc_us) / DAY_US * AGEING_PPB_A_DAY
