"""The full set of random rotations: 200 that can be met, 50 that clash. Run it by itself.

    python tests/bench/schedules.py [--feasible 200] [--clashing 50]

Every schedule is checked by the verifier, every clash by dropping each of its demands in turn.
Exit code 1 when one is wrong, or a schedule took 5 s or more.
"""

import argparse
import statistics
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from made_demands import clashing, feasible

from handbell.coach.order.clash import holds
from handbell.coach.order.demands import Clash, Schedule, only
from handbell.coach.order.schedule import solve
from handbell.coach.order.verify import broken

SECONDS_MOST = 5.0


def met(seed):
    """Return the seconds that a schedule took and what is wrong with it."""
    demands = feasible(seed)
    began = time.perf_counter()
    found = solve(demands, SECONDS_MOST)
    seconds = time.perf_counter() - began
    if not isinstance(found, Schedule):
        return seconds, False, f"a clash was found: {found}"
    wrong = broken(demands, found)
    return seconds, found.shortest, wrong[0] if wrong else ""


def clash(seed):
    """Return the seconds that a clash took and what is wrong with it."""
    demands = clashing(seed)
    began = time.perf_counter()
    found = solve(demands)
    seconds = time.perf_counter() - began
    if not isinstance(found, Clash):
        return seconds, "a schedule was found"
    kept = set(found.demands)
    if not found.smallest or holds(only(demands, kept)) is not False:
        return seconds, "it is not proved"
    for demand in found.demands:
        fewer = only(demands, kept - {demand})
        without = solve(fewer)
        if not isinstance(without, Schedule) or broken(fewer, without):
            return seconds, f"{demand} can be spared"
    return seconds, ""


def told(name, times, wrong):
    """Print what came of a set and return whether all was right."""
    print(
        f"{name}: {len(times)}, median {statistics.median(times):.2f} s, "
        f"longest {max(times):.2f} s, in all {sum(times):.1f} s"
    )
    for seed, fault in wrong:
        print(f"  seed {seed}: {fault}")
    return not wrong


def main():
    """Run both sets."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--feasible", type=int, default=200)
    parser.add_argument("--clashing", type=int, default=50)
    args = parser.parse_args()
    solve(feasible(0))  # load the solver
    results = [(seed, *met(seed)) for seed in range(args.feasible)]
    wrong = [(seed, fault) for seed, _, _, fault in results if fault]
    wrong += [(seed, f"{s:.1f} s") for seed, s, _, _ in results if s >= SECONDS_MOST]
    fine = told("Demands that can be met", [s for _, s, _, _ in results], wrong)
    print(f"  proved shortest: {sum(shortest for _, _, shortest, _ in results)}")
    clashes = [(seed, *clash(seed)) for seed in range(args.clashing)]
    wrong = [(seed, fault) for seed, _, fault in clashes if fault]
    fine = told("Clashes", [s for _, s, _ in clashes], wrong) and fine
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
