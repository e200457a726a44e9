"""Who to talk to: one line a person, with why and what to ask, for a class and the group alike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from handbell.analysis.doubt.finding import Finding
from handbell.analysis.lately import Lately, Sort, has_it_easy, sorts_of
from handbell.analysis.past.history import PastClass
from handbell.base.times import day_of
from handbell.base.words import few, listed
from handbell.coach.advice.advice import PROFESSIONAL
from handbell.coach.advice.limits import Limits
from handbell.coach.advice.plan import Advice

SHOWN = 2  # exercises or findings of a reason, so that a line stays a line
LIST_CAUTION = f"Numbers can't tell why: ask. {PROFESSIONAL}."
SKIPPED, HELD_BACK = "skipped", "held-back"  # rules of advice
ASKS = {
    Sort.STRUGGLES: "Ask what would do: fewer reps, or an easier exercise.",
    Sort.SKIPS: "Ask why.",
    Sort.DECLINES: "Ask what has changed.",
    Sort.HARDER: "Ask what has changed.",
    Sort.FADES: "Ask whether they begin too fast.",
    Sort.AWAY: "Ask after them.",
    Sort.COASTS: "Ask what held them back; it was not the exercise alone.",
}
ASK_FOR_MORE = "Ask whether they want more."
ASK_OF_DATA = {
    "double-press": "Ask how many it were, and try the button.",
    "lumped": "Ask them to tap each rep when it is done.",
    "too-fast": "Ask how many it were.",
    "outside-windows": "Ask what touched the button.",
    "left-counting": "Ask what touched the button.",
    "tapped-for-two": "Ask who pressed.",
    "exchanged": "Ask who wore which bib.",
    "other-wearer": "Ask who wore the bib.",
}
ASK_OF_OTHER_DATA = "Ask what happened."


@dataclass(frozen=True)
class Listed:
    """Somebody to talk to. ``sort`` is the gravest reason, ``why`` what it rests on.

    ``also`` are further reasons; ``ask`` is a sentence.
    """

    bib: int
    name: str
    sort: str
    why: str
    ask: str
    also: tuple[str, ...]

    @property
    def words(self) -> str:
        """All but the name and what to ask."""
        also = "".join(f" Also {some}." for some in self.also)
        return f"{self.sort}: {self.why}.{also}"


@dataclass(frozen=True)
class _Reason:
    sort: Sort
    why: str
    ask: str
    weight: float  # of two with the same sort the heavier comes first


def one_list(
    lately: Sequence[Lately],
    advices: Sequence[Advice],
    limits: Limits,
    over_time: Mapping[str, Mapping[Sort, str]] | None = None,
) -> tuple[Listed, ...]:
    """Return a line for each person who gives reason for a word, the gravest first.

    ``advices`` are of the newest class. ``over_time`` says by a person's key what many classes
    tell; of who stays away the last ones tell nothing any more.
    """
    asked: dict[tuple[int, str], list[Advice]] = {}
    for advice in advices:
        if advice.to_ask:
            asked.setdefault((advice.case.bib, advice.case.who), []).append(advice)
    found = []
    for one in lately:
        asks = asked.get((one.bib, one.name), ())
        reasons = _reasons(one, asks, (over_time or {}).get(one.key, {}), limits)
        if reasons:
            found.append((reasons[0], one, reasons))
    order = list(Sort)
    found.sort(key=lambda line: (order.index(line[0].sort), -line[0].weight, line[1].bib))
    return tuple(
        Listed(
            bib=one.bib,
            name=one.name,
            sort=first.sort.value,
            why=first.why,
            ask=first.ask,
            also=tuple(f"{more.sort.value}: {more.why}" for more in reasons[1:]),
        )
        for first, one, reasons in found
    )


def _reasons(
    one: Lately, asked: Sequence[Advice], over_time: Mapping[Sort, str], limits: Limits
) -> list[_Reason]:
    """Return somebody's reasons, the gravest first, each sort once."""
    said = {sort: _Reason(sort, why, ASKS[sort], 0.0) for sort, why in over_time.items()}
    if Sort.AWAY not in said:
        said |= {sort: _said(sort, one, limits) for sort in sorts_of(one, limits)}
    for sort, rule in ((Sort.SKIPS, SKIPPED), (Sort.COASTS, HELD_BACK)):
        some = [a for a in asked if a.ruling.rule == rule]
        if some and sort not in said:
            said[sort] = _Reason(sort, _of_advice(some), ASKS[sort], len(some))
    return [said[sort] for sort in Sort if sort in said]


def _said(sort: Sort, one: Lately, limits: Limits) -> _Reason:
    missed = 100 - (one.met_percent or 0.0)
    if sort is Sort.FADES:
        worst = sorted(one.faded, key=lambda s: -(s.fade.percent or 0.0))
        said = [f"{s.name} by {s.fade.percent:.0f} %" for s in worst]
        return _Reason(sort, listed(few(said, SHOWN)), ASKS[sort], worst[0].fade.percent or 0.0)
    if sort is Sort.DOUBTFUL:
        some = [_doubt(past, finding, one) for past, finding in one.doubts]
        ask = ASK_OF_DATA.get(one.doubts[-1][1].name, ASK_OF_OTHER_DATA)
        return _Reason(sort, "; ".join(few(some[::-1], 1)), ask, len(some))
    if sort is Sort.COASTS and has_it_easy(one, limits):
        why = f"{_met(one)} with {one.spare_percent:.0f} % of the window left, {_how_hard(one)}"
        return _Reason(sort, why, ASK_FOR_MORE, 0.0)
    return _Reason(sort, f"{_met(one)}, {_how_hard(one)}", ASKS[sort], missed)


def _met(one: Lately) -> str:
    over = f"over {one.classes} classes " if one.classes > 1 else ""
    return f"{over}{one.made} of {one.judged} met"


def _how_hard(one: Lately) -> str:
    return f"how hard: {listed(map(str, one.ratings)) or 'no answer'}"


def _doubt(past: PastClass, finding: Finding, one: Lately) -> str:
    names = {who.bib: who.person.name for who in past.people}
    others = [names.get(bib, f"Bib {bib}") for bib in finding.bibs if names.get(bib) != one.name]
    beside = f" (with {listed(others)})" if others else ""
    when = f"{day_of(past.day)}: " if one.classes > 1 else ""
    return f"{when}{finding.evidence}{beside}"


def _of_advice(some: Sequence[Advice]) -> str:
    first, *others = some
    names = listed(few([a.case.last.name for a in others], SHOWN))
    return f"{first.case.last.name}: {first.ruling.why}" + f"; so {names}" * bool(others)
