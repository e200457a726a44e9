"""From everybody's advice to next week's plan: what changes for all, what is for one person."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from handbell.base.errors import HandbellError, PlanError
from handbell.coach.library.names import name_key
from handbell.coach.library.shelf import Library
from handbell.coach.swap.rank import Surroundings, kit_in_use
from handbell.coach.writing.edit import Change, OwnTask, PlanText, Written
from handbell.plan.files import parse_plan
from handbell.plan.shorthands import asks_each
from handbell.plan.texts import drawable

from .advice import Case, Ruling, Verdict
from .limits import Everybody, Limits
from .rules import FLAT, advise
from .steps import Floor, Step, plan_values, step_for

NOT_JUDGED = ("not-asked", "one-class", "new-task", "no-count")


@dataclass(frozen=True)
class Advice:
    """What is advised for one case; ``step`` None when nothing changes, or nothing is known."""

    case: Case
    ruling: Ruling
    step: Step | None

    @property
    def judged(self) -> bool:
        """Whether it may have a say in what changes for all."""
        return self.ruling.rule not in NOT_JUDGED and not self.case.doubts

    @property
    def to_ask(self) -> str:
        """What to ask the person before anything else, or nothing."""
        return self.ruling.talk


@dataclass(frozen=True)
class Decision:
    """What one exercise of the plan becomes for all; ``verdict`` SAME without a step.

    ``agree`` of ``judged`` people need it; ``others`` need something else, or what they had, and
    get it only when the plan is scaled for them.
    """

    block: int
    item: int
    name: str
    verdict: Verdict
    step: Step | None
    agree: int
    judged: int
    others: tuple[Advice, ...]

    def place_in(self, text: PlanText) -> Written | None:
        """Return where a plan has it."""
        return place_of(self.name, self.block, self.item, text)


def advise_all(
    cases: Sequence[Case], library: Library, limits: Limits, text: PlanText | None = None
) -> list[Advice]:
    """Return the advice for every case; ``text`` is the plan that is to be changed."""
    names = {c.last.name for c in cases}
    names |= {w.values["name"] for w in text.exercises} if text else set()
    there = frozenset(e for e in map(library.find, names) if e is not None)
    around = Surroundings(kit_in_use(there), frozenset(e.id for e in there))
    found = []
    for case in cases:
        ruling = advise(case, limits)
        floor = _floor(case, library, around, text)
        found.append(Advice(case, ruling, step_for(case, ruling, library, limits, floor)))
    return _one_at_a_time(found)


def _one_at_a_time(advices: Sequence[Advice]) -> list[Advice]:
    """Leave each person one swap of what is flat: the one that most of the others need, too."""
    flat = [a for a in advices if a.ruling.rule == FLAT]
    need = Counter((a.case.block, a.case.item) for a in flat if a.step is not None)
    kept: dict[int, tuple[int, int]] = {}
    for place in sorted((p for p in need), key=lambda p: (-need[p], p)):
        for a in flat:
            if (a.case.block, a.case.item) == place and a.step is not None:
                kept.setdefault(a.case.bib, place)
    return [
        replace(a, ruling=replace(a.ruling, verdict=Verdict.SAME, rule="flat-too"), step=None)
        if a.ruling.rule == FLAT and kept.get(a.case.bib) != (a.case.block, a.case.item)
        else a
        for a in advices
    ]


def _floor(case: Case, library: Library, around: Surroundings, text: PlanText | None) -> Floor:
    place = None
    if text is not None:
        place = place_of(case.last.name, case.block, case.item, text)
    if text is None or place is None:
        return Floor(plan_values(case.last), around)
    known = [(w, library.find(w.values["name"])) for w in text.exercises if w.at != place.at]
    others = [(w, e) for w, e in known if e is not None]
    around = Surroundings(
        kit=around.kit,
        in_plan=frozenset(e.id for _, e in others) | around.in_plan,
        in_block=frozenset(e.id for w, e in others if w.block == place.block),
    )
    return Floor(place.values, around)


def place_of(name: str, block: int, item: int, text: PlanText) -> Written | None:
    """Return where a plan has an exercise: where it stood, or the only place of its name.

    One in a list that is gone through, or on a ladder, is not asked for by itself.
    """
    key = name_key(name)
    blocks = text.plan.blocks
    same = [
        p
        for p in text.exercises
        if not p.in_list
        and asks_each(blocks[p.block].format)
        and name_key(drawable(p.values["name"])) == key
    ]
    at = [p for p in same if p.at == (block - 1, item - 1)]
    return next(iter(at or (same if len(same) == 1 else [])), None)


def decide(advices: Sequence[Advice], limits: Everybody) -> list[Decision]:
    """Return what each exercise becomes for all, in the order of the plan."""
    by_place: dict[tuple[int, int], list[Advice]] = {}
    for advice in advices:
        by_place.setdefault((advice.case.block, advice.case.item), []).append(advice)
    return [_decision(some, limits) for _, some in sorted(by_place.items())]


def _decision(some: Sequence[Advice], limits: Everybody) -> Decision:
    judged = [a for a in some if a.judged]
    case = some[0].case
    verdict, step, agree = Verdict.SAME, None, 0
    for wanted, percent in (
        (Verdict.EASIER, limits.easier_percent),
        (Verdict.HARDER, limits.harder_percent),
        (Verdict.SWAP, limits.harder_percent),
    ):
        same = [a for a in judged if a.ruling.verdict is wanted and a.step is not None]
        needed = 100.0 if len(judged) < limits.people else percent
        if same and 100 * len(same) / len(judged) >= needed:
            verdict, step, agree = wanted, _usual(same), len(same)
            break
    others = tuple(a for a in some if a.ruling.verdict is not verdict and (step or a.step))
    name = Counter(a.case.last.name for a in some).most_common(1)[0][0]
    return Decision(case.block, case.item, name, verdict, step, agree, len(judged), others)


def _usual(advices: Sequence[Advice]) -> Step:
    """Return the step that most of them need; of equals, the first."""
    steps = [a.step for a in advices if a.step is not None]
    counts = Counter(step.rank for step in steps)
    return max(steps, key=lambda step: counts[step.rank])


# What is written into next week's plan.


def for_all(decisions: Sequence[Decision], text: PlanText) -> list[Change]:
    """Return the changes that everybody gets."""
    changes = []
    for decision in decisions:
        place = decision.place_in(text)
        if decision.step is not None and place is not None:
            keys = _fitting(decision.step, place, text)
            changes.append(Change(place.place, keys))
    return changes


def for_some(decisions: Sequence[Decision], text: PlanText) -> list[OwnTask]:
    """Return what single bibs get instead, or keep where the others get something new.

    Where a plan has tables for some bibs already they are the coach's, and stay.
    """
    there = {bib for group in text.plan.groups for bib in group.bibs}
    own_tasks = []
    for decision in decisions:
        place = decision.place_in(text)
        if place is None or "scaled" in place.values:
            continue
        step = decision.step.keys if decision.step is not None else {}
        now = place.values | step
        alike: dict[str, tuple[dict[str, object], list[int]]] = {}
        for advice in decision.others:
            own = _own_keys(advice, now)
            if own and advice.case.bib in there:
                alike.setdefault(repr(sorted(own.items())), (own, []))[1].append(advice.case.bib)
        own_tasks += [
            OwnTask(place.place, {"bibs": sorted(bibs), **own}) for own, bibs in alike.values()
        ]
    return own_tasks


def _own_keys(advice: Advice, now: dict[str, object]) -> dict[str, object]:
    """Return the keys of one person's own table, {} if it is as for the others."""
    own = plan_values(advice.case.last) | (advice.step.keys if advice.step is not None else {})
    asked = {key: own[key] for key in ("reps", "goal", "hold", "tap") if own.get(key) is not None}
    if asked == {key: now[key] for key in asked if key in now}:
        asked = {}
    named = (
        {} if name_key(str(own["name"])) == name_key(str(now["name"])) else {"name": own["name"]}
    )
    return {**named, **asked}


def _fitting(step: Step, place: Written, text: PlanText) -> dict[str, object]:
    """Return a step's keys; a list that doesn't match the block's rounds becomes its least."""
    rounds = text.plan.blocks[place.block].rounds
    return {
        key: min(value) if isinstance(value, list) and len(value) != rounds else value
        for key, value in step.keys.items()
        if value is not None or key in place.values
    }


def next_plan(decisions: Sequence[Decision], text: PlanText) -> bytes:
    """Return next week's plan: last week's text with the decisions in it, checked.

    Raises HandbellError when the plan would not pass the check any more.
    """
    from handbell.compile import build

    data = text.changed(for_all(decisions, text), for_some(decisions, text))
    try:
        build(parse_plan(data, text.name))
    except PlanError as error:
        raise HandbellError(
            f"{text.name}: with the advice in it the plan would not pass the check: "
            f"{'; '.join(error.faults)}",
            "Nothing is written; make the changes by hand",
        ) from None
    return data
