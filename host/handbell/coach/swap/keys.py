"""What the keys of an exercise become when another takes its place."""

from __future__ import annotations

from collections.abc import Iterable
from math import lcm
from typing import Any

from handbell.base.words import listed
from handbell.coach.library.entry import Entry
from handbell.coach.library.names import name_key
from handbell.coach.writing.edit import PlanText, Written
from handbell.plan.own_tasks import bibs_words
from handbell.plan.shorthands import asks_each
from handbell.plan.values import REPS_MOST

Table = dict[str, Any]
BY_SIDES = "whole on both sides"
RANGE_MS = 30_000  # the library's reps are for windows of this length
_ASKS = ("reps", "goal", "hold")


def new_keys(
    values: Table,
    old: Entry | None,
    new: Entry,
    counted: Iterable[str] = (),
    by_itself: bool = True,
    spare: bool = False,
) -> tuple[Table, list[str]]:
    """Return what keys of a plan's exercise become (None: taken out), and what to say about it.

    Windows and rests stay as they are. ``counted`` is the kit whose number the plan says. An
    exercise of a list or a ladder is not asked for ``by_itself``: it stays a hold, or none. To
    ``spare`` somebody, jumps don't get more.
    """
    keys: Table = {"name": new.name}
    said: list[str] = []
    if by_itself and new.is_hold is not values.get("hold", False):
        _change_kind(keys, said, values, new)
    if not new.is_hold:
        _scale(keys, said, values, old, new, spare)
    _change_sides(keys, said, values, old, new, by_itself)
    _change_kit(keys, said, values, old, new, {name_key(name): name for name in counted})
    if by_itself:
        _change_taps(keys, said, {**values, **keys}, old, new)
    _say_own(said, values)
    return keys, said


def kept_by_own(
    own: Table, values: Table, keys: Table, entry: Entry | None, work_ms: int
) -> tuple[Table, list[str]]:
    """Return what an own task with another name must say to stay what it was, and in words.

    What it doesn't say is everybody's, which ``keys`` change; ``entry`` is what the library knows
    of it, ``work_ms`` its shortest window.
    """
    if "name" not in own or own.get("out") or any(map(own.get, _ASKS)):
        return {}, []
    pinned: Table = {key: values[key] for key in _ASKS if key in keys and values.get(key)}
    whose = f"{bibs_words(own['bibs'])}: {own['name']}"
    if keys.get("hold") and not pinned:
        if entry is None or entry.is_hold:
            return {}, [f"{whose} is a hold now, too"]
        pinned = {"goal": least_goal(entry, work_ms)}
        return pinned, [f"{whose} gets a goal of {pinned['goal']}, else it would be a hold"]
    if not pinned:
        return {}, []
    tap = values.get("tap")
    if tap is not None and "tap" in keys and "tap" not in own and tap != "tally":
        pinned["tap"] = tap
    words = (
        "hold" if key == "hold" else f"{key} {shown(pinned[key])}" for key in _ASKS if key in pinned
    )
    return pinned, [f"{whose} keeps {listed(list(words))}"]


