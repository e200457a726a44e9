"""One exercise: what it asks for, and what it asks of single bibs instead."""

from __future__ import annotations

from collections.abc import Iterable

from pydantic import Field, PrivateAttr
from pydantic import model_validator as on_model

from handbell.plan import demands, fields
from handbell.plan.agreement import Fault, Table, require
from handbell.plan.parts import Part
from handbell.plan.values import Tap

_EACH, _DROP = Tap("each"), Tap("drop")  # as usual
REST = "Rest"  # what the box calls it where somebody leaves an exercise out


class Scaled(Table):
    """What some bibs are asked for instead, in the same windows."""

    bibs: fields.Bibs = Field(description="Whom it is for.")
    name: fields.MaybeName = Field(None, description="Another exercise, or a variation of it.")
    reps: fields.MaybeOwnReps = Field(None, description="Their target. Or a list, one a round.")
    goal: fields.MaybeOwnReps = Field(None, description="Their goal in an open window. Or a list.")
    hold: fields.YesNo = Field(False, description="For them a position is kept.")
    tap_as: fields.MaybeTap = Field(None, alias="tap", description="How they tap.")
    out: fields.YesNo = Field(False, description="They leave it out, and rest meanwhile.")
    note: fields.Note = Field("", description="A remark for people, such as the load.")


class Exercise(Table):
    """One exercise of a block and its windows."""

    name: fields.Name = Field(description="What it is called on the box, at most 32 characters.")
    work: fields.WindowTimes = Field(
        alias="work_s", description="Seconds of the window, 5 or more; or a list, one a round."
    )
    reps: fields.MaybeReps = Field(
        None, description="Target: reps to make in the window; what is left is rest. Or a list."
    )
    goal: fields.MaybeReps = Field(
        None, description="Reps to wish for in an open window, which goes on to its end. Or a list."
    )
    hold: fields.YesNo = Field(False, description="A position is kept as long as it lasts.")
    tap_as: fields.MaybeTap = Field(
        None, alias="tap", description='How people tap; "each" unless said, "drop" for a hold.'
    )
    rest_ms: fields.MaybePause = Field(
        None, alias="rest_s", description="Seconds of rest after each window; else the block's."
    )
    both_sides: fields.YesNo = Field(
        False, description="Sides change at half time; reps are the sum of both."
    )
    kit: demands.KitNeeds = Field(
        (), description='Kit in use: ["bench"] one a person, { bench = 1 } for the group.'
    )
    circuit: fields.MaybeName = Field(
        None, description="Which of two circuits side by side it belongs to."
    )
    note: fields.Note = Field("", description="A remark for people; it goes onto no box.")
    parts: tuple[Part, ...] = Field(
        (), alias="part", description="What it consists of: a rep is one time through all of them."
    )
    scaled: tuple[Scaled, ...] = Field((), description="What some bibs are asked for instead.")
    _out: bool = PrivateAttr(False)
    _hands_over: bool = PrivateAttr(False)

    @property
    def is_left_out(self) -> bool:
        """Whether it is what those do who leave an exercise out: rest, and owe nothing."""
        return self._out

    @property
    def hands_over(self) -> bool:
        """Whether one person at a time does a leg of it, until a tap hands over."""
        return self._hands_over

    def in_hand_over(self) -> None:
        """Take note that its block hands over by taps."""
        self._hands_over = True

    @property
    def unit(self) -> str:
        """What a rep of it is called: a rep, a round of its parts, a leg."""
        return "leg" if self.hands_over else "round" if self.parts else "rep"

    @property
    def tap(self) -> Tap:
        """How people tap, as said or as usual for what is asked."""
        return self.tap_as or (_DROP if self.hold else _EACH)

    @property
    def names(self) -> tuple[str, ...]:
        """What is done in it: itself, or its parts."""
        return tuple(part.name for part in self.parts) or (self.name,)

    @on_model(mode="after")
    def _agrees(self) -> Exercise:
        require([*_keys(self), *_own_tasks(self)])
        return self


