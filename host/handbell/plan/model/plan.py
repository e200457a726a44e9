"""A whole plan: a class's settings, who comes, and its blocks.

Field names carry the unit they hold (ms); their aliases are the keys of the file (s). Read a plan
with ``handbell.plan.files.load_plan``, which also asks what only a whole plan can be asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from pydantic import Field, PrivateAttr, ValidationInfo
from pydantic import field_validator as on_field

from handbell.base.words import several
from handbell.plan import demands, fields
from handbell.plan.agreement import Fault, Place, Table, require
from handbell.plan.model.block import Block, unequal_times
from handbell.plan.model.floor import Group, Station, of_groups, of_stations
from handbell.plan.model.orders import of_orders

WINDOWS_MOST = 16_000  # four spans each at most, so a timeline keeps below 65,535 spans


class GuidedPart(Table):
    """A stretch of warm-up or cool-down that the coach leads."""

    name: fields.Name = Field(description="What is done.")
    work_ms: fields.Guided = Field(alias="work_s", description="Seconds, 3 or more.")


class Plan(Table):
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
    practice: tuple[GuidedPart, ...] = Field(
        (), description="Skills to try after the warm-up, outside the sums."
    )
    cool_down: tuple[GuidedPart, ...] = Field((), description="After the last window.")
    blocks: tuple[Block, ...] = Field(
        (), alias="block", description="The work.", validate_default=True
    )

    _source: bytes = PrivateAttr(b"")
    _path: str = PrivateAttr("plan")
    _digest: bytes = PrivateAttr(bytes(12))

    @property
    def opening(self) -> tuple[GuidedPart, ...]:
        """What the coach leads before the first block."""
        return (*self.warm_up, *self.practice)

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

    def break_after_ms(self, block: Block) -> int:
        """Return how long the break after a block is."""
        return self.break_ms if block.break_ms is None else block.break_ms

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
        require(of_groups(groups))
        return groups

    @on_field("stations")
    @classmethod
    def _stations_agree(
        cls, stations: tuple[Station, ...], info: ValidationInfo
    ) -> tuple[Station, ...]:
        require(of_stations(stations, info.data))
        return stations

    @on_field("blocks")
    @classmethod
    def _blocks_agree(cls, blocks: tuple[Block, ...], info: ValidationInfo) -> tuple[Block, ...]:
        require(_of_blocks(blocks, info.data))
        return blocks


def _of_blocks(blocks: Sequence[Block], data: dict[str, Any]) -> Iterable[Fault]:
    """Yield what the blocks disagree on with the layout (absent from ``data`` if wrong)."""
    if not blocks:
        yield (
            ("block",),
            "the plan has no windows; add a [[block]] with at least one [[block.exercise]]",
        )
    rotation = data.get("layout") == "rotation"
    windows = sum(block.rounds * len(block.exercises) for block in blocks)
    if windows > WINDOWS_MOST:
        yield ("block",), f"{windows} windows; a class has at most {WINDOWS_MOST}: take rounds out"
    if rotation:
        yield from _of_rotation(blocks, data)
    for b, block in enumerate(blocks):
        key = "hand_over" if block.hand_over else "relay"
        place: Place = ("block", b, key if block.format is None else "format")
        if block.one_at_a_time and rotation:
            yield place, "a relay is for lanes; take it out, or write lanes"
        elif block.one_at_a_time and not data.get("groups", True):
            yield place, "a relay is run by groups; add a [[group]] with its bibs"
    if "groups" in data and "stations" in data:
        yield from of_orders(blocks, data)


def _of_rotation(blocks: Sequence[Block], data: dict[str, Any]) -> Iterable[Fault]:
    if data.get("boxes_said"):
        yield ("boxes",), "a rotation has a box for each group; take out boxes"
    if "groups" not in data:
        return
    if not data["groups"]:
        yield ("group",), "a rotation moves groups; add a [[group]] for each exercise"
        return
    stations = len(data.get("stations", ())) or len(blocks[0].exercises if blocks else ())
    for b, block in enumerate(blocks):
        if len(block.exercises) != stations:
            yield (
                ("block", b),
                f"{several(len(block.exercises), 'exercise')} for {several(stations, 'station')}; "
                "a rotation needs an exercise for each station in each block",
            )
        yield from ((("block", b, *place), fault) for place, fault in unequal_times(block))