def least_goal(entry: Entry, work_ms: int) -> int:
    """Return the fewest reps that the library thinks sensible, even where sides take turns."""
    least = entry.reps_30s[0] * work_ms // RANGE_MS if entry.reps_30s else 1
    step = 1 if entry.sides == "both" else 2
    return max(least // step, 1) * step


def _change_kind(keys: Table, said: list[str], values: Table, new: Entry) -> None:
    keys["hold"] = new.is_hold
    if new.is_hold:
        gone = [key for key in ("reps", "goal") if key in values]
        keys |= dict.fromkeys(gone)
        said.append(f"a hold now{', without ' + gone[0] if gone else ''}")
        if values.get("tap", "none") != "none":
            keys["tap"] = None
    else:
        said.append("an open window now, no longer a hold")
        if values.get("tap") == "drop":
            keys["tap"] = "each"


def _scale(
    keys: Table, said: list[str], values: Table, old: Entry | None, new: Entry, spare: bool
) -> None:
    every, others = _every(values), [_every(own) for own in _heirs(values)]
    for key in ("reps", "goal"):
        if key not in values:
            continue
        was = values[key]
        numbers = was if isinstance(was, list) else [was]
        sides = 1 if new.sides == "both" else 2
        if old is not None and old.reps_30s is not None and new.reps_30s is not None:
            scaled = [_scaled(n, old.reps_30s, new) for n in numbers]
            why = "{} to {} in 30 s, not {} to {}".format(*new.reps_30s, *old.reps_30s)
        elif sides > 1:
            scaled, why = list(numbers), BY_SIDES
        else:
            said.append(f"{key} stay as they are")
            continue
        if spare and new.impact == "high":
            scaled = [min(pair) for pair in zip(scaled, numbers, strict=True)]
        # The box counts whole taps, so more would be owed than is said.
        step = lcm(sides, every, *others)
        if every > 1 and min(scaled) < step:
            keys["tap"] = "each"
            alike = " and both sides alike" if sides > 1 else ""
            said.append(f"a tap for each rep now: in whole taps{alike} it would be {step} or more")
            step = lcm(sides, *others)
        if min(scaled) < step:
            step = sides  # of two evils the smaller: taps that don't come out even are told
        if min(scaled) >= step:
            scaled = [n // step * step for n in scaled]
        became = scaled if isinstance(was, list) else scaled[0]
        if became != was:
            keys[key] = became
            said.append(f"{key} {shown(was)} become {shown(became)} ({why})")
        elif why == BY_SIDES:
            said.append(f"{key} stay as they are")


def _every(task: Table) -> int:
    """Return how many reps a tap counts."""
    tap = task.get("tap")
    return int(tap["every"]) if isinstance(tap, dict) else 1


def _heirs(values: Table) -> list[Table]:
    """Return the own tasks that have everybody's reps or goal but tap in their own way."""
    return [
        own for own in values.get("scaled", ()) if "tap" in own and not any(map(own.get, _ASKS))
    ]


def _scaled(reps: int, old_30s: tuple[int, int], new: Entry) -> int:
    """Return reps in proportion to the middles of two ranges, rounded half up.

    Where sides take turns both are counted, so the number is even.
    """
    assert new.reps_30s is not None
    step = 1 if new.sides == "both" else 2
    above, below = reps * sum(new.reps_30s), sum(old_30s) * step
    return min(max((2 * above + below) // (2 * below), 1) * step, REPS_MOST // step * step)


def _change_sides(
    keys: Table, said: list[str], values: Table, old: Entry | None, new: Entry, by_itself: bool
) -> None:
    has = values.get("both_sides", False)
    if new.sides == "one" and not has:
        if by_itself or "hold_s" not in values:
            keys["both_sides"] = True
            words = "sides change at half time" if by_itself else "reps are the sum of both sides"
            said.append(words)
    elif has and (new.sides == "both" or (new.sides == "alternate" and old and old.sides == "one")):
        keys["both_sides"] = False
        said.append("sides no longer change at half time" if by_itself else "one count of reps")


def _change_kit(
    keys: Table,
    said: list[str],
    values: Table,
    old: Entry | None,
    new: Entry,
    counted: dict[str, str],
) -> None:
    """Take the old exercise's kit out of the plan's ``kit``, and put in the new one's."""
    was = values.get("kit", [])
    gone = {name_key(item) for need in old.kit for item in need} if old else set()
    became = [name for name in was if name_key(name) not in gone]
    for need in new.kit:
        item = next((counted[key] for key in map(name_key, need) if key in counted), None)
        if item is not None and item not in became:
            became.append(item)
    if became == list(was):
        return
    said.append(f"kit: {', '.join(became) or 'none that is counted'}")
    if not became:
        keys["kit"] = None
    else:
        keys["kit"] = {n: was.get(n, 1) for n in became} if isinstance(was, dict) else became


def _change_taps(
    keys: Table, said: list[str], values: Table, old: Entry | None, new: Entry
) -> None:
    """Tap once at the end where single reps can no longer be tapped, or say what suits better."""
    tap = values.get("tap") or ("drop" if new.is_hold else "each")
    rule = "every" if isinstance(tap, dict) else tap
    if rule in new.taps or not (old is None or rule in old.taps or old.is_hold):
        return
    if rule in ("each", "every") and "finish" in new.taps and values.get("reps") is not None:
        keys["tap"] = "finish"
        said.append("one tap now, when all reps are made")
    else:
        said.append(f"for tap, {listed(new.taps, 'or')} would suit it better than {rule}")


def _say_own(said: list[str], values: Table) -> None:
    """Say whose reps stay, though what they are of is another exercise now."""
    for own in values.get("scaled", ()):
        for key in ("reps", "goal"):
            if key in own and "name" not in own:
                said.append(
                    f"{bibs_words(own['bibs'])}: {key} of their own stay {shown(own[key])}, "
                    "so look whether they fit"
                )


def shown(value: int | list[int]) -> str:
    """Return one number, or one for each round, as people read them."""
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def is_inside(text: PlanText, place: Written) -> bool:
    """Return whether a list or a ladder has it, so that its own keys don't say all of it."""
    return place.in_list or not asks_each(text.plan.blocks[place.block].format)


def ends_with_its_reps(text: PlanText, place: Written) -> bool:
    """Return whether a task of a turn is done with its reps, since nothing else says when."""
    every = text.plan.blocks[place.block].format == "every-minute"
    return every and "work_s" not in text.at(place.place)
