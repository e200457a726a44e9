"""Whether a changed plan asks more of anybody: judged on both plans' windows, person by person.

    .venv/bin/python tests/host/never_harder.py --plans 500 --seed 1

Nothing here asks fit for its own sums. Both plans are compiled to rows, one for each window that
somebody does, and each row of the changed plan is held against the same window of the plan as it
was: the same block, round, exercise and bib. No window gets longer, nobody owes more reps per
minute of work as the box counts them, and no share of a window that is earned rest gets smaller.
What a rep takes is the middle of the library's range, common practice, no source.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from unittest import mock

if __name__ == "__main__":
    root = Path(__file__).parents[2]
    sys.path[:0] = [str(root / "tests"), str(root / "host"), str(root / "firmware")]

from drawn_plans import some

from handbell.base.errors import HandbellError
from handbell.coach.fit import model as fit_model
from handbell.coach.fit.fit import Misfit, fit
from handbell.coach.fit.one_step import one_step
from handbell.coach.fit.write import written
from handbell.coach.library.entry import IMPACTS
from handbell.coach.library.shelf import load_library
from handbell.coach.writing.edit import PlanText
from handbell.compile.expand import expand
from handbell.compile.schedule import resolve
from handbell.plan.files import parse_plan
from handbell.plan.own_tasks import done_by

LIBRARY = load_library()
ANY_REP_MS = 3_000  # of an exercise that the library doesn't know


@dataclass(frozen=True)
class Row:
    """What a bib does in a window: its work in ms, the reps it owes there, and of what.

    In a list that is gone through each part has a row; its reps are those of all rounds asked for.
    """

    name: str
    work_ms: int
    owed: int
    hold: bool

    @property
    def pace(self) -> Fraction:
        """Reps a minute of work."""
        return Fraction(60_000 * self.owed, self.work_ms)

    @property
    def earned(self) -> Fraction:
        """Which share of the window is left when all is made; an open window leaves none."""
        entry = LIBRARY.find(self.name)
        rep_ms = Fraction(ANY_REP_MS)
        if entry and entry.reps_30s:
            rep_ms = Fraction(60_000, sum(entry.reps_30s))
        return max(1 - self.owed * rep_ms / self.work_ms, Fraction(0)) if self.owed else Fraction(0)


Key = tuple[int, int, int, int, int]  # block, round, exercise, part (0: itself) and bib


def rows(data: bytes) -> dict[Key, Row]:
    """Return every window that somebody does."""
    plan = parse_plan(data)
    schedule = resolve(plan)
    found: dict[Key, Row] = {}
    for walker in range(len(schedule.alike)):
        bibs = plan.groups[walker].bibs if plan.groups else (walker + 1,)
        for stretch, post in schedule.walk(walker):
            for bib in bibs if post else ():
                task = done_by(post.exercise, bib)
                asked = task.reps or task.goal
                owed = task.tap.owed(asked.at(stretch.round)) if asked else 0
                at = (stretch.block, stretch.round, post.number)
                found[(*at, 0, bib)] = Row(task.name, stretch.duration_ms, owed, task.hold)
                for n, part in enumerate(task.parts, 1):
                    reps = (part.reps or 0) * max(owed, 1)
                    hold = part.hold_ms is not None
                    found[(*at, n, bib)] = Row(part.name, stretch.duration_ms, reps, hold)
    return found


def harder(before: bytes, after: bytes, eased: bool = False) -> Iterator[tuple[Key, str]]:
    """Yield the windows of a changed plan that ask more, and how; ``eased``: of what is done, too.

    Raises AssertionError for a window that was not there.
    """
    was = rows(before)
    said = parse_plan(before).fit
    for key, now in rows(after).items():
        assert key in was or (said.rounds and not eased), f"{key} is new"
        if key not in was:
            continue
        old = was[key]
        if now.work_ms > old.work_ms and (eased or said.work_ms is None):
            yield key, f"longer window: {old.work_ms} to {now.work_ms} ms"
        if now.pace > old.pace:
            yield key, f"more reps a minute: {float(old.pace):.2f} to {float(now.pace):.2f}"
        if now.earned < old.earned and (old.owed and not now.hold):
            yield key, f"less earned rest: {float(old.earned):.3f} to {float(now.earned):.3f}"
        if now.hold is not old.hold:
            yield key, "a hold for reps, or reps for a hold"
        if eased:
            yield from ((key, words) for words in _more_asked(old.name, now.name))


def _more_asked(was: str, now: str) -> Iterator[str]:
    old, new = LIBRARY.find(was), LIBRARY.find(now)
    if old is None or new is None:
        if was != now:
            yield f"{was} became {now}, and one of them is unknown"
        return
    if new.level > old.level:
        yield f"{now}: level {new.level}, was {old.level}"
    if IMPACTS.index(new.impact) > IMPACTS.index(old.impact):
        yield f"{now}: impact {new.impact}, was {old.impact}"
    if set(new.bears) - set(old.bears):
        yield f"{now}: loads {sorted(set(new.bears) - set(old.bears))} too"
    if new.skill and not old.skill:
        yield f"{now}: needs practice"


# What is tried

Way = Callable[[str, str], "bytes | None"]  # a plan's name and text to what it becomes


def for_first_timers(name: str, text: str) -> bytes | None:
    """Return a plan fitted for first-timers to some slot, None where nothing is near."""
    source = PlanText(text.encode(), name)
    percent = random.Random(name).randint(45, 130)
    slot_ms = expand(source.plan).slot_ms * percent // 100_000 * 1000
    with hurried():
        found = fit(source.plan, slot_ms, first_timers=True)
        if isinstance(found, Misfit) and (found.below_ms or found.above_ms):
            found = fit(source.plan, found.nearest_ms, first_timers=True)
    if isinstance(found, Misfit):
        return None
    try:
        return written(source, found)[0]
    except HandbellError as error:
        assert "would not pass the check" in str(error), error  # a window too short for its bells
        return None


@contextlib.contextmanager
def hurried() -> Iterator[None]:
    """Let the solver search briefly: what it finds need not be the least, but must be sound."""
    names = ("FIRST_SECONDS", "SEARCH_SECONDS", "LEVEL_SECONDS")
    with mock.patch.multiple(fit_model, **dict.fromkeys(names, 0.5)):
        yield


@dataclass
class Tried:
    """What came of some plans: how many changed, their windows, and what was harder."""

    plans: int = 0
    changed: int = 0
    windows: int = 0
    faults: list[str] = field(default_factory=list)


def tried(way: Way, count: int, seed: int = 1) -> Tried:
    """Change so many drawn plans in a way and judge each."""
    out = Tried()
    for name, text in some(count, seed):
        out.plans += 1
        after = way(name, text)
        if after is None or after == text.encode():
            continue
        out.changed += 1
        out.windows += len(rows(after))
        told = harder(text.encode(), after, eased=way is one_step_easier)
        out.faults += [f"{name}: {key} {words}" for key, words in told]
    return out


def one_step_easier(name: str, text: str) -> bytes:
    """Return a plan one step easier."""
    return one_step(PlanText(text.encode(), name), LIBRARY, "easier").data


WAYS: dict[str, Way] = {"first-timers": for_first_timers, "easier": one_step_easier}


def main() -> int:
    """Try every way on so many plans; return 1 when anything is harder."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plans", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--way", action="append", choices=WAYS)
    args = parser.parse_args()
    faults = 0
    for name in args.way or WAYS:
        out = tried(WAYS[name], args.plans, args.seed)
        faults += len(out.faults)
        said = f"{name}: {out.plans} plans, {out.changed} changed, {out.windows} windows"
        sys.stdout.write("\n".join([*out.faults, f"{said}, {len(out.faults)} harder\n"]))
    return int(faults > 0)


if __name__ == "__main__":
    sys.exit(main())
