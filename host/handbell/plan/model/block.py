"""One block: exercises done for some rounds, perhaps written in a short form."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pydantic import Field, ModelWrapValidatorHandler, ValidationError
from pydantic import model_validator as on_model

from handbell.base.words import several
from handbell.plan import demands, fields
from handbell.plan.agreement import Fault, Table, require
from handbell.plan.model.exercise import Exercise, lists_of
from handbell.plan.shorthands import MaybeFormat, Misspelt, spelt_out


class Block(Table):
    """A list of exercises done for some rounds."""

    name: fields.MaybeName = Field(None, description="What it is called in the timetable.")
    rounds_said: fields.MaybeRounds = Field(
        None, alias="rounds", description="How often the exercises are done; 1 unless said."
    )
    rest_ms: fields.Pause = Field(
        0, alias="rest_s", description="Seconds of rest after each window."
    )
    round_rest_ms: fields.MaybePause = Field(
        None, alias="round_rest_s", description="Seconds of rest between rounds, instead of rest_s."
    )
    rest_after_last: fields.YesNo = Field(
        False, description="The block's very last window is followed by its rest too."
    )
    change_ms: fields.MaybePause = Field(
        None, alias="change_s", description="Seconds to get to the next exercise; else the plan's."
    )
    break_ms: fields.MaybePause = Field(
        None, alias="break_s", description="Seconds after this block; never after the last."
    )
    gate: fields.YesNo = Field(False, description="Wait for the coach before this block.")
    relay: fields.YesNo = Field(
        False, description="One person of each group at a time; the others rest until their turn."
    )
    hand_over: fields.YesNo = Field(
        False, description="One person of each group at a time, until a tap hands over."
    )
    format: MaybeFormat = Field(
        None, description="The short form it is written in, which has keys of its own."
    )
    order: demands.Orders = Field(
        None, description="For each group or box, its exercises by number in turn; 0 waits."
    )
    exercises: tuple[Exercise, ...] = Field(
        (), alias="exercise", description="The exercises in order."
    )

    @property
    def one_at_a_time(self) -> bool:
        """Whether one person of each group works while the others wait."""
        return self.relay or self.hand_over

    @property
    def rounds(self) -> int:
        """How many rounds: as said, or as many as a list has entries, or 1."""
        if self.rounds_said is not None:
            return self.rounds_said
        lists = [n for e in self.exercises for _, n in lists_of(e)]
        return lists[0] if lists else 1

    @on_model(mode="wrap")
    @classmethod
    def _spelt_out(cls, data: Any, check: ModelWrapValidatorHandler[Block]) -> Block:
        if not isinstance(data, dict) or "format" not in data:
            return check(data)
        table, form, faults = spelt_out(data)
        try:
            block = check(table)
        except ValidationError as error:
            raise Misspelt(form, faults, error) from None
        if faults:
            raise Misspelt(form, faults, None)
        return block

    @on_model(mode="after")
    def _agrees(self) -> Block:
        require(_exercises(self))
        for exercise in self.exercises if self.hand_over else ():
            exercise.in_hand_over()
        return self


def _exercises(block: Block) -> Iterable[Fault]:
    """Yield what a block's exercises disagree on with it."""
    if not block.exercises:
        yield (), "it has no exercise; add a [[block.exercise]] with name and work_s"
        return
    rounds = block.rounds
    for n, exercise in enumerate(block.exercises):
        for key, entries in lists_of(exercise):
            if entries != rounds:
                yield (
                    ("exercise", n, key),
                    f"{several(entries, 'entry', 'entries')} for {several(rounds, 'round')}; "
                    "write one entry for each round, or a single number",
                )
    if block.hand_over:
        yield from _handed_over(block)
    if block.rest_after_last and not _trailing_rest_ms(block):
        yield ("rest_after_last",), "there is no rest to keep; write rest_s, or take it out"


def _handed_over(block: Block) -> Iterable[Fault]:
    """Yield what windows can't have in which a tap hands over."""
    if block.relay:
        yield ("hand_over",), "a relay goes by the clock or by taps; take one of the two out"
    for n, exercise in enumerate(block.exercises):
        for key, said in (
            ("reps", exercise.reps),
            ("goal", exercise.goal),
            ("hold", exercise.hold),
            ("both_sides", exercise.both_sides),
            ("tap", exercise.tap_as),
        ):
            if said:
                yield (
                    ("exercise", n, key),
                    "a tap ends a leg and hands over; take it out, and write a leg's reps in a "
                    "[[block.exercise.part]]",
                )
        for s, own in enumerate(exercise.scaled):
            if not own.out:
                yield (
                    ("exercise", n, "scaled", s),
                    "all have the same legs; write out = true for who has none, or take it out",
                )


def _trailing_rest_ms(block: Block) -> int:
    if block.round_rest_ms is not None:
        return block.round_rest_ms
    own = block.exercises[-1].rest_ms
    return block.rest_ms if own is None else own


def times_of(block: Block) -> list[tuple[tuple[int, ...], int]]:
    """Return each exercise's windows by round, and its rest; equals may change places."""
    rounds = range(1, block.rounds + 1)
    return [
        (
            tuple(exercise.work.at(n) for n in rounds),
            block.rest_ms if exercise.rest_ms is None else exercise.rest_ms,
        )
        for exercise in block.exercises
    ]


def unequal_times(block: Block) -> Iterable[Fault]:
    """Yield exercises that would not change together with the first one."""
    times = times_of(block)
    first_windows, first_rest_ms = times[0]
    for e, (windows, rest_ms) in enumerate(times):
        if windows != first_windows:
            yield (
                ("exercise", e, "work_s"),
                "differs from exercise 1; in a rotation everybody changes together, "
                "so write the same work_s for all",
            )
        if rest_ms != first_rest_ms:
            yield (
                ("exercise", e, "rest_s"),
                "differs from exercise 1; in a rotation everybody rests together, "
                "so write the same rest_s for all",
            )
