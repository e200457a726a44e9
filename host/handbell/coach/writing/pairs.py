"""What ``never_after`` says once exercises have other names.

A rule is about what the coach had there, so it goes on with what takes its place: a step of the
same ladder is as tiring as it was. It is forgotten only where the name is gone, and told then.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import product

from handbell.base.words import listed
from handbell.plan.files import parse_plan
from handbell.plan.model import Plan
from handbell.plan.own_tasks import done_by, plain

from .edit import Change, OwnTask, PlanText

KEY = "never_after"


def renamed_pairs(
    text: PlanText,
    changes: Iterable[Change],
    carries: Callable[[str, str], bool] | None = None,
    own: Sequence[OwnTask] = (),
) -> tuple[list[Change], dict[str, str]]:
    """Return the change of never_after that other changes and new own tasks need, and what to say.

    What is said is by the name that a rule had. ``carries`` says whether a rule goes on from one
    name to another; without it always. Raises PlanError where the plan would be no plan any more.
    """
    pairs, changes = text.plan.never_after, list(changes)
    names = dict.fromkeys(name for pair in pairs for name in pair)
    if names.keys().isdisjoint(_touched(text, [*(c for c in changes if "name" in c.values), *own])):
        return [], {}
    without = text.changed([*changes, Change((), {KEY: None})], own)
    became: dict[str, list[str]] = {}
    for was, now in _names(text.plan, parse_plan(without, text.name)):
        there = became.setdefault(was, [])
        if now not in there and (was == now or carries is None or carries(was, now)):
            there.append(now)
    kept = {
        new: None
        for one, other in pairs
        for new in product(became.get(one, ()), became.get(other, ()))
    }
    said = {name: _words(name, became.get(name, [])) for name in names}
    if tuple(kept) == tuple(dict.fromkeys(pairs)):
        return [], {}
    rows = [list(pair) for pair in kept]
    return [Change((), {KEY: rows or None})], {name: words for name, words in said.items() if words}


def _touched(text: PlanText, changes: Iterable[Change | OwnTask]) -> Iterator[str]:
    """Yield the names that changes may do away with: lists are called by their parts as well."""
    yield from (e.name for block in text.plan.blocks for e in block.exercises if e.parts)
    for place in {change.place[:4] for change in changes if len(change.place) >= 4}:
        table = text.at(place)
        tables = (table, *table.get("scaled", ()), *table.get("part", ()))
        yield from (one["name"] for one in tables if "name" in one)


def _words(name: str, became: list[str]) -> str:
    new = [other for other in became if other != name]
    if not became:
        return f"{KEY} no longer speaks of {name}"
    if not new:
        return ""
    beside = "besides" if name in became else "in place of"
    return f"{KEY} speaks of {listed(new)} now, {beside} {name}"


def _names(before: Plan, after: Plan) -> Iterator[tuple[str, str]]:
    """Yield every name of a plan that a rule may speak of, and what it has become for whom."""
    for old_block, new_block in zip(before.blocks, after.blocks, strict=True):
        for old, new in zip(old_block.exercises, new_block.exercises, strict=True):
            scaled = {bib for own in (*old.scaled, *new.scaled) for bib in own.bibs}
            tasks = {(plain(old), plain(new)): None}
            tasks |= {(done_by(old, bib), done_by(new, bib)): None for bib in sorted(scaled)}
            for was, now in tasks:
                if not (was.is_left_out or now.is_left_out):
                    yield was.name, now.name
                    yield from zip(was.names, now.names, strict=False)
