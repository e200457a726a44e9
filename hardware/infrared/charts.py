"""The page's charts: when all have heard, and where a hall's boxes hear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from handbell.report import svg
from hardware.infrared.hall import RAISED, draw
from hardware.infrared.ranges import case_of
from hardware.infrared.study import CHOSEN, RECEIVERS, UNTIL_MS

SAID = "The tables below hold the figures."
# Okabe and Ito's colours, and a dash each, so that no line is told by its colour alone
STYLE = """
text { font: 12px sans-serif; fill: #333 }
.paper { fill: #fff }
.grid { stroke: #e0e0e0 }
.limit { stroke: #666 }
.way { fill: none; stroke-width: 2.4 }
.mean { stroke: #0072b2 }
.hard { stroke: #d55e00 }
.bad { stroke: #cc79a7 }
.alone { stroke-dasharray: 3 4 }
"""
MAP_STYLE = """
text { font: 12px sans-serif; fill: #333 }
.paper { fill: #fff }
.l0 { fill: #2b1d3f }
.l1 { fill: #7d4f92 }
.l2 { fill: #d9a3b5 }
.l3 { fill: #fbe9d8 }
.person { fill: none; stroke: #009e73; stroke-width: 2 }
.remote { fill: #0072b2 }
.edge { fill: none; stroke: #333 }
"""
LEVELS = ((1, "too little light"), (2, "up to twice enough"), (4, "up to four times"))
TOP = "more"
CELL_M = 0.5
PIXELS = 26.0  # a metre


def over_time(lines: dict[tuple[str, bool], tuple[list[float], list[float]]]) -> str:
    """Draw the chance that all have heard against seconds, by case and whether boxes repeat."""
    seconds = UNTIL_MS / 1000
    right, foot = 600.0, 380.0

    def at(second: float, share: float) -> svg.Point:
        return 60 + (right - 60) * second / seconds, foot - 340 * share

    marks = [f"<style>{STYLE}</style>", svg.bar("paper", (0, 0), 860, 440)]
    for share in (0, 0.25, 0.5, 0.75, 1):
        marks.append(svg.line("grid", at(0, share), at(seconds, share)))
        marks.append(svg.text("", (52, at(0, share)[1] + 4), f"{share:.0%}", "end"))
    for second in range(0, int(seconds) + 1, 5):
        marks.append(svg.line("grid", at(second, 0), at(second, 1)))
        marks.append(svg.text("", (at(second, 0)[0], foot + 18), str(second)))
    marks += [svg.line("limit", at(3, 0), at(3, 1)), svg.text("", at(3.2, 0.02), "3 s", "start")]
    for (case, repeats), (times, shares) in lines.items():
        look = f"way {case}" + ("" if repeats else " alone")
        marks.append(svg.line(look, *map(at, times, shares)))
    ends = sorted(((shares[-1], key) for key, (_, shares) in lines.items()), reverse=True)
    low = 2.0
    for share, (case, repeats) in ends:
        low = min(share, low - 0.05)
        words = f"{case} case, " + ("boxes repeat" if repeats else "nobody repeats")
        x, y = at(seconds, low)
        marks.append(svg.text("", (x + 8, y + 4), words, "start"))
    marks.append(svg.text("", (10, 24), "all of 24 boxes have heard", "start"))
    marks.append(svg.text("", (at(seconds / 2, 0)[0], foot + 40), "seconds since the button"))
    title = "Chance that all have heard against seconds"
    return svg.picture("heard", (860, 440), "heard", title, SAID, marks)


def where(seed: int = 3) -> str:
    """Draw a hall of the hard case from above: what light a box gets in each place."""
    rng = np.random.default_rng(seed)
    hall = draw(rng, case_of(0.5), receivers=RECEIVERS)
    long_, wide = float(hall.room.size[0]), float(hall.room.size[1])
    xs, ys = (np.arange(CELL_M / 2, side, CELL_M) for side in (long_, wide))
    places = np.array([(x, y, hall.case.box_m) for x in xs for y in ys])
    to_middle = np.arctan2(wide / 2 - places[:, 1], long_ / 2 - places[:, 0])
    turned = to_middle[:, None] + 2 * np.pi * np.arange(RECEIVERS) / RECEIVERS
    looks = np.stack((np.cos(turned), np.sin(turned), np.zeros_like(turned)), axis=-1)
    grid = replace(hall, boxes=places, looks=looks)
    light = grid.told(CHOSEN, RAISED, 1, rng)[0].max(axis=1)
    enough = light / hall.needs_mw_m2.min()  # out of the sun
    size = (PIXELS * long_ + 40, PIXELS * wide + 110)
    marks = [f"<style>{MAP_STYLE}</style>", svg.bar("paper", (0, 0), *size)]

    def at(x: float, y: float) -> svg.Point:
        return 20 + PIXELS * x, 30 + PIXELS * y

    for (x, y, _), times in zip(places, enough, strict=True):
        level = sum(times >= least for least, _ in LEVELS)
        corner = at(x - CELL_M / 2, y - CELL_M / 2)
        marks.append(svg.bar(f"l{level}", corner, PIXELS * CELL_M + 0.3, PIXELS * CELL_M + 0.3))
    for x, y, radius in hall.people:
        marks.append(svg.dot("person", at(float(x), float(y)), PIXELS * float(radius)))
    marks.append(svg.dot("remote", at(*map(float, hall.at)), 6))
    marks.append(svg.bar("edge", at(0, 0), PIXELS * long_, PIXELS * wide))
    foot = 30 + PIXELS * wide + 24
    for n, words in enumerate([*(words for _, words in LEVELS), TOP]):
        marks.append(svg.bar(f"l{n}", (20 + 150 * n, foot), 14, 14))
        marks.append(svg.text("", (40 + 150 * n, foot + 12), words, "start"))
    marks.append(svg.dot("person", (27, foot + 34), 6))
    marks.append(svg.text("", (40, foot + 38), "a person", "start"))
    marks.append(svg.dot("remote", (127, foot + 34), 6))
    marks.append(svg.text("", (140, foot + 38), "the remote, held up", "start"))
    title = "Where a box with three receivers hears a remote"
    return svg.picture("where", size, "where", title, "The text beside it says it.", marks)
