"""One class of the hall: played on every box, then judged."""

from __future__ import annotations

import traceback
from dataclasses import dataclass, field

from check import check
from drive import BoxRun
from script import Script

AFTER_MS = 600_000  # a class that isn't over by then doesn't end


@dataclass
class Outcome:
    """What came of one class."""

    wrong: list[str] = field(default_factory=list)
    hours: float = 0.0
    checks: int = 0
    failed_reads: int = 0
    presses: int = 0
    unclear: list[str] = field(default_factory=list)


def play(script: Script) -> Outcome:
    """Play a class on all of its boxes."""
    out = Outcome()
    plan = script.plan
    first_bells = set()
    for box in script.boxes:
        run = BoxRun(plan, box)
        name = f"box {box.number}"
        try:
            run.play((script.ends_ms + AFTER_MS) * 1000)
        except Exception as error:  # whatever leaves the runner is a defect
            where = traceback.extract_tb(error.__traceback__)[-1]
            out.wrong.append(
                f"{name}: {type(error).__name__} {error} in {where.name}, line {where.lineno}"
            )
        for seen in run.runs:
            verdict = check(run, seen, plan.grid_s, plan.count_s)
            out.wrong += [f"{name}: {text}" for text in verdict.wrong]
            out.checks += verdict.checks
            out.presses += sum(event[1] == "press" for event in seen.events)
            if verdict.unclear:
                out.unclear.append(verdict.unclear)
            armed = [a for _, what, a in seen.events if what == "arm"]
            if armed and seen.base_utc_ms is not None:
                first_bells |= {(armed[0] + seen.base_utc_ms, *seen_first(seen, armed[0]))}
        out.hours += run.now_us / 3.6e9
        out.failed_reads += run.reader.failed
    starts = [start for start, *_ in first_bells]
    if len(set(starts)) != len(starts):
        out.wrong.append(f"boxes of one start ring apart: {sorted(first_bells)}")
    return out


def seen_first(seen, start_ms: int) -> tuple[int, ...]:
    """Return the UTC of the first bell at a start, if the box got there."""
    rung = [due + seen.base_utc_ms for due, _ in seen.sink.bells if start_ms <= due < 1 << 29]
    return tuple(rung[:1]) or (start_ms + seen.base_utc_ms,)
