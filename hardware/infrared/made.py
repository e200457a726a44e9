"""What the page shows, made: tables by the names of their markers, and charts by their files."""

from __future__ import annotations

import re
from collections.abc import Mapping

import numpy as np

from handbell.base.errors import HandbellError
from hardware.infrared import charts, page, study
from hardware.infrared.acts import ends_ms
from hardware.infrared.hall import CHEST, RAISED, STAND
from hardware.infrared.ranges import mean_case

FEWER = 4  # times fewer halls, where there are twenty tables' worth of them


def fixed() -> dict[str, str]:
    """Return the tables that no drawn hall changes."""
    return {
        "assumed": page.assumed(),
        "parts": page.parts(),
        "checked": page.checked(),
        "eyes": page.eyes(),
    }


def drawn(halls: int, seed: int) -> tuple[dict[str, str], dict[str, str]]:
    """Return all tables and charts, from so many halls of each case."""
    alone = {case: study.told(of, halls, seed) for case, of in study.CASES.items()}
    again = {case: study.repeated(of, halls, seed) for case, of in study.CASES.items()}
    carried = {
        how.name: study.told(mean_case, halls, seed, (study.CHOSEN,), how)
        for how in (CHEST, RAISED, STAND)
    }
    weak = {
        case: study.repeated(of, halls // 2, seed, study.SMALL_RING, RAISED)
        for case, of in study.CASES.items()
    }
    ends = ends_ms(study.UNTIL_MS)
    tables = {
        **fixed(),
        "alone": page.alone(alone),
        "numbers": page.numbers(alone),
        "carrying": page.carrying(carried),
        "worse": page.worse(study.one_worse(halls // FEWER, seed)),
        "slots": page.slots(alone, again, ends),
        "weak": page.weak(weak),
    }
    lines: dict[tuple[str, bool], tuple[list[float], list[float]]] = {}
    many = study.RECEIVERS
    for case in study.CASES:
        shares = alone[case][study.CHOSEN.name, many].all_by()
        x, y = [0.0], [0.0]
        for end, share in zip(ends, shares, strict=True):
            x += [end / 1000, end / 1000]
            y += [y[-1], share]
        lines[case, False] = ([*x, study.UNTIL_MS / 1000], [*y, y[-1]])
        seconds = [n / 4 for n in range(int(study.UNTIL_MS / 250) + 1)]
        times = again[case][many]
        lines[case, True] = (seconds, [float(np.mean(times <= 1000 * s)) for s in seconds])
    return tables, {
        "infrared-heard.svg": charts.over_time(lines),
        "infrared-where.svg": charts.where(),
    }


def put(text: str, tables: Mapping[str, str]) -> str:
    """Return a page with tables between their markers; raises HandbellError without them."""
    for name, table in tables.items():
        begin, end = f"<!-- made: {name} -->", "<!-- end -->"
        found = re.compile(f"{re.escape(begin)}.*?{re.escape(end)}", re.S)
        whole = f"{begin}\n{table}\n{end}"
        text, many = found.subn(lambda _, whole=whole: whole, text)  # type: ignore[misc]
        if many != 1:
            raise HandbellError(f"The page has {many} places for the table {name}.", f"Put {begin}")
    return text
