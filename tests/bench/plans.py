"""How ``check`` grows with the exercises of a block: processor time, best of some runs.

    python tests/bench/plans.py [--most 800]

Twice the exercises should take about twice the time.
"""

import argparse
import tempfile
import time
from pathlib import Path

from handbell.cli.plans import check_run

LEAST = 50
RUNS = 3
SECONDS_MOST = 20  # from then on, one run does


def plan_text(exercises):
    """Return a plan with one block of so many exercises, each with a target."""
    listed = "".join(
        f'[[block.exercise]]\nname = "Exercise {n}"\nwork_s = 30\nreps = {n % 20 + 1}\n'
        for n in range(exercises)
    )
    return f'title = "Growth"\n[[block]]\nrest_s = 10\n{listed}'


def check_s(path):
    """Return how long ``check`` takes on a plan."""
    took = []
    while len(took) < RUNS and sum(took) < SECONDS_MOST:
        began = time.process_time()
        check_run(argparse.Namespace(plan=path, against=None, library=None))
        took.append(time.process_time() - began)
    return min(took)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--most", type=int, default=800, help="exercises of the largest block")
    most = parser.parse_args().most
    before_s = None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "growth.toml"
        exercises = LEAST
        while exercises <= most:
            path.write_text(plan_text(exercises), encoding="utf-8")
            took_s = check_s(path)
            ratio = f"{took_s / before_s:5.1f} times the one before" if before_s else ""
            print(f"{exercises:5} exercises {took_s:8.3f} s {ratio}", flush=True)
            before_s, exercises = took_s, exercises * 2


if __name__ == "__main__":
    main()