def _keys(exercise: Exercise) -> Iterable[Fault]:
    """Yield what an exercise's keys disagree on."""
    if exercise.reps is not None and exercise.goal is not None:
        yield (
            ("goal",),
            "a window has a target or a goal, not both; "
            "keep reps for a target, or goal for an open window",
        )
    for key in ("reps", "goal"):
        if exercise.hold and getattr(exercise, key) is not None:
            yield (key,), f"a hold counts no reps; take out {key}, or hold = true"
    if exercise.parts and (exercise.hold or exercise.both_sides):
        key = "hold" if exercise.hold else "both_sides"
        yield (key,), f"a list gone through has none; take out {key}, or the parts"
    fault = tap_fault(exercise)
    if fault and exercise.tap_as is not None:
        yield ("tap",), fault


def tap_fault(exercise: Exercise) -> str:
    """Return what is wrong with how an exercise is tapped, "" if nothing."""
    rule = exercise.tap.rule
    if exercise.hold and rule not in ("drop", "none"):
        return f'"{rule}" is not for a hold; write "drop" or "none", or take the line out'
    if rule == "drop" and not exercise.hold:
        return '"drop" is only for a hold; write hold = true, or another way to tap'
    if rule == "finish" and exercise.reps is None:
        return '"finish" needs a target; write reps = 10, or another way to tap'
    return ""


def lists_of(exercise: Exercise) -> list[tuple[str, int]]:
    """Return the keys of an exercise that are lists, with their lengths."""
    keyed = (("work_s", exercise.work), ("reps", exercise.reps), ("goal", exercise.goal))
    return [(key, len(value.values)) for key, value in keyed if value and value.listed]


def for_bib(exercise: Exercise, bib: int) -> Exercise:
    """Return the exercise as a bib does it."""
    own = next((scaled for scaled in exercise.scaled if bib in scaled.bibs), None)
    return exercise if own is None else with_own(exercise, own)


def with_own(exercise: Exercise, own: Scaled) -> Exercise:
    """Return the exercise as those do it whom an own task is for."""
    changes: dict[str, object] = {"scaled": ()}
    if own.out:
        return _left_out(exercise, own)
    if own.name is not None:
        changes |= {"name": own.name, "parts": ()}
    if _asks(own):
        changes |= {"reps": own.reps, "goal": own.goal, "hold": own.hold, "tap_as": None}
        usual = exercise.model_copy(update=changes | {"tap_as": exercise.tap_as})
        if not tap_fault(usual):
            changes["tap_as"] = exercise.tap_as
    if own.tap_as is not None:
        changes["tap_as"] = own.tap_as
    return exercise.model_copy(update=changes)


def _left_out(exercise: Exercise, own: Scaled) -> Exercise:
    """Return what those do who leave an exercise out, in its windows."""
    nothing = dict.fromkeys(("reps", "goal")) | dict.fromkeys(("hold", "both_sides"), False)
    empty = dict.fromkeys(("scaled", "parts", "kit"), ())
    said = {"name": REST, "tap_as": Tap("none"), "note": own.note}
    left: Exercise = exercise.model_copy(update={**nothing, **empty, **said})
    left._out, left._hands_over = True, False
    return left


def _asks(own: Scaled) -> bool:
    return own.reps is not None or own.goal is not None or own.hold


def _own_tasks(exercise: Exercise) -> Iterable[Fault]:
    """Yield what an exercise's scaled tables disagree on, with it or with one another."""
    seen: dict[int, int] = {}
    for n, own in enumerate(exercise.scaled):
        changes = own.name is not None or own.tap_as is not None or _asks(own)
        if own.out and changes:
            yield (
                ("scaled", n, "out"),
                "who leaves it out is asked for nothing; take out = true out, or the other keys",
            )
        elif not own.out and not changes:
            yield ("scaled", n), "it changes nothing; write a name, reps, a goal, hold, tap or out"
        for bib in own.bibs:
            if seen.setdefault(bib, n) != n:
                yield (
                    ("scaled", n, "bibs"),
                    f"bib {bib} has its own task in scaled {seen[bib] + 1} already",
                )
        mine = with_own(exercise, own)
        yield from ((("scaled", n, *place), fault) for place, fault in _keys(mine))
        if not own.out and (mine.tap.rule == "tally") != (exercise.tap.rule == "tally"):
            yield (
                ("scaled", n, "tap"),
                '"tally" is for everybody at a box or for nobody; write it in both places',
            )
