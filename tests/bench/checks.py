"""How long ``check`` takes on a large plan, and how that grows: processor time, best of some runs.

    python tests/bench/checks.py [--write docs/engineers/timing.md]

The plan has 24 boxes with two people at each and blocks of ten exercises from the library, with
targets, goals, holds, own tasks and rests; everything is done in this process, from reading the file
to printing what was found. The slope is that of time over exercises, both as logarithms: 1 where
twice the plan takes twice the time. Exit code 1 when the largest takes a second or more.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import math
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from handbell.cli.main import main as handbell
from handbell.coach.library.shelf import load_library

BOXES = 24
A_BLOCK = 10
SIZES = (250, 500, 1000)
RUNS = 5
BUDGET_S = 1.0
BEGIN, END = "<!-- made by tests/bench/checks.py -->", "<!-- end of what it made -->"
TASKS = ("reps = {n}\n", "goal = {n}\n", "", "reps = {n}\ntap = 'finish'\n")


def plan_text(exercises: int) -> str:
    """Return a plan of so many exercises for 24 boxes."""
    entries = sorted(load_library().entries.values(), key=lambda entry: entry.id)
    text = 'title = "Large"\nbreak_s = 60\nbuttons = 2\n'
    for n in range(BOXES):
        text += f'[[group]]\nname = "G{n + 1}"\nbibs = [{2 * n + 1}, {2 * n + 2}]\n'
    for n in range(exercises):
        if n % A_BLOCK == 0:
            text += "[[block]]\nrounds = 2\nrest_s = 15\n"
        entry = entries[n % len(entries)]
        asked = "hold = true\n" if entry.is_hold else TASKS[n % len(TASKS)].format(n=5 + n % 20)
        text += f'[[block.exercise]]\nname = "{entry.name}"\nwork_s = 30\n{asked}'
        if n % 7 == 0 and not entry.is_hold:
            text += f"[[block.exercise.scaled]]\nbibs = [{n % (2 * BOXES) + 1}]\nreps = 4\n"
    return text


def check_s(path: Path, runs: int = RUNS) -> float:
    """Return the processor time of ``check``, the least of some runs, in seconds."""
    took = []
    for _ in range(runs):
        began = time.process_time()
        with contextlib.redirect_stdout(io.StringIO()):
            code = handbell(["check", str(path)])
        took.append(time.process_time() - began)
        assert code == 0, "the plan has a fault"
    return min(took)


def slope(points: Sequence[tuple[float, float]]) -> float:
    """Return how a value grows with a size: the exponent, by least squares of both logarithms."""
    logs = [(math.log(size), math.log(value)) for size, value in points]
    x_mean, y_mean = (sum(values) / len(logs) for values in zip(*logs, strict=True))
    return sum((x - x_mean) * (y - y_mean) for x, y in logs) / sum(
        (x - x_mean) ** 2 for x, _ in logs
    )


def measured(sizes: Sequence[int], runs: int = RUNS) -> list[tuple[int, float]]:
    """Return the seconds that each size of plan took."""
    found = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "large.toml"
        for size in sizes:
            path.write_text(plan_text(size), encoding="utf-8")
            found.append((size, check_s(path, runs)))
    return found


def table(found: Sequence[tuple[int, float]]) -> str:
    """Return what was measured, as the page has it."""
    rows = "".join(f"| {size:,} | {seconds:.2f} s |\n" for size, seconds in found)
    return (
        f"| exercises, {BOXES} boxes | processor time |\n| --- | --- |\n{rows}"
        f"| budget for {SIZES[-1]:,} | {BUDGET_S:g} s |\n\n"
        f"Log-log slope over these sizes: {slope(found):.2f}.\n"
    )


def main() -> int:
    """Measure, print, and write into a page if one is named."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--write", type=Path, metavar="PAGE", help="put the table into this page")
    page = parser.parse_args().write
    found = measured(SIZES)
    told = table(found)
    sys.stdout.write(told)
    if page is not None:
        head, rest = page.read_text(encoding="utf-8").split(BEGIN)
        tail = rest.split(END, 1)[1]
        page.write_text(f"{head}{BEGIN}\n\n{told}\n{END}{tail}", encoding="utf-8")
    return int(found[-1][1] >= BUDGET_S)


if __name__ == "__main__":
    sys.exit(main())
