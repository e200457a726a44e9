"""Advice on everybody who came, and next week's plan."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from handbell.analysis.advising import advise_class
from handbell.analysis.doubt.finding import Finding
from handbell.base.errors import UsageError
from handbell.coach.advice.limits import load_limits
from handbell.coach.advice.plan import Advice, Decision, next_plan
from handbell.coach.library.shelf import load_library
from handbell.coach.writing.edit import PlanText, read_plan, write_plan
from handbell.store import open_store
from handbell.store.classes.newest import PassedOver, newest

CAUTION = (
    "Advice is arithmetic on taps and ratings; you decide. It never speaks of pain or illness: "
    "whoever feels pain stops and asks a qualified health professional. Screening, supervision "
    "and your local rules come first."
)


@dataclass(frozen=True)
class ForEverybody:
    """What to change of an exercise in the plan: ``keys`` of its table to their new values.

    ``agree`` of ``judged`` people are of that mind, ``others`` are the bibs that are not.
    ``in_plan`` is None without a plan.
    """

    block: int
    exercise: str
    verdict: str
    change: str
    keys: Mapping[str, object]
    agree: int
    judged: int
    in_plan: bool | None
    others: tuple[int, ...]


@dataclass(frozen=True)
class ForOne:
    """What to change for one person, by which rule; ``ask`` is a question to ask them first."""

    bib: int
    name: str
    block: int
    exercise: str
    verdict: str
    rule: str
    evidence: str
    change: str
    keys: Mapping[str, object]
    ask: str
    doubts: tuple[str, ...]


@dataclass(frozen=True)
class Advised:
    """The advice on a class; ``written`` is the plan's path, None when none was asked for.

    ``tell_same``: what stays as it is is to be shown one by one, too. ``start_utc_us`` None: no
    box had a clock. ``left_out`` are sentences on names that two bibs of a class have, which
    count for neither. ``passed_over`` are newer classes, each a lone log without a clock that may
    be of another.
    """

    class_id: int
    title: str
    at_utc_us: int
    start_utc_us: int | None
    collected_utc_us: int
    everybody: tuple[ForEverybody, ...]
    people: tuple[ForOne, ...]
    findings: tuple[Finding, ...]
    written: str | None
    left_out: tuple[str, ...] = ()
    passed_over: tuple[PassedOver, ...] = ()
    tell_same: bool = False
    caution: str = CAUTION


def advise(
    class_id: int | None = None,
    plan: Path | None = None,
    out: Path | None = None,
    thresholds: Path | None = None,
    library: Path | None = None,
    store_at: str | None = None,
    *,
    tell_same: bool = False,
) -> Advised:
    """Advise on a class, the newest without an id; write ``plan`` as changed by it to ``out``.

    ``thresholds`` and ``library`` are the coach's own files, else those in the data folder.
    """
    if out is not None and plan is None:
        raise UsageError("--out needs the plan that is to be changed", "Name it with --plan")
    limits, shelf = load_limits(thresholds), load_library(library)
    text = None if plan is None else PlanText(read_plan(plan), str(plan))
    with open_store(store_at, make=False) as store:
        passed_over: tuple[PassedOver, ...] = ()
        if class_id is None:
            class_id, passed_over = newest(store)
        found = advise_class(store, class_id, shelf, limits, text)
    if text is not None and out is not None:
        write_plan(out, next_plan(found.decisions, text), None)
    return Advised(
        class_id=found.past.row.id,
        title=found.past.row.title,
        at_utc_us=found.past.at_us,
        start_utc_us=found.past.row.start_utc_us,
        collected_utc_us=found.past.row.collected_utc_us,
        everybody=tuple(_for_everybody(d, text) for d in found.decisions),
        people=tuple(_for_one(a) for a in found.advices),
        findings=found.findings,
        written=None if out is None else str(out),
        left_out=found.left_out,
        passed_over=passed_over,
        tell_same=tell_same,
    )


def _for_everybody(decision: Decision, text: PlanText | None) -> ForEverybody:
    return ForEverybody(
        block=decision.block,
        exercise=decision.name,
        verdict=decision.verdict.value,
        change=decision.step.words if decision.step else "",
        keys=decision.step.keys if decision.step else {},
        agree=decision.agree,
        judged=decision.judged,
        in_plan=None if text is None else decision.place_in(text) is not None,
        others=tuple(a.case.bib for a in decision.others),
    )


def _for_one(advice: Advice) -> ForOne:
    return ForOne(
        bib=advice.case.bib,
        name=advice.case.who,
        block=advice.case.block,
        exercise=advice.case.last.name,
        verdict=advice.ruling.verdict.value,
        rule=advice.ruling.rule,
        evidence=advice.ruling.why,
        change=advice.step.words if advice.step else "",
        keys=advice.step.keys if advice.step else {},
        ask=advice.to_ask,
        doubts=tuple(advice.case.doubts),
    )
