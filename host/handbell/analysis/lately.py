"""How somebody does: struggles, coasts, fades, or whose data is doubtful, from their last classes.

The limits are our own, no source; docs/engineers/analysis.md says what each finds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from statistics import median

from handbell.coach.advice.limits import Limits
from handbell.store.results.effort import Effort

from .doubt.finding import OF_BOX, Finding
from .fade import NO_FADE
from .past.history import Attended, PastClass
from .summary import Series, exercises_of

WINDOWS_LEAST = 4  # windows that can be judged
COASTS_PERCENT = 75.0  # of them met, by somebody who calls it easy
FADES_PERCENT = 10.0  # of an exercise
FADES_LEAST = 2  # exercises, and half of those that a fade can be told of

Findings = Mapping[int, Sequence[Finding]]  # by class id


class Sort(Enum):
    """Why somebody is on the list, the gravest first; those of many classes come with the group."""

    STRUGGLES = "struggles"
    SKIPS = "skips"
    DECLINES = "goes down"
    HARDER = "rates classes harder and harder"
    FADES = "fades"
    COASTS = "coasts"
    AWAY = "stays away"
    DOUBTFUL = "data in doubt"


@dataclass(frozen=True)
class Lately:
    """What somebody's last classes come to, oldest first, all without what is in doubt.

    ``made`` of the ``judged`` windows with a target, goal or hold. ``spare_percent`` is what was
    left of the window in the middle of the targets made. ``faded`` are those of the ``scored``
    series that fade. ``doubts`` are the findings on their data, with the class.
    """

    key: str
    bib: int
    name: str
    classes: int
    made: int
    judged: int
    ratings: tuple[int, ...]
    spare_percent: float | None
    faded: tuple[Series, ...]
    scored: int
    doubts: tuple[tuple[PastClass, Finding], ...]

    @property
    def met_percent(self) -> float | None:
        """Return how many windows were met, None where too few can be judged."""
        return 100 * self.made / self.judged if self.judged >= WINDOWS_LEAST else None


def lately_of(
    classes: Sequence[PastClass], findings: Callable[[set[int]], Findings], most: int
) -> list[Lately]:
    """Return everybody over the last ``most`` classes that each came to.

    ``findings`` gives those of classes by id, and is asked once, for all that are taken.
    """
    came: dict[str, list[tuple[PastClass, Attended]]] = {}
    for past in classes:
        for who in past.people:
            if who.there:
                came.setdefault(who.person.key, []).append((past, who))
    own = [history[-most:] for history in came.values()]
    found = findings({past.row.id for history in own for past, _ in history})
    return [_lately(history, found) for history in own]


def _lately(history: Sequence[tuple[PastClass, Attended]], findings: Findings) -> Lately:
    last = history[-1][1]
    sure: list[Effort] = []
    scored: list[Series] = []
    doubts: list[tuple[PastClass, Finding]] = []
    for past, who in history:
        own = [f for f in findings.get(past.row.id, ()) if who.bib in f.bibs]
        doubts += [(past, f) for f in own if f.name not in OF_BOX]

        def doubtful(effort: Effort, own: Sequence[Finding] = own) -> bool:
            return any(f.spoils(effort) for f in own)

        sure += [e for e in who.efforts if not doubtful(e)]
        exercises = exercises_of(who.efforts, doubtful)
        scored += [s for e in exercises for s in e.series if _scored(s)]
    judged = [e for e in sure if e.made is not None]
    spare = [100 * e.earned_rest_ms / (e.end_ms - e.start_ms) for e in judged if e.earned_rest_ms]
    return Lately(
        key=last.person.key,
        bib=last.bib,
        name=last.person.name,
        classes=len(history),
        made=sum(bool(e.made) for e in judged),
        judged=len(judged),
        ratings=tuple(who.rating for _, who in history if who.rating is not None),
        spare_percent=median(spare) if spare else None,
        faded=tuple(s for s in scored if (s.fade.percent or 0.0) >= FADES_PERCENT),
        scored=len(scored),
        doubts=tuple(doubts),
    )


def _scored(series: Series) -> bool:
    return series.fade.percent is not None or series.fade.reason == NO_FADE


def sorts_of(one: Lately, limits: Limits) -> list[Sort]:
    """Return what the numbers say of somebody, the gravest first; nothing of what they skip."""
    found = []
    met, easy = one.met_percent, called_easy(one, limits)
    if met is not None and met < limits.missed.made_percent and not easy:
        found.append(Sort.STRUGGLES)
    if len(one.faded) >= max(FADES_LEAST, one.scored / 2):
        found.append(Sort.FADES)
    if met is not None and easy and (met < COASTS_PERCENT or has_it_easy(one, limits)):
        found.append(Sort.COASTS)
    if one.doubts:
        found.append(Sort.DOUBTFUL)
    return found


def called_easy(one: Lately, limits: Limits) -> bool:
    """Whether they rated, and never above what counts as easy."""
    return bool(one.ratings) and max(one.ratings) <= limits.held_back.rating_most


def has_it_easy(one: Lately, limits: Limits) -> bool:
    """Whether all was met, with much of the window left."""
    spare = one.spare_percent
    return one.made == one.judged and spare is not None and spare >= limits.earned_rest.rest_percent
