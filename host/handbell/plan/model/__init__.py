"""The plan: what a class asks for, as pydantic models of the coach's file, one file a table."""

from handbell.plan.model.block import Block, times_of
from handbell.plan.model.exercise import REST, Exercise, Scaled, for_bib, lists_of, with_own
from handbell.plan.model.floor import Group, Station, does
from handbell.plan.model.orders import SHARE
from handbell.plan.model.plan import GuidedPart, Plan
from handbell.plan.values import PerRound, Tap

__all__ = [
    "REST",
    "SHARE",
    "Block",
    "Exercise",
    "Group",
    "GuidedPart",
    "PerRound",
    "Plan",
    "Scaled",
    "Station",
    "Tap",
    "does",
    "for_bib",
    "lists_of",
    "times_of",
    "with_own",
]
