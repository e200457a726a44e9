"""The plan: what a class asks for, as pydantic models of the coach's file.

Field names carry the unit they hold (ms); their aliases are the keys of the file (s). Read a plan
with ``handbell.plan.files.load_plan``.
"""

from __future__ import annotations

from typing import Any

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ModelWrapValidatorHandler,
    PrivateAttr,
    ValidationError,
    ValidationInfo,
)
from pydantic import field_validator as on_field
from pydantic import model_validator as on_model

from handbell.plan import demands, fields, rules, scaling
from handbell.plan.parts import Part
from handbell.plan.shorthands import MaybeFormat, Misspelt, spelt_out
from handbell.plan.values import PerRound, Tap


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Scaled(_Table):
    """What some bibs are asked for instead, in the same windows."""

    bibs: fields.Bibs = Field(description="Whom it is for.")
    name: fields.MaybeName = Field(None, description="Another exercise, or a variation of it.")
    reps: fields.MaybeReps = Field(None, description="Their target. Or a list, one a round.")
    goal: fields.MaybeReps = Field(None, description="Their goal in an open window. Or a list.")
    hold: fields.YesNo = Field(False, description="For them a position is kept.")
    tap_as: fields.MaybeTap = Field(None, alias="tap", description="How they tap.")
    note: fields.Note = Field("", description="A remark for people, such as the load.")


class Exercise(_Table):
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

    @property
    def tap(self) -> Tap:
        """How people tap, as said or as usual for what is asked."""
        return self.tap_as or Tap("drop" if self.hold else "each")

    @property
    def names(self) -> tuple[str, ...]:
        """What is done in it: itself, or its parts."""
        return tuple(part.name for part in self.parts) or (self.name,)

    @on_model(mode="after")
    def _agrees(self) -> Exercise:
        rules.require([*rules.of_exercise(self), *scaling.of_exercise(self)])
        return self


class Block(_Table):
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
    def rounds(self) -> int:
        """How many rounds: as said, or as many as a list has entries, or 1."""
        if self.rounds_said is not None:
            return self.rounds_said
        lists = [n for e in self.exercises for _, n in rules.lists_of(e)]
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
        rules.require(rules.of_block(self))
        return self


class Group(_Table):
    """People who stay together, by their bibs."""

    name: fields.Name = Field(description="What the group is called on the box.")
    bibs: fields.Bibs = Field(description="Bib numbers, 1 to 999, each once in the plan.")
    circuit: fields.MaybeName = Field(
        None, description="The circuit it does, when there are two side by side."
    )


class Station(_Table):
    """A place on the floor."""

    label: fields.MaybeName = Field(None, description='Its name; "Station 1" unless said.')
    capacity: demands.MaybeCapacity = Field(None, description="People it has room for at once.")


class GuidedPart(_Table):
    """A stretch of warm-up or cool-down that the coach leads."""

    name: fields.Name = Field(description="What is done.")
    work_ms: fields.Guided = Field(alias="work_s", description="Seconds, 3 or more.")


