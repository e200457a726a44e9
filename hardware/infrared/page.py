"""The tables of docs/engineers/infrared.md, as Markdown."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from hardware.infrared import safety
from hardware.infrared.acts import WITHIN_MS
from hardware.infrared.light import Floats
from hardware.infrared.parts import (
    BEAM,
    COMMON,
    RECEIVER,
    SMALL,
    STATED,
    WIDE,
    irradiance_mw_m2,
    range_m,
)
from hardware.infrared.ranges import RANGES
from hardware.infrared.study import CHOSEN, LANTERNS, MANY, RECEIVERS, REPEATER, Tally
from hardware.markdown import table

SERIES = {CHOSEN.name: 4, REPEATER.name: 3}
SOON_MS = (1_000, WITHIN_MS, 5_000, 10_000, 20_000)


def assumed() -> str:
    """Return what is assumed, with its source."""
    rows = [
        (r.what, f"{r.good:g}", f"{r.middle:g}", f"{r.bad:g}", r.source) for r in RANGES.values()
    ]
    return table(("what", "good end", "middle", "bad end", "source"), rows)


def parts() -> str:
    """Return the emitters and how far they reach in the open."""
    rows: list[Iterable[object]] = []
    for each, ma in ((COMMON, 100), (SMALL, 70), (BEAM, 1000), (WIDE, 1000)):
        one = each.at_mw_sr(ma)
        rows.append(
            (
                each.name, f"{one:.0f} mW/sr at {ma} mA", f"{each.half_deg:g}",
                f"{each.flux_mw(ma):.0f}",
                f"{irradiance_mw_m2(one, 10):.2f}",
                f"{range_m(one, RECEIVER.least_mw_m2):.0f}",
                f"{range_m(one, RECEIVER.most_mw_m2):.0f}",
                each.source,
            )
        )  # fmt: skip
    heads = (
        "emitter", "on its axis", "half at, degrees", "sends, mW", "at 10 m, mW/m2",
        "reach, typical, m", "reach, worst, m", "source",
    )  # fmt: skip
    return table(heads, rows)


def checked() -> str:
    """Return the ranges that data sheets state beside ours."""
    rows = []
    for name, ma, least, stated, source in STATED:
        ours = range_m(COMMON.at_mw_sr(ma), least)
        rows.append(
            (name, f"{ma} mA", f"{least:g}", stated, f"{ours:.1f}", f"{stated / ours:.2f}", source)
        )
    heads = (
        "receiver", "TSAL6200 at", "least, mW/m2", "stated, m", "ours, m", "stated to ours",
        "source",
    )  # fmt: skip
    return table(heads, rows)


def eyes() -> str:
    """Return what the eye gets at 200 mm and what the battery gives."""
    rows = []
    for lantern in (CHOSEN, REPEATER):
        found, taken = safety.eye(lantern), safety.draw(lantern, SERIES[lantern.name])
        rows.append(
            (
                lantern.name,
                f"{found.peak_w_m2:.0f} W/m2", f"{found.telegram_w_m2:.1f} W/m2",
                f"{found.retina_w_m2_sr / 1000:.0f} of {found.retina_most_w_m2_sr / 1000:.0f}",
                f"{taken.peak_a:g} A", f"{taken.telegram_a:.2f} A", f"{taken.telegram_mas:.0f} mAs",
                f"{taken.hour_mah:.0f} mAh",
            )
        )  # fmt: skip
    heads = (
        "emitters", "eye, were it lit all the time (100 may be)", "eye, mean of a telegram",
        "retina, kW/m2/sr, of what may be", "battery, peak", "mean of a telegram", "a telegram",
        "a class of an hour",
    )  # fmt: skip
    return table(heads, rows)


def _share(value: float) -> str:
    return f"{value:.1%}"


def _times(value: float) -> str:
    """Return two figures of a number, spelt out."""
    return f"{float(f'{value:.2g}'):,.0f}" if value >= 10 else f"{value:.2g}"


def alone(found: dict[str, dict[tuple[str, int], Tally]]) -> str:
    """Return what a remote does where nobody repeats; tallies by case."""
    rows = []
    for lantern in LANTERNS:
        for many in (1, RECEIVERS):
            tallies = [found[case][lantern.name, many] for case in found]
            rows.append(
                (
                    lantern.name, many,
                    *(_share(float(np.mean(each.once))) for each in tallies),
                    *(_share(each.all_within()) for each in tallies),
                    *(_times(each.times_for_99()) for each in tallies),
                )
            )  # fmt: skip
    heads = (
        "remote on a stand, 2.2 m", "receivers a box",
        *(f"a telegram comes to a box, {case}" for case in found),
        *(f"all 24 in 3 s, {case}" for case in found),
        *(f"light needed, times this, {case}" for case in found),
    )  # fmt: skip
    return table(heads, rows)


def numbers(found: dict[str, dict[tuple[str, int], Tally]]) -> str:
    """Return the chance by how many boxes there are, for the chosen remote."""
    rows = [
        (case, many, *(_share(tallies[CHOSEN.name, many].all_within(n)) for n in MANY))
        for case, tallies in found.items()
        for many in (1, RECEIVERS)
    ]
    return table(("case", "receivers a box", *(f"all of {n} in 3 s" for n in MANY)), rows)


def carrying(found: dict[str, dict[tuple[str, int], Tally]]) -> str:
    """Return the chance by how the remote is carried, in the mean case."""
    rows = [
        (how, *(_share(tallies[CHOSEN.name, many].all_within()) for many in (1, RECEIVERS)))
        for how, tallies in found.items()
    ]
    heads = ("the remote", "all 24 in 3 s, one receiver", f"{RECEIVERS} receivers")
    return table(heads, rows)


def worse(found: list[tuple[str, dict[int, float]]]) -> str:
    """Return what one range at its bad end costs."""
    rows = [(what, *(_share(share) for share in by_many.values())) for what, by_many in found]
    heads = ("at its bad end", "all 24 in 3 s, one receiver", f"{RECEIVERS} receivers")
    return table(heads, rows)


def slots(
    alone_: dict[str, dict[tuple[str, int], Tally]], found: dict[str, dict[int, Floats]],
    ends: list[float],
) -> str:  # fmt: skip
    """Return when all 24 have heard, with and without boxes that repeat."""
    rows = []
    for case, by_many in found.items():
        for many, times in by_many.items():
            by_end = alone_[case][CHOSEN.name, many].all_by()
            told = [sum(end <= ms for end in ends) - 1 for ms in SOON_MS]
            rows.append((case, many, "no", *(_share(by_end[n]) for n in told)))
            rows.append(
                (case, many, "yes", *(_share(float(np.mean(times <= ms))) for ms in SOON_MS))
            )
    heads = (
        "case", "receivers a box", "boxes repeat",
        *(f"all 24 in {ms / 1000:g} s" for ms in SOON_MS),
    )  # fmt: skip
    return table(heads, rows)


def weak(found: dict[str, dict[int, Floats]]) -> str:
    """Return when all 24 have heard where a weak remote is repeated by strong boxes."""
    rows = [
        (case, many, *(_share(float(np.mean(times <= ms))) for ms in SOON_MS))
        for case, by_many in found.items()
        for many, times in by_many.items()
    ]
    heads = ("case", "receivers a box", *(f"all 24 in {ms / 1000:g} s" for ms in SOON_MS))
    return table(heads, rows)
