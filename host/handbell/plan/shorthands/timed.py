"""Forms in which the clock says when people change: minutes, intervals, a relay's legs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import lcm
from typing import Any, ClassVar

from pydantic import Field

from handbell.plan import fields, values
from handbell.plan.agreement import Fault
from handbell.plan.shorthands.form import Short, Table
from handbell.plan.values import in_seconds

WRITTEN_MS = 3_000  # minutes in hundredths that are whole seconds


class EveryMinute(Short):
    """A task at each minute; what is left of the minute is rest."""

    block_has: ClassVar[Mapping[str, str]] = {
        "rounds": "minutes says how many",
        "rest_s": "rest is what is left of each minute",
        "round_rest_s": "rest is what is left of each minute",
        "rest_after_last": "the last minute is a whole one",
        "change_s": "people change within the minute",
    }
    exercise_has: ClassVar[Mapping[str, str]] = {"rest_s": "rest is what is left of each minute"}
    exercise_takes: ClassVar[Mapping[str, Any]] = {"work_s": fields.WORK_SCHEMA}

    block_ms: fields.Minutes = Field(alias="minutes", description="How long the block lasts.")
    every_ms: fields.Window = Field(
        60_000, alias="every_s", description="Seconds from one task to the next; 60 unless said."
    )

    def faults(self, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield minutes that don't divide, and tasks that fill or overrun theirs."""
        turn_ms = self.every_ms * len(exercises)
        if self.block_ms % turn_ms:
            step_ms = lcm(turn_ms, WRITTEN_MS)
            whole = self.block_ms // step_ms * step_ms
            near = [_minutes(ms) for ms in (whole, whole + step_ms) if ms]
            yield (
                ("minutes",),
                f"{_minutes(self.block_ms)} min is no whole number of rounds "
                f"({len(exercises)} x {in_seconds(self.every_ms)} s each); "
                f"write {' or '.join(near)}",
            )
        for e, exercise in enumerate(exercises):
            fault = self._task_fault(exercise)
            if fault:
                yield ("exercise", e, *(["work_s"] if "work_s" in exercise else [])), fault

    def _task_fault(self, exercise: Table) -> str:
        if "work_s" not in exercise:
            if "reps" in exercise:
                return ""
            reps = "" if exercise.get("hold") else "reps = 10 to make in the minute, or "
            return f"nothing says when its task is done; write {reps}work_s = 40 for how long"
        try:
            rest_ms = self.every_ms - values.window_ms(exercise["work_s"])
        except ValueError as error:
            return str(error)
        if rest_ms < 0:
            return f"it is longer than the {in_seconds(self.every_ms)} s there are; shorten it"
        if 0 < rest_ms < values.PAUSE_LEAST_MS:
            most = in_seconds(self.every_ms - values.PAUSE_LEAST_MS)
            return (
                f"it leaves {in_seconds(rest_ms)} s of rest, too short to be noticed; "
                f"write {most} or less, or all {in_seconds(self.every_ms)}"
            )
        return ""

    def spelt_out(self, block: Table, exercises: list[Table]) -> Table:
        """Return whole minutes, each a window and what is left of it."""
        tasks = []
        for exercise in exercises:
            work_ms = values.milliseconds(exercise.get("work_s", in_seconds(self.every_ms)))
            rest_ms = self.every_ms - work_ms
            rest = {"rest_s": in_seconds(rest_ms)} if rest_ms else {}
            tasks.append({**exercise, "work_s": in_seconds(work_ms), **rest})
        rounds = self.block_ms // (self.every_ms * len(exercises))
        kept = {"rest_after_last": True} if "rest_s" in tasks[-1] else {}
        return {**block, "rounds": rounds, "change_s": 0, **kept, "exercise": tasks}


class Intervals(Short):
    """The same work and rest for every exercise."""

    exercise_has: ClassVar[Mapping[str, str]] = {"work_s": "the block says it for all"}

    work: fields.WindowTimes = Field(
        alias="work_s", description="Seconds of each window; or a list, one a round."
    )

    def spelt_out(self, block: Table, exercises: list[Table]) -> Table:
        """Return the block with the window's time at each exercise."""
        times = [in_seconds(ms) for ms in self.work.values]
        work = times if self.work.listed else times[0]
        return {**block, "exercise": [{**exercise, "work_s": work} for exercise in exercises]}


class Relay(Short):
    """One person of each group at a time, for a leg; the others rest until their turn."""

    block_has: ClassVar[Mapping[str, str]] = {
        "rounds": "legs says how many",
        "round_rest_s": "rest_s is the time to hand over",
        "relay": 'format = "relay" says it',
    }
    exercise_has: ClassVar[Mapping[str, str]] = {"work_s": "leg_s says it for all"}

    leg_ms: fields.Window = Field(alias="leg_s", description="Seconds of one person's leg.")
    legs: fields.Count = Field(description="How many legs there are, one after another.")

    def faults(self, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield legs that end within a round of the exercises."""
        count = len(exercises)
        if self.legs % count:
            whole = self.legs // count * count
            near = " or ".join(str(n) for n in (whole, whole + count) if n)
            yield ("legs",), f"{self.legs} would end midway through {count} exercises; write {near}"

    def spelt_out(self, block: Table, exercises: list[Table]) -> Table:
        """Return a window for each leg."""
        leg = in_seconds(self.leg_ms)
        legs = [{**exercise, "work_s": leg} for exercise in exercises]
        return {**block, "rounds": self.legs // len(exercises), "relay": True, "exercise": legs}


def _minutes(ms: int) -> str:
    return f"{ms / 60_000:g}"