class Plan(_Table):
    """One class."""

    title: fields.Name = Field(description="What the class is called.")
    layout: fields.Layout = Field(
        "lanes", description="lanes: people stay, the box shows each exercise; rotation: they move."
    )
    lead_in_ms: fields.Pause = Field(
        10_000, alias="lead_in_s", description="Seconds from the class start on."
    )
    grid_s: fields.GridSeconds = Field(
        30, description="Hand starts and gates take effect on whole multiples of this, UTC."
    )
    count_s: fields.CountSeconds = Field(
        0, description="Last seconds counted aloud; 0: one heads-up instead."
    )
    silent: fields.YesNo = Field(False, description="No sound at all: screen and light only.")
    buttons: fields.Buttons = Field(1, description="Buttons used on each box.")
    turns_said: fields.MaybeTurns = Field(
        None, alias="turns", description="How bibs share too few buttons: by window or by round."
    )
    move: fields.WindowOrRound = Field(
        "window", description="In a rotation, groups move after every window or every round."
    )
    change_said_ms: fields.MaybePause = Field(
        None, alias="change_s", description="Seconds to the next exercise: 0 in lanes, else 15."
    )
    break_ms: fields.Pause = Field(
        0, alias="break_s", description="Seconds between blocks, unless a block says otherwise."
    )
    kit: demands.KitCounts = Field(
        default_factory=dict, description="How many there are of kit that is scarce."
    )
    never_after: demands.NamePairs = Field(
        (), description="Pairs of exercises; the second never directly after the first."
    )
    alternate: demands.NamePairs = Field(
        (), description="Pairs of groups that never work at once and take turns."
    )
    fit: demands.Fit = Field(
        default_factory=lambda: demands.Fit.model_validate({}), description="Bounds for fit."
    )
    rate: fields.YesNo = Field(True, description="Ask each bib at the end how hard it was.")
    groups: tuple[Group, ...] = Field((), alias="group", description="Who comes.")
    boxes_said: fields.MaybeBoxes = Field(
        None, alias="boxes", description="Without groups: how many boxes play the same."
    )
    stations: tuple[Station, ...] = Field(
        (), alias="station", description="Names of the places.", validate_default=True
    )
    warm_up: tuple[GuidedPart, ...] = Field((), description="Guided movement first.")
    cool_down: tuple[GuidedPart, ...] = Field((), description="After the last window.")
    blocks: tuple[Block, ...] = Field(
        (), alias="block", description="The work.", validate_default=True
    )

    _source: bytes = PrivateAttr(b"")
    _path: str = PrivateAttr("plan")
    _digest: bytes = PrivateAttr(bytes(12))

    @property
    def source(self) -> bytes:
        """The file's bytes, line ends as LF."""
        return self._source

    @property
    def path(self) -> str:
        """The file's name as it was given."""
        return self._path

    @property
    def digest(self) -> bytes:
        """The 12 bytes that name this plan: SHA-256 of ``source``, cut."""
        return self._digest

    def from_file(self, path: str, source: bytes, digest: bytes) -> Plan:
        """Return this plan knowing where it came from."""
        self._path, self._source, self._digest = path, source, digest
        return self

    @property
    def is_rotation(self) -> bool:
        """Whether groups move."""
        return self.layout == "rotation"

    @property
    def change_ms(self) -> int:
        """Time to get from one exercise to the next, unless a block says otherwise."""
        if self.change_said_ms is not None:
            return self.change_said_ms
        return 15_000 if self.is_rotation else 0

    @property
    def turns(self) -> str:
        """How bibs share too few buttons."""
        return self.turns_said or "window"

    @property
    def boxes(self) -> int:
        """How many boxes play this plan."""
        if self.is_rotation:
            return len(self.blocks[0].exercises)
        return self.boxes_said or len(self.groups) or len(self.stations) or 1

    def label(self, box: int) -> str:
        """Return what the station of a box, from 0, is called."""
        said = self.stations[box].label if self.stations else None
        return said or f"Station {box + 1}"

    @on_field("groups")
    @classmethod
    def _groups_agree(cls, groups: tuple[Group, ...]) -> tuple[Group, ...]:
        rules.require(rules.of_groups(groups))
        return groups

    @on_field("stations")
    @classmethod
    def _stations_agree(
        cls, stations: tuple[Station, ...], info: ValidationInfo
    ) -> tuple[Station, ...]:
        rules.require(rules.of_stations(stations, info.data))
        return stations

    @on_field("blocks")
    @classmethod
    def _blocks_agree(cls, blocks: tuple[Block, ...], info: ValidationInfo) -> tuple[Block, ...]:
        rules.require(rules.of_blocks(blocks, info.data))
        return blocks

    @on_model(mode="after")
    def _agrees(self) -> Plan:
        rules.require([*rules.of_plan(self), *scaling.of_plan(self)])
        return self


__all__ = [
    "Block",
    "Exercise",
    "Group",
    "GuidedPart",
    "PerRound",
    "Plan",
    "Scaled",
    "Station",
    "Tap",
]
