"""Cases for advice: each person's sessions of each exercise of the newest class, oldest first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from handbell.coach.advice import Case, Flatness, Session, Try
from handbell.coach.library_names import name_key
from handbell_core import timeline as t

from .efforts import Effort, Outcome
from .history import Attended, PastClass, classes_of
from .suspicion import Finding
from .trend import trend_of

DAY_US = 86_400_000_000

Place = tuple[int, int]  # block and item


def cases_of(
    classes: Sequence[PastClass], findings: Mapping[int, Sequence[Finding]] | None = None
) -> list[Case]:
    """Return the cases of the newest class of some, given oldest first.

    Only people who came to it have any. ``findings`` by class id become the doubts of those they
    speak of.
    """
    if not classes:
        return []
    newest = classes[-1]
    return [
        case
        for who in newest.people
        if who.there
        for case in _of_person(who, classes_of(classes, who.person.key), findings or {})
    ]


def _of_person(
    who: Attended,
    history: Sequence[tuple[PastClass, Attended]],
    findings: Mapping[int, Sequence[Finding]],
) -> Iterable[Case]:
    for place, rounds in _by_place(who.efforts).items():
        sessions, days = [], []
        for one, then in history:
            found = _same_exercise(then.efforts, rounds[0], place)
            if found:
                sessions.append(session_of(one.row.id, found, then.rating))
                days.append(one.at_us / DAY_US)
        yield Case(
            who=who.person.name,
            bib=who.bib,
            block=place[0],
            item=place[1],
            sessions=tuple(sessions),
            flat=_flat(sessions, days),
            doubts=_doubts(history[-2:], findings, rounds[0].name),
        )


def _by_place(efforts: Iterable[Effort]) -> dict[Place, list[Effort]]:
    found: dict[Place, list[Effort]] = {}
    for effort in efforts:
        found.setdefault((effort.block, effort.item), []).append(effort)
    return found


def _same_exercise(efforts: Iterable[Effort], like: Effort, place: Place) -> list[Effort]:
    """Return one class's rounds of an exercise that asked for the same kind of thing.

    Where it stands in the class several times, its own place is taken, else the first.
    """
    same = _by_place(
        e for e in efforts if name_key(e.name) == name_key(like.name) and e.ask == like.ask
    )
    return same.get(place) or next(iter(same.values()), [])


def session_of(class_id: int, rounds: Sequence[Effort], rating: int | None) -> Session:
    """Return one person's rounds of one exercise as the rules of advice take them."""
    first = rounds[0]
    return Session(
        class_id=class_id,
        name=first.name,
        ask=first.ask,
        tap=first.tap,
        tries=tuple(_try(e) for e in rounds),
        rating=rating,
        both_sides=first.both_sides,
    )


def _try(e: Effort) -> Try:
    read = e.outcome is Outcome.DONE and e.confirmed
    reps_most = e.reps
    if read and e.reps is not None:
        if e.tap == t.TAP_FINISH:
            reps_most = e.goal if e.made else max(e.goal - 1, 0)
        elif e.tap == t.TAP_EVERY:
            # Reps after the last tap are not known; a target made has none.
            reps_most = e.reps if e.ask == t.ASK_TARGET and e.made else e.reps + e.every - 1
    return Try(
        round=e.round,
        window_ms=e.end_ms - e.start_ms,
        goal=e.goal,
        reps=e.reps,
        reps_most=reps_most,
        rest_ms=e.earned_rest_ms,
        held_ms=e.held_ms,
        read=read,
        skipped=e.outcome is Outcome.SKIPPED,
    )


def _flat(sessions: Sequence[Session], days: Sequence[float]) -> Flatness | None:
    """Return how little the newest task's score moved, None where there is no trend of it."""
    alike = [
        (day, score)
        for day, s in zip(days, sessions, strict=True)
        if s.task == sessions[-1].task and s.read and (score := score_of(s)) is not None
    ]
    alike = [one for one in alike if one[1][1] == alike[-1][1][1]]
    found = trend_of([day for day, _ in alike], [score[0] for _, score in alike])
    if found.weekly is None or found.change_percent is None or found.weekly.sure:
        return None
    return Flatness(len(alike), found.change_percent, alike[-1][1][1])


def score_of(session: Session) -> tuple[float, str] | None:
    """Return one number for a session, and what it is; None where the taps tell none.

    Seconds held, seconds to the target where all were made, else reps.
    """
    tries = session.tries
    if session.ask == t.ASK_HOLD:
        held = [e.held_ms for e in tries if e.held_ms is not None]
        return (sum(held) / 1000, "seconds held") if len(held) == len(tries) else None
    times = [e.window_ms - e.rest_ms for e in tries if e.rest_ms is not None]
    if session.ask == t.ASK_TARGET and len(times) == len(tries):
        return sum(times) / 1000, "time to the target"
    if session.tap == t.TAP_FINISH or any(e.reps is None for e in tries):
        return None
    return float(sum(e.reps or 0 for e in tries)), "reps"


def _doubts(
    history: Iterable[tuple[PastClass, Attended]],
    findings: Mapping[int, Sequence[Finding]],
    name: str,
) -> tuple[str, ...]:
    return tuple(
        finding.evidence
        for one, then in history
        for finding in findings.get(one.row.id, ())
        if then.bib in finding.bibs and finding.spoils(name)
    )
