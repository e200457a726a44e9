"""Writing a fitted plan into the coach's file, its comments and layout kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from handbell.base.errors import HandbellError, PlanError
from handbell.coach.writing.edit import Change, PlanText
from handbell.compile import CompiledClass, build
from handbell.plan.agreement import Place
from handbell.plan.files import parse_plan
from handbell.plan.model import PerRound, Plan
from handbell.plan.values import in_seconds

from .fit import Fitted
from .levers import Lever, Site
from .targets import Eased

KEYS = {
    "break_ms": "break_s",
    "rest_ms": "rest_s",
    "round_rest_ms": "round_rest_s",
    "work_ms": "work_s",
    "work": "work_s",
    "rounds_said": "rounds",
}


def written(text: PlanText, fitted: Fitted) -> tuple[bytes, CompiledClass]:
    """Return the bytes of a fitted plan's file, and the class compiled from them.

    Raises HandbellError when the boxes could not play it, or the file can't be changed.
    """
    data = text.changed(changes(text.plan, fitted.moves, fitted.eased))
    try:
        built = build(parse_plan(data, text.name))
    except PlanError as error:
        raise HandbellError(
            f"Fitted, the plan would not pass the check: {'; '.join(error.faults)}",
            "Nothing is changed; narrow the bounds in [fit], or keep what is named",
        ) from None
    if built.totals.slot_ms != fitted.after.slot_ms:
        raise HandbellError(
            f"{text.name}: the file, changed, does not last what it was fitted to",
            "Nothing is changed; please report this plan",
        )
    return data, built


def changes(plan: Plan, moves: Mapping[Lever, int], eased: Iterable[Eased] = ()) -> list[Change]:
    """Return what a plan's file must say instead, a table at a time."""
    values: dict[Place, dict[str, Any]] = {}
    for lever, by in moves.items():
        for site in lever.sites:
            values.setdefault(site.place, {})[KEYS[site.field]] = _said(site, by)
    for one in eased:
        reps = list(one.to.values) if one.to.listed else one.to.values[0]
        values.setdefault(one.place, {})[one.key] = reps
    _join_breaks(plan, values)
    return [Change(place, keys) for place, keys in values.items()]


def _said(site: Site, by: int) -> Any:
    value = site.plus(by)
    if site.field == "rounds_said":
        return value
    if isinstance(value, PerRound):
        times = [in_seconds(ms) for ms in value.values]
        return times if value.listed else times[0]
    return in_seconds(value)


def _join_breaks(plan: Plan, values: dict[Place, dict[str, Any]]) -> None:
    """Write breaks that come from one line of the plan, and are still the same, into that line."""
    places: list[Place] = [
        ("block", b) for b, block in enumerate(plan.blocks[:-1]) if block.break_ms is None
    ]
    now = {values.get(place, {}).get("break_s") for place in places}
    if len(now) != 1 or None in now:
        return
    for place in places:
        del values[place]["break_s"]
        if not values[place]:
            del values[place]
    values.setdefault((), {})["break_s"] = now.pop()
