"""Advice on a class: its people's cases, what is doubtful about them, and what the plan becomes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handbell.base.errors import PlanError
from handbell.coach.advice.limits import Limits
from handbell.coach.advice.plan import Advice, Decision, advise_all, decide
from handbell.coach.advice.rules import FLAT
from handbell.coach.library.shelf import Library
from handbell.coach.writing.edit import PlanText
from handbell.store import Store
from handbell.store.logs.blocks import plan_source

from .cases import FLAT_MOST, cases_of, classes_read
from .doubt.doubts import Doubts
from .doubt.finding import Finding
from .past.history import PastClass, left_out, past_classes

WEEKS = 26  # before a class, that advice on it rests on
LOOKED_AT = 2  # the rules look at so many of somebody's last classes


@dataclass(frozen=True)
class ClassAdvice:
    """All the advice on a class; ``findings`` are of that class alone."""

    past: PastClass
    advices: tuple[Advice, ...]
    decisions: tuple[Decision, ...]
    findings: tuple[Finding, ...]
    left_out: tuple[str, ...]


def advise_class(
    store: Store,
    class_id: int,
    library: Library,
    limits: Limits,
    text: PlanText | None = None,
) -> ClassAdvice:
    """Return the advice on a class; raises StoreError if there is none.

    ``text`` is the plan that is to be changed, so that steps fit what else is in it; without one it
    is the plan that the class was played by.
    """
    classes = past_classes(store, class_id, WEEKS)
    return advise_last(store, classes, library, limits, Doubts(store, classes, library), text)


def advise_last(
    store: Store,
    classes: Sequence[PastClass],
    library: Library,
    limits: Limits,
    doubts: Doubts,
    text: PlanText | None = None,
) -> ClassAdvice:
    """Return the advice on the last of some classes, oldest first; as ``advise_class`` in all else.

    Those of WEEKS before it should be there; ``doubts`` are those of these classes at least.
    """
    most = looked_at(limits)
    text = text or _own_text(store, classes[-1])
    findings = doubts.of(needed_by(classes, most))
    flat_most = max(FLAT_MOST, limits.flat.classes)
    cases = cases_of(classes, findings, most, flat_most)
    advices = advise_all(cases, library, limits, text)
    if any(a.ruling.rule == FLAT for a in advices):
        # What is flat rests on more classes than the other rules look at.
        findings |= doubts.of(classes_read(classes, flat_most))
        cases = cases_of(classes, findings, most, flat_most)
        advices = advise_all(cases, library, limits, text)
    return ClassAdvice(
        past=classes[-1],
        advices=tuple(advices),
        decisions=tuple(decide(advices, limits.everybody)),
        findings=tuple(findings[classes[-1].row.id]),
        left_out=tuple(left_out(classes)),
    )


def _own_text(store: Store, past: PastClass) -> PlanText | None:
    """Return the plan that a class was played by, None where its text is not known or too old."""
    source = plan_source(store, past.row.plan)
    try:
        return PlanText(source.encode(), past.row.title) if source else None
    except PlanError:
        return None


def looked_at(limits: Limits) -> int:
    """Return how many of an exercise's last sessions the rules look at, ``flat`` left out."""
    rules = [rule for name, rule in limits if name != "flat"]
    return max(LOOKED_AT, *(getattr(rule, "classes", 0) for rule in rules))


def needed_by(classes: Sequence[PastClass], most: int) -> set[int]:
    """Return the classes, by id, whose findings advice on the newest looks at.

    ``most`` is of how many sessions each exercise's cases are made.
    """
    return {classes[-1].row.id} | classes_read(classes, most)
