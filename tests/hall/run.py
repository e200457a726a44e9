"""Whole classes under fire, simulated for as long as you like.

    python tests/hall/run.py --hours 50 --seed 1
    python tests/hall/run.py --replay core:1.17

``--hours`` are box-hours on the runner alone; ``--cuts`` are classes on it that the power cuts off
and the box's own modules read back; ``--classes`` are classes on virtual boxes with the
whole firmware; ``--lives`` are boxes whose power fails in a class a day. A class that goes wrong is printed by its name, made smaller, and told step by
step; ``--replay`` plays it again. Exits 1 if anything went wrong. The short part of it is
``test_hall.py``.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

HERE = Path(__file__).resolve().parent
TESTS = HERE.parent
sys.path[:0] = [str(HERE), str(TESTS / "core" / "both"), str(TESTS / "device"), str(TESTS)]

import floor  # noqa: E402
import lives  # noqa: E402
import rejoin  # noqa: E402
from hall import Outcome, play  # noqa: E402
from script import make  # noqa: E402
from shrink import shrink  # noqa: E402

SHOWN = 5  # classes that go wrong are told in full


def main() -> int:
    """Run; return 1 if anything went wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=50, help="box-hours on the runner alone")
    parser.add_argument("--classes", type=int, default=4, help="classes on virtual boxes")
    parser.add_argument("--cuts", type=int, default=400, help="classes that the power cuts off")
    parser.add_argument("--lives", type=int, default=2, help="boxes whose power fails every day")
    parser.add_argument("--seed", default="1")
    parser.add_argument("--replay", help="core:NAME, cut:NAME, floor:NAME or life:NAME")
    asked = parser.parse_args()
    if asked.replay:
        level, _, name = asked.replay.partition(":")
        replays = {"floor": replay_floor, "cut": replay_cut, "core": replay_core}
        return (replays | {"life": replay_life})[level](name)
    failed = run_core(asked.hours, asked.seed)
    failed += run_cuts(asked.cuts, asked.seed)
    failed += run_floor(asked.classes, asked.seed)
    failed += run_lives(asked.lives, asked.seed)
    return 1 if failed else 0


def run_core(hours: float, seed: str) -> int:
    """Play classes on the runner; return how many went wrong."""
    total = Outcome()
    unclear: Counter[str] = Counter()
    boxes = failed = number = 0
    told_s = time.monotonic()
    while total.hours < hours:
        name = f"{seed}.{number}"
        script = make(name)
        out = play(script)
        number += 1
        boxes += len(script.boxes)
        for what in ("hours", "checks", "failed_reads", "presses"):
            setattr(total, what, getattr(total, what) + getattr(out, what))
        unclear.update(out.unclear)
        if out.wrong:
            failed += 1
            print(f"core:{name} goes wrong: {out.wrong[0]}")
            if failed <= SHOWN:
                tell_core(name)
        if time.monotonic() - told_s > 10:
            told_s = time.monotonic()
            print(f"  {total.hours:.0f} of {hours:.0f} box-hours, {failed} classes went wrong")
    print(f"classes on the runner    {number}, on {boxes} boxes")
    print(f"box-hours                {total.hours:.1f}")
    print(f"presses                  {total.presses}")
    print(f"reads that failed        {total.failed_reads}")
    print(f"facts checked            {total.checks}")
    print(f"classes gone wrong       {failed}")
    for why, count in unclear.most_common():
        print(f"  left open {count:>6} times: {why}")
    return failed


def tell_core(name: str) -> None:
    """Print a class made smaller, one line a step."""
    smaller, wrong = shrink(make(name), lambda script: play(script).wrong)
    print("\n".join(f"    {line}" for line in smaller.lines()))
    print("\n".join(f"    -> {text}" for text in wrong[:6]))


def replay_core(name: str) -> int:
    """Play one class again, whole and made smaller."""
    wrong = play(make(name)).wrong
    print("\n".join(wrong) or "nothing goes wrong")
    if wrong:
        tell_core(name)
    return 1 if wrong else 0


def run_cuts(cuts: int, seed: str) -> int:
    """Cut off classes on the runner and let them go on; return how many went wrong."""
    failed = went_on = checks = 0
    for number in range(cuts):
        verdict = rejoin.play(f"{seed}.{number}")
        if verdict is None:
            continue
        went_on += 1
        checks += verdict.checks
        if verdict.wrong:
            failed += 1
            print(f"cut:{seed}.{number} goes wrong: {verdict.wrong[0]}")
    print(f"classes cut off          {cuts}, of which {went_on} could be held against the manual")
    print(f"facts checked            {checks}")
    print(f"classes gone wrong       {failed}")
    return failed


def replay_cut(name: str) -> int:
    """Cut off one class again."""
    verdict = rejoin.play(name)
    wrong = verdict.wrong if verdict else []
    print("\n".join(make(name, 1).lines()))
    print("\n".join(f"    -> {text}" for text in wrong) or "nothing goes wrong")
    return 1 if wrong else 0


def run_floor(classes: int, seed: str) -> int:
    """Play classes on virtual boxes; return how many went wrong."""
    failed = checks = 0
    hours = 0.0
    troubles: Counter[str] = Counter()
    for number in range(classes):
        name = f"{seed}.{number}"
        out = floor.play(floor.make(name))
        hours += out.hours
        checks += out.checks
        troubles.update(out.faults)
        if out.wrong:
            failed += 1
            print(f"floor:{name} goes wrong: {out.wrong[0]}")
            if failed <= SHOWN:
                tell_floor(name)
        else:
            print(f"  floor:{name} is well, {hours:.2f} box-hours so far")
    print(f"classes on boxes         {classes}, {hours:.2f} box-hours")
    print(f"facts checked            {checks}")
    for what, count in sorted(troubles.items()):
        print(f"  put in {count:>5}: {what}")
    print(f"classes gone wrong       {failed}")
    return failed


def tell_floor(name: str) -> None:
    """Print a class on boxes, one line a step, and what goes wrong in it made smaller."""
    smaller, wrong = floor.shrink(floor.make(name))
    print("\n".join(f"    {line}" for line in smaller.lines()))
    print("\n".join(f"    -> {text}" for text in wrong[:6]))


def replay_floor(name: str) -> int:
    """Play one class on boxes again, whole and made smaller."""
    wrong = floor.play(floor.make(name)).wrong
    print("\n".join(wrong) or "nothing goes wrong")
    if wrong:
        tell_floor(name)
    return 1 if wrong else 0


def run_lives(count: int, seed: str) -> int:
    """Live through boxes' lives; return how many went wrong."""
    failed = checks = joins = 0
    for number in range(count):
        life = lives.play(f"{seed}.{number}")
        checks += life.checks
        joins += life.joins
        if life.wrong:
            failed += 1
            print(f"life:{seed}.{number} goes wrong: {life.wrong[0]}")
    print(f"lives                    {count}, in which a class was joined {joins} times")
    print(f"facts checked            {checks}")
    print(f"lives gone wrong         {failed}")
    return failed


def replay_life(name: str) -> int:
    """Live through one box's life again."""
    wrong = lives.play(name).wrong
    print("\n".join(wrong) or "nothing goes wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
