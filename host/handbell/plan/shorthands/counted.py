"""Forms in which people count: a ladder, or a list gone through again and again."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, ClassVar

from pydantic import Field, ValidationError

from handbell.plan import fields, values
from handbell.plan.agreement import Fault, Place
from handbell.plan.demands import kit_needs
from handbell.plan.parts import Part, parts_words
from handbell.plan.shorthands.form import Short, Table, found, own_keys
from handbell.plan.texts import LINE_MOST, drawable
from handbell.plan.values import in_seconds

RUNGS_MOST = 200
LONGEST_MS = 3_600_000


class Through(Short):
    """A list of exercises gone through again and again, in one window, a tap each time."""

    asks_each = False
    named_by_list = True
    block_has: ClassVar[Mapping[str, str]] = {
        "rest_s": "people rest as they need",
        "round_rest_s": "people rest as they need",
        "rest_after_last": "it is a single window; write break_s for what follows it",
        "order": "everybody goes through the list by themselves",
    }

    block_ms: fields.Minutes = Field(alias="minutes", description="How long there is.")

    @classmethod
    def early_faults(cls, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield exercises that are no parts, and kit that is said in two ways."""
        yield from super().early_faults(block, exercises)
        for e, exercise in enumerate(exercises):
            try:
                _part(exercise)
            except ValidationError as error:
                for place, fault in found(error, [*own_keys(Part), "kit"]):
                    yield ("exercise", e, *place), fault
        yield from _kit_faults(exercises)

    def faults(self, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield a list too long to be a name."""
        try:
            long = len(drawable(parts_words(map(_part, exercises)))) > LINE_MOST
        except ValidationError:
            return
        if "name" not in block and long:
            yield (
                ("name",),
                f"it is missing, and the list is longer than the {LINE_MOST} characters of a box's "
                'line; write a short one, such as name = "The long list"',
            )

    @classmethod
    def stand_in(cls, block: Table, exercises: list[Table]) -> Table:
        """Return a block with any exercise: those of the list are checked by themselves."""
        return super().stand_in(block, [])

    @classmethod
    def place_back(cls, place: Place) -> Place:
        """Return the place of a part as the exercise it was written as, of the window as above."""
        if place[:2] != ("exercise", 0):
            return place
        return ("exercise", *place[3:]) if place[2:3] == ("part",) else place[2:]

    def _one_window(self, block: Table, exercises: list[Table], asks: Table) -> Table:
        parts = [_part(exercise) for exercise in exercises]
        window: Table = {
            "name": block.get("name", parts_words(parts)),
            "work_s": in_seconds(self.block_ms),
            **asks,
        }
        kit = _kit_of(exercises)
        if kit:
            window["kit"] = kit
        window["part"] = [{k: v for k, v in e.items() if k != "kit"} for e in exercises]
        return {**block, "exercise": [window]}


class AsManyRounds(Through):
    """As many rounds of a list as fit in the time."""

    block_has: ClassVar[Mapping[str, str]] = {
        **Through.block_has,
        "rounds": "people make as many as they can",
    }

    goal: fields.MaybeCount = Field(None, description="Rounds to wish for.")

    def spelt_out(self, block: Table, exercises: list[Table]) -> Table:
        """Return an open window in which a tap is a round."""
        goal = {"goal": self.goal} if self.goal is not None else {}
        return self._one_window(block, exercises, goal)


class UnderACap(Through):
    """A list to finish as fast as you can, some rounds of it, within a time cap."""

    rounds: fields.Rounds = Field(1, description="How often the list is done; 1 unless said.")

    def spelt_out(self, block: Table, exercises: list[Table]) -> Table:
        """Return a window with a target of rounds; the last tap is the finishing time."""
        tap = {"tap": "finish"} if self.rounds == 1 else {}
        return self._one_window(block, exercises, {"reps": self.rounds, **tap})


class HandOver(Through):
    """A relay for some minutes: one person of each group at a time, until a tap hands over."""

    named_by_list = False  # the box names each leg
    block_has: ClassVar[Mapping[str, str]] = {
        **Through.block_has,
        "rounds": "people hand over as often as they can",
        "relay": 'format = "hand-over" says it',
        "hand_over": 'format = "hand-over" says it',
    }

    def faults(self, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield nothing: the box names each leg, so the list needs no name."""
        yield from ()

    def spelt_out(self, block: Table, exercises: list[Table]) -> Table:
        """Return an open window in which a tap ends a leg."""
        named = {"name": "Relay", **block}
        return {**block, **self._one_window(named, exercises, {}), "hand_over": True}


class Ladder(Short):
    """Reps that go up or down by a step from round to round, and back if wished."""

    asks_each = False
    block_has: ClassVar[Mapping[str, str]] = {"rounds": "from, to and by say how many"}
    exercise_has: ClassVar[Mapping[str, str]] = {
        "hold": "a ladder counts reps",
        "reps": "they are the ladder's",
        "goal": "reps are the ladder's",
    }
    exercise_takes: ClassVar[Mapping[str, Any]] = {"rep_s": fields.REP_SCHEMA}

    first: fields.Count = Field(alias="from", description="Reps of the first round.")
    last: fields.Count = Field(alias="to", description="Reps of the last one, or at the turn.")
    by: fields.Count = Field(1, description="How much a round differs from the next; 1 unless said")
    back: fields.YesNo = Field(False, description="The same way back afterwards.")
    rep_ms: fields.MaybeRepTime = Field(
        None, alias="rep_s", description="Seconds for each rep; a window is as long as its reps."
    )

    def faults(self, block: Table, exercises: list[Table]) -> Iterator[Fault]:
        """Yield a step that misses the end, and windows that nothing says the length of."""
        left = abs(self.last - self.first) % self.by
        if left:
            down = -1 if self.last < self.first else 1
            near = (self.last - down * left, self.last + down * (self.by - left))
            likely = " or ".join(str(n) for n in near if n > 0)
            yield ("to",), f"steps of {self.by} from {self.first} miss it; write {likely}"
        rungs = abs(self.last - self.first) // self.by + 1
        if rungs > RUNGS_MOST:
            yield ("by",), f"{rungs} rounds up; take larger steps, for {RUNGS_MOST} at most"
        if self.rep_ms and not left and max(self.first, self.last) * self.rep_ms > LONGEST_MS:
            yield (
                ("rep_s",),
                "the longest window would be over an hour; write fewer reps, or work_s",
            )
        for e, exercise in enumerate(exercises):
            said = [key for key in ("work_s", "rep_s") if key in exercise]
            if len(said) == 2:
                yield ("exercise", e, "rep_s"), "work_s says its time already; keep one of the two"
            elif not said and self.rep_ms is None:
                yield (
                    ("exercise", e),
                    "nothing says how long its windows are; write work_s = 40 for all, or "
                    "rep_s = 3 for each rep",
                )
            elif said == ["rep_s"]:
                try:
                    values.rep_ms(exercise["rep_s"])
                except ValueError as error:
                    yield ("exercise", e, "rep_s"), str(error)

    @property
    def reps(self) -> list[int]:
        """The reps of each round."""
        step = self.by if self.last >= self.first else -self.by
        way = list(range(self.first, self.last + (1 if step > 0 else -1), step))
        return way + way[-2::-1] if self.back else way

    def spelt_out(self, block: Table, exercises: list[Table]) -> Table:
        """Return a round for each rung."""
        reps = self.reps
        rungs = []
        for exercise in exercises:
            rung = {key: value for key, value in exercise.items() if key != "rep_s"}
            if "work_s" not in rung:
                own = exercise.get("rep_s")
                each_ms = values.rep_ms(own) if own is not None else self.rep_ms or 0
                least_ms = values.WINDOW_LEAST_MS
                rung["work_s"] = [in_seconds(max(each_ms * n, least_ms)) for n in reps]
            rungs.append({**rung, "reps": list(reps)})
        return {**block, "rounds": len(reps), "exercise": rungs}


def _part(exercise: Table) -> Part:
    return Part.model_validate({k: v for k, v in exercise.items() if k != "kit"})


def _kit_faults(exercises: list[Table]) -> Iterator[Fault]:
    kinds: dict[type, int] = {}
    for e, exercise in enumerate(exercises):
        if "kit" not in exercise:
            continue
        place: Place = ("exercise", e, "kit")
        try:
            kit_needs(exercise["kit"])
        except ValueError as error:
            yield place, str(error)
            continue
        if kinds.setdefault(type(exercise["kit"]), e) == e and len(kinds) > 1:
            first = next(iter(kinds.values())) + 1
            yield place, f"exercise {first} says its kit in the other way; write it in one way"


def _kit_of(exercises: list[Table]) -> Any:
    """Return the kit of all parts, in one of its two ways to be written; [] for none."""
    said = [exercise["kit"] for exercise in exercises if exercise.get("kit")]
    if all(isinstance(kit, list) for kit in said):
        return list(dict.fromkeys(name for kit in said for name in kit))
    counts: Table = {}
    for name, count in (item for kit in said for item in kit.items()):
        counts[name] = max(count, counts.get(name, 0))  # a group has it for one part, then another
    return counts
