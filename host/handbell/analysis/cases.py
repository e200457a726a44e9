"""Cases for advice: each person's sessions of each exercise of the newest class, oldest first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from handbell.coach.advice.advice import Case, Flatness, Session, Try
from handbell.coach.library.names import name_key
from handbell.store.results.effort import Effort, Outcome
from handbell.store.results.sums import ExerciseSums, joined
from handbell_core import timeline as t

from .doubt.finding import Finding
from .past.history import DAY_US, Attended, PastClass, classes_of
from .sums import score_of, task_of
from .trend import WEEK_DAYS, direction_of, trend_of

FLAT_MOST = 12  # classes: what was months ago does not weigh on today

Place = tuple[int, int]  # block and item


def cases_of(
    classes: Sequence[PastClass],
    findings: Mapping[int, Sequence[Finding]] | None = None,
    most: int | None = None,
    flat_most: int = FLAT_MOST,
) -> list[Case]:
    """Return the cases of the newest class of some, given oldest first.

    Only people who came to it have any. ``findings`` by class id become the doubts of those they
    speak of. Of an exercise's sessions the last ``most`` are told, all without it: a class is read
    as a whole for each, while what is flat is seen from sums, of the last ``flat_most``.
    """
    if not classes:
        return []
    newest = classes[-1]
    return [
        case
        for who in newest.people
        if who.there
        for case in _of_person(
            who, classes_of(classes, who.person.key), findings or {}, most, flat_most
        )
    ]


def _of_person(
    who: Attended,
    history: Sequence[tuple[PastClass, Attended]],
    findings: Mapping[int, Sequence[Finding]],
    most: int | None,
    flat_most: int,
) -> Iterable[Case]:
    for place, some in _by_place(who.exercises).items():
        alike = _alike(history, some[0], place)
        read = alike[-(most or len(alike)) :]
        yield Case(
            who=who.person.name,
            bib=who.bib,
            block=place[0],
            item=place[1],
            sessions=tuple(
                session_of(one.row.id, _rounds(then, like), then.rating) for one, then, like in read
            ),
            flat=_flat(alike[-flat_most:], findings),
            doubts=_doubts(read, findings),
        )


def classes_read(classes: Sequence[PastClass], most: int) -> set[int]:
    """Return the classes, by id, that ``cases_of`` reads sessions from: findings may spoil those.

    They are found by sums alone; no class is read.
    """
    return {
        one.row.id
        for who in classes[-1].people
        if who.there
        for place, some in _by_place(who.exercises).items()
        for one, _, _ in _alike(classes_of(classes, who.person.key), some[0], place)[-most:]
    }


Alike = tuple[PastClass, Attended, list[ExerciseSums]]


def _alike(
    history: Sequence[tuple[PastClass, Attended]], like: ExerciseSums, place: Place
) -> list[Alike]:
    """Return the classes in which somebody did an exercise, with its sums in each."""
    return [
        (one, then, same)
        for one, then in history
        if (same := _same_exercise(then.exercises, like, place))
    ]


def _by_place(exercises: Iterable[ExerciseSums]) -> dict[Place, list[ExerciseSums]]:
    found: dict[Place, list[ExerciseSums]] = {}
    for one in exercises:
        found.setdefault((one.block, one.item), []).append(one)
    return found


def _same_exercise(
    exercises: Iterable[ExerciseSums], like: ExerciseSums, place: Place
) -> list[ExerciseSums]:
    """Return one class's sums of an exercise that asked for the same kind of thing.

    Where it stands in the class several times, its own place is taken, else the first.
    """
    same = _by_place(
        e for e in exercises if name_key(e.name) == name_key(like.name) and e.ask == like.ask
    )
    return same.get(place) or next(iter(same.values()), [])


def _rounds(who: Attended, some: Sequence[ExerciseSums]) -> list[Effort]:
    """Return the efforts that sums were made of."""
    places = {(e.block, e.item, e.name, e.ask) for e in some}
    return [e for e in who.efforts if (e.block, e.item, e.name, e.ask) in places]


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


def _flat(alike: Sequence[Alike], findings: Mapping[int, Sequence[Finding]]) -> Flatness | None:
    """Return how little the newest task's score moved, None where there is no trend of it."""
    known = [
        (day, score)
        for day, sums, in_doubt in _of_task(alike, findings)
        if (score := score_of(sums)) is not None and not score.bound and not in_doubt
    ]
    days = [day for day, _ in known]
    found = trend_of(days, [score.value for _, score in known])
    if found.weekly is None or found.change_percent is None or direction_of(found):
        return None
    weeks = (days[-1] - days[0]) / WEEK_DAYS
    return Flatness(len(known), found.change_percent, known[-1][1].unit, weeks)


def _of_task(
    alike: Sequence[Alike], findings: Mapping[int, Sequence[Finding]]
) -> Iterable[tuple[float, ExerciseSums, bool]]:
    """Return the classes that asked for the newest task: day, sums, and whether in doubt."""
    now = task_of(joined(alike[-1][2]))
    for one, then, like in alike:
        sums = joined(like)
        if task_of(sums) == now:
            yield one.at_us / DAY_US, sums, bool(_doubts([(one, then, like)], findings))


def _doubts(read: Iterable[Alike], findings: Mapping[int, Sequence[Finding]]) -> tuple[str, ...]:
    return tuple(
        finding.evidence
        for one, then, like in read
        for finding in findings.get(one.row.id, ())
        if any(finding.spoils(effort) for effort in _rounds(then, like))
    )
