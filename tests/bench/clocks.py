"""How far apart boxes ring: the host's and the box's own clock code against made-up crystals.

    python tests/bench/clocks.py [--classes N] [--write docs/engineers/skew.md]

``--write`` replaces the tables on the page and draws the chart beside it, in ``img/skew.svg``.
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from clock_classes import AFTER_MIN, CHART_MIN, Result, simulate

from handbell.report import svg

BEGIN, END = "<!-- made by tests/bench/clocks.py -->", "<!-- end of what it made -->"
WAYS = (
    ("calibrated", "calibrated for 30 min, up to 30 days before"),
    ("two contacts", "rate from send and arm alone, 10 min apart"),
    ("uncalibrated", "not calibrated"),
    ("with RTC", "RTC part, not calibrated"),
    ("RTC calibrated", "RTC part, calibrated"),
)
TICKS_MS = (0.5, 1, 2, 5, 10, 20, 50, 100, 200)
CABLES = (("usual", 0.0), ("spiky", 0.5), ("slow", 1.0))  # share of ways ten times as long
HELD: tuple[tuple[str, Callable[[Result], float]], ...] = (
    ("offset", lambda r: float(np.mean(np.abs(r.offset_errors["all"]) <= r.offset_bounds))),
    ("rate over the calibration", lambda r: float(np.mean(r.rates_held))),
    ("error of a box in class, calibrated", lambda r: r.box_coverage("calibrated")),
    ("error of a box in class, two contacts", lambda r: r.box_coverage("two contacts")),
    ("error of a box in class, not calibrated", lambda r: r.box_coverage("uncalibrated")),
    ("worst skew of a class, calibrated", lambda r: r.skew_coverage("calibrated")),
)


def used(result: Result, share: float) -> float:
    """Return the part of its bound that an offset's error used, in that share of syncs."""
    parts = np.abs(result.offset_errors["all"]) / np.array(result.offset_bounds)
    return float(np.percentile(parts, share))


def error_us(result: Result, name: str) -> float:
    """Return the error of an offset that 95 % of syncs kept within."""
    return float(np.percentile(np.abs(result.offset_errors[name]), 95))


OFFSETS: tuple[tuple[str, str, Callable[[Result], float]], ...] = (
    (
        "bound, half of what all exchanges leave, median",
        "{:.0f} us",
        lambda r: med(r.offset_bounds),
    ),
    (
        "bound, half the shortest of 24 round trips, median",
        "{:.0f} us",
        lambda r: med(r.shortest_bounds),
    ),
    ("error, from all exchanges, 95 % within", "{:.0f} us", lambda r: error_us(r, "all")),
    (
        "error, from the shortest round trip, 95 % within",
        "{:.0f} us",
        lambda r: error_us(r, "shortest"),
    ),
    ("error, from a single exchange, 95 % within", "{:.0f} us", lambda r: error_us(r, "single")),
    ("part of the bound that the error used, 50 % within", "{:.0%}", lambda r: used(r, 50)),
    ("part of the bound that the error used, 95 % within", "{:.0%}", lambda r: used(r, 95)),
    ("part of the bound that the error used, most", "{:.0%}", lambda r: used(r, 100)),
)


def med(values: Sequence[float]) -> float:
    """Return the median."""
    return float(np.median(values))


SIZE = (880.0, 550.0)
LEAST_MS, MOST_MS = 0.3, 400.0
SAID = "The tables below hold the figures."
# Okabe and Ito's colours, and a dash each, so that no line is told by its colour alone
STYLE = """
text { font: 12px sans-serif; fill: #333 }
.paper { fill: #fff }
.grid { stroke: #e0e0e0 }
.heard { stroke: #666 }
.way { fill: none; stroke-width: 2.4 }
.calibrated { stroke: #0072b2 }
.two-contacts { stroke: #56b4e9; stroke-dasharray: 12 4 2 4 }
.uncalibrated { stroke: #d55e00 }
.with-RTC { stroke: #009e73; stroke-dasharray: 9 4 }
.RTC-calibrated { stroke: #cc79a7; stroke-dasharray: 2 4 }
"""


