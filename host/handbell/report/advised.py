"""What to change for the next class: advice in words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from handbell.analysis.advising import ClassAdvice
from handbell.base.words import few, listed
from handbell.coach.advice.advice import Verdict
from handbell.coach.advice.plan import Advice, Decision

ADVICE_CAUTION = (
    "Advice is arithmetic on taps and answers; you decide. handbell advise says it for everybody, "
    "and writes next week's plan."
)
NAMES_SHOWN = 3
NOTHING_COUNTED = ("not-asked", "no-count")
SINGLES_SHOWN = 4  # of an exercise, so that all of it stays within a page


@dataclass(frozen=True)
class Line:
    """One change as it is said: for whom, what, and from what it follows."""

    who: str
    words: str
    why: str


@dataclass(frozen=True)
class Single:
    """A change for one person."""

    bib: int
    name: str
    exercise: str
    verdict: str
    words: str
    rule: str
    why: str
    doubtful: bool


@dataclass(frozen=True)
class Change:
    """What to change in one exercise: for all (``words`` "" if nothing), and for single people.

    ``agree`` of the ``judged`` people need what is changed for all.
    """

    block: int
    exercise: str
    verdict: str
    words: str
    agree: int
    judged: int
    singles: tuple[Single, ...]


@dataclass(frozen=True)
class Advised:
    """All of it; ``note`` says why there is no advice, "" where there is some."""

    changes: tuple[Change, ...]
    note: str


def advised_of(found: ClassAdvice) -> Advised:
    """Return what to change after a class."""
    changes = tuple(c for d in found.decisions if (c := _change(d)) is not None)
    return Advised(changes, _note(found.advices, changes))


def _change(decision: Decision) -> Change | None:
    singles = tuple(single_of(a) for a in decision.others)
    if decision.step is None and not singles:
        return None
    return Change(
        block=decision.block,
        exercise=decision.name,
        verdict=decision.verdict.value if decision.step else Verdict.SAME.value,
        words=decision.step.words if decision.step else "",
        agree=decision.agree,
        judged=decision.judged,
        singles=singles,
    )


def single_of(advice: Advice) -> Single:
    """Return one person's advice in words."""
    return Single(
        bib=advice.case.bib,
        name=advice.case.who,
        exercise=advice.case.last.name,
        verdict=advice.ruling.verdict.value,
        words=advice.step.words if advice.step else "",
        rule=advice.ruling.rule,
        why=advice.ruling.why,
        doubtful=bool(advice.case.doubts),
    )


def change_lines(change: Change) -> list[Line]:
    """Return what to say of an exercise: for all, then for people with the same step together."""
    found = []
    if change.words:
        count = f"{change.agree} of {change.judged} are ready for it"
        if change.verdict != Verdict.HARDER.value:
            count = f"{change.agree} of {change.judged} need it"
        found.append(Line("Everybody", _with_aim(change.verdict, change.words), count))
    steps: dict[str, list[Single]] = {}
    for single in change.singles:
        words = _with_aim(single.verdict, single.words)
        steps.setdefault(words, []).append(single)
    for words, some in steps.items():
        names = few([s.name for s in some], SINGLES_SHOWN)
        why = f"{some[0].why}" if len(some) == 1 else ""
        doubt = "look at the data first" if any(s.doubtful for s in some) else ""
        found.append(Line(listed(names), words or "as now", "; ".join(filter(None, (why, doubt)))))
    return found


def _with_aim(verdict: str, words: str) -> str:
    """Say first what a step is for: of another exercise its name does not tell."""
    aim = "for a change" if verdict == Verdict.SWAP.value else verdict
    return f"{aim}: {words}" if words else ""


def _note(advices: Sequence[Advice], changes: Sequence[Change]) -> str:
    """Say why there is no advice, by what kept it from being given.

    Doubt of some is not the reason for all: others may lack a second class.
    """
    if changes:
        return ""
    doubtful = [a for a in advices if a.case.doubts]
    who = listed(few(list(dict.fromkeys(a.case.who for a in doubtful)), NAMES_SHOWN))
    in_doubt = f" Data of {who} is in doubt"
    if any(a.judged for a in advices):
        no_say = f"{in_doubt} and had no say." * bool(doubtful)
        return f"Nothing needs changing: leave the plan as it is.{no_say}"
    if any(not a.case.doubts and a.ruling.rule not in NOTHING_COUNTED for a in advices):
        too_few = "No advice yet: it needs two classes in which the same was asked."
        return too_few + f"{in_doubt}." * bool(doubtful)
    if doubtful:
        doubts = list(dict.fromkeys(doubt for a in doubtful for doubt in a.case.doubts))
        more = f"; and {len(doubts) - 1} more" * (len(doubts) > 1)
        return f"No advice: the data that it would rest on is in doubt: {doubts[0]}{more}."
    return "No advice: nothing was counted that it could rest on."