def tables(results: list[Result], seconds: float) -> str:
    """Return what was found, as Markdown; a result for each of CABLES."""
    lines = [
        f"{len(results[0].stepped)} classes of 24 boxes for each kind of cable, "
        f"{seconds:.0f} s of processor time.",
        "",
        _heads("skew of 24 boxes in ms, 95 % of classes within", "{} cable, {} min", AFTER_MIN),
    ]
    for name, words in WAYS:
        moved = False if name == "two contacts" else None
        cells = [f"{r.p95_ms(name, m, moved):.1f}" for r in results for m in AFTER_MIN]
        lines.append(f"| {words} | {' | '.join(cells)} |")
    lines += ["", _heads("how often the stated bound held")]
    for words, of in HELD:
        lines.append(f"| {words} | " + " | ".join(f"{of(r):.2%}" for r in results) + " |")
    lines += [
        "",
        _heads("skew at 60 min, as a multiple of ours", "{}, clock {}", ("kept", "moved")),
    ]
    for name in ("least squares", "single exchange"):
        cells = [
            f"{r.p95_ms(name, 60, moved) / r.p95_ms('calibrated', 60, moved):.1f}"
            for r in results
            for moved in (False, True)
        ]
        lines.append(f"| {name} | {' | '.join(cells)} |")
    lines += ["", _heads("offset of one sync")]
    for words, form, of in OFFSETS:
        lines.append(f"| {words} | " + " | ".join(form.format(of(r)) for r in results) + " |")
    return "\n".join(lines)


def _heads(first: str, form: str = "{}", of: Sequence[object] = ("",)) -> str:
    heads = [form.format(cable, each) for cable, _ in CABLES for each in of]
    return f"| {first} | {' | '.join(heads)} |\n|{' --- |' * (len(heads) + 1)}"


def draw(result: Result) -> str:
    """Draw skew against minutes since the sync, as SVG; the skew's scale is a logarithm."""

    def at(minute: float, skew_ms: float) -> svg.Point:
        up = math.log(skew_ms / LEAST_MS) / math.log(MOST_MS / LEAST_MS)
        return 80 + 520 * minute / 60, 500 - 480 * up

    right, top = at(60, MOST_MS)
    marks = [f"<style>{STYLE}</style>", svg.bar("paper", (0, 0), *SIZE)]
    for tick in TICKS_MS:
        marks.append(svg.line("grid", at(0, tick), at(60, tick)))
        marks.append(svg.text("", (72, at(0, tick)[1] + 4), f"{tick:g}", "end"))
    for minute in range(0, 61, 10):
        marks.append(svg.line("grid", at(minute, LEAST_MS), at(minute, MOST_MS)))
        marks.append(svg.text("", (at(minute, 1)[0], 518), str(minute)))
    marks.append(svg.line("heard", at(0, 20), at(60, 20)))
    marks.append(svg.text("", at(30, 21.5), "20 ms: heard one after the other", "start"))
    for name, words in WAYS:
        moved = False if name == "two contacts" else None
        skews = [result.p95_ms(name, minute, moved) for minute in CHART_MIN]
        way = f"way {name.replace(' ', '-')}"
        marks.append(svg.line(way, *map(at, CHART_MIN, skews)))
        low = {"two contacts": -4, "calibrated": 13}.get(name, 4)
        marks.append(svg.text("", (right + 8, at(60, skews[-1])[1] + low), words, "start"))
    for minute, skew_ms in ((15, 3), (60, 10), (1.2, 0.355)):
        x, y = at(minute, skew_ms)
        marks.append(svg.area("most", (x - 5, y - 5), (x + 5, y - 5), (x, y + 5)))
    marks.append(
        svg.text(
            "", at(2.4, 0.335), "the most that calibrated boxes may part: 3 and 10 ms", "start"
        )
    )
    marks.append(
        svg.text("", (10, top - 8), "skew of 24 boxes, ms (95 % of classes within)", "start")
    )
    marks.append(svg.text("", (at(30, 1)[0], 540), "minutes since the clocks were set"))
    return svg.picture("skew", SIZE, "skew", "Skew against minutes since the sync", SAID, marks)


def main() -> None:
    """Simulate, print, and write if told."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--classes", type=int, default=2000, help="of each kind (default 2000)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--write", type=Path, metavar="PAGE", help="replace the tables on a page")
    args = parser.parse_args()
    began = time.process_time()
    fleets = max(4, args.classes // 50)
    charted = min(args.classes, 400)
    results = [simulate(args.classes, spikes, args.seed, fleets, charted) for _, spikes in CABLES]
    found = tables(results, time.process_time() - began)
    print(found)
    if args.write is not None:
        page = args.write.read_text(encoding="utf-8")
        head, _, rest = page.partition(BEGIN)
        _, _, tail = rest.partition(END)
        args.write.write_text(f"{head}{BEGIN}\n{found}\n{END}{tail}", encoding="utf-8")
        picture = args.write.parent / "img" / "skew.svg"
        picture.write_text(draw(results[0]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
