"""The rules of advice, each by its name; a table says which is asked first.

Two-for-two is published; the others are our own: docs/engineers/analysis.md gives reasons.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from statistics import median

from handbell_core import timeline as t

from .advice import PROFESSIONAL, Case, Ruling, Session, Try, Verdict
from .limits import Limits

FLAT = "flat"

Rule = Callable[[Case, Limits], Ruling | None]


def advise(case: Case, limits: Limits) -> Ruling:
    """Return what the first rule says that has something to say."""
    for rule in RULES:
        ruling = rule(case, limits)
        if ruling is not None:
            return ruling
    return _nothing(case)


def skipped(case: Case, limits: Limits) -> Ruling | None:
    """Windows taken out at the box, class after class: a reason that no tap can tell."""
    last = case.sessions[-limits.skipped.classes :]
    if len(last) < limits.skipped.classes or not all(any(e.skipped for e in s.tries) for s in last):
        return None
    count = sum(e.skipped for s in last for e in s.tries)
    why = f"skipped {count} windows in {len(last)} classes; taps can't tell why"
    return Ruling(Verdict.SAME, "skipped", why, f"Ask {case.who} why. {PROFESSIONAL}")


def doubtful(case: Case, limits: Limits) -> Ruling | None:
    """Data that may not be what it looks like changes nothing: what it shows may be the doubt."""
    if not case.doubts:
        return None
    return Ruling(Verdict.SAME, "doubtful", f"its data is in doubt: {case.doubts[0]}")


def two_for_two(case: Case, limits: Limits) -> Ruling | None:
    """Goal beaten by two or more in the last set of two classes in a row.

    Baechle & Earle, Essentials of Strength Training and Conditioning (quoted).
    """
    last = _with_goal(case, limits.two_for_two.classes)
    if last is None:
        return None
    over = [(s.tries[-1].reps or 0) - s.tries[-1].goal for s in last]
    if min(over) < limits.two_for_two.reps_over:
        return None
    sets = " and ".join(str(s.tries[-1].reps) for s in last)
    why = f"last rounds {sets} with a goal of {last[-1].tries[-1].goal}"
    return Ruling(Verdict.HARDER, "two-for-two", why)


def short_of_goal(case: Case, limits: Limits) -> Ruling | None:
    """Goal missed by two or more in the last set of two classes in a row: two-for-two mirrored."""
    last = _with_goal(case, limits.short_of_goal.classes)
    if last is None or min(s.tries[-1].short for s in last) < limits.short_of_goal.reps_under:
        return None
    sets = " and ".join(str(s.tries[-1].reps) for s in last)
    why = f"last rounds {sets} with a goal of {last[-1].tries[-1].goal}"
    return _unless_held_back(case, last, limits, "short-of-goal", why)


def earned_rest(case: Case, limits: Limits) -> Ruling | None:
    """Every target made with much rest to spare, and not called hard."""
    own = limits.earned_rest
    last = _read(case, own.classes, t.ASK_TARGET)
    if last is None or any(e.rest_ms is None for s in last for e in s.tries):
        return None
    if any(s.rating is not None and s.rating > own.rating_most for s in last):
        return None
    least = [min(100 * (e.rest_ms or 0) / e.window_ms for e in s.tries) for s in last]
    unrated = any(s.rating is None for s in last)
    if min(least) < (own.rest_percent_unrated if unrated else own.rest_percent):
        return None
    left = " and ".join(f"{share:.0f} %" for share in least)
    why = f"every target made; at least {left} of the window left, how hard: {_ratings(last)}"
    return Ruling(Verdict.HARDER, "earned-rest", why)


def missed(case: Case, limits: Limits) -> Ruling | None:
    """Most targets missed."""
    last = _read(case, limits.missed.classes, t.ASK_TARGET)
    if last is None:
        return None
    made = [sum(e.made is True for e in s.tries) for s in last]
    if any(
        100 * count / len(s.tries) >= limits.missed.made_percent
        for count, s in zip(made, last, strict=True)
    ):
        return None
    counts = " and ".join(f"{c} of {len(s.tries)}" for c, s in zip(made, last, strict=True))
    return _unless_held_back(case, last, limits, "missed", f"targets made: {counts}")


def faded(case: Case, limits: Limits) -> Ruling | None:
    """The first round made, the last one short by much: it is the late rounds that ask too much."""
    last = _read(case, limits.faded.classes, t.ASK_TARGET, t.ASK_OPEN)
    if last is None or case.last.tap == t.TAP_FINISH or len(case.last.tries) < 2:
        return None  # without a count of what was done there is nothing to lower it to
    for s in last:
        first, end = s.tries[0], s.tries[-1]
        if not first.made or 100 * end.short < limits.faded.short_percent * end.goal:
            return None
    sets = " and ".join("-".join(str(e.reps) for e in s.tries) for s in last)
    why = f"first rounds made, last ones not: {sets} of {_goal_words(last[-1])}"
    return _unless_held_back(case, last, limits, "faded", why, _within_reach(last))


def _within_reach(last: Sequence[Session]) -> tuple[int, ...]:
    """Return each round's goal where it was always made, else the reps done there."""
    reach = []
    for rounds in zip(*(s.tries for s in last), strict=True):
        done = int(median(e.reps or 0 for e in rounds))
        reach.append(rounds[-1].goal if all(e.made for e in rounds) else max(done, 1))
    return tuple(reach)


def kept(case: Case, limits: Limits) -> Ruling | None:
    """A position kept to the end in every round, by people who answered that it wasn't hard.

    Nobody tapping looks the same as nobody letting go, so without ratings it says nothing.
    """
    own = limits.held
    last = _read(case, own.classes, t.ASK_HOLD)
    if last is None or any(e.held_ms != e.window_ms for s in last for e in s.tries):
        return None
    if any(s.rating is None or s.rating > own.rating_most for s in last):
        return None
    why = f"kept to the end in every round of {len(last)} classes, how hard: {_ratings(last)}"
    return Ruling(Verdict.HARDER, "kept", why)


def let_go(case: Case, limits: Limits) -> Ruling | None:
    """A position let go early in the last round."""
    last = _read(case, limits.held.classes, t.ASK_HOLD)
    if last is None:
        return None
    shares = [100 * (s.tries[-1].held_ms or 0) / s.tries[-1].window_ms for s in last]
    if max(shares) >= limits.held.kept_percent:
        return None
    seconds = " and ".join(f"{(s.tries[-1].held_ms or 0) / 1000:.0f} s" for s in last)
    why = f"last round kept for {seconds} of {last[-1].tries[-1].window_ms / 1000:.0f} s"
    return _unless_held_back(case, last, limits, "let-go", why)


def flat(case: Case, limits: Limits) -> Ruling | None:
    """The same numbers for many weeks: another exercise of the pattern may move something.

    Only of what was meant to rise: a target or goal that is met and a hold that is kept are done
    as they should be.
    """
    found, own = case.flat, limits.flat
    if found is None or found.classes < own.classes or found.weeks < own.weeks:
        return None
    if abs(found.change_percent) >= own.change_percent or all(map(_met, case.last.tries)):
        return None
    why = f"{found.score} changed by {found.change_percent:+.1f} % over {found.classes} classes"
    return Ruling(Verdict.SWAP, FLAT, why)


def _met(each: Try) -> bool:
    return each.made is True or (each.held_ms is not None and each.held_ms >= each.window_ms)


# The first that speaks is taken: what to ask about before what to change.
RULES: tuple[Rule, ...] = (
    skipped,
    doubtful,
    two_for_two,
    earned_rest,
    kept,
    faded,
    short_of_goal,
    missed,
    let_go,
    flat,
)


def _with_goal(case: Case, classes: int) -> Sequence[Session] | None:
    """Return the last sessions, if open with the same goal and their last sets can be judged."""
    last = case.alike(classes)
    if last is None or case.last.ask != t.ASK_OPEN:
        return None
    return last if all(s.tries[-1].made is not None for s in last) else None


def _read(case: Case, classes: int, *asks: int) -> Sequence[Session] | None:
    """Return the last sessions, if of the same task and every window can be judged."""
    last = case.alike(classes)
    if last is None or case.last.ask not in asks:
        return None
    return last if all(s.read for s in last) else None


def _unless_held_back(
    case: Case,
    last: Sequence[Session],
    limits: Limits,
    rule: str,
    why: str,
    late_goals: tuple[int, ...] = (),
) -> Ruling:
    """Return easier; or, where little was done and called easy, to ask what held them back."""
    ratings = [s.rating for s in last if s.rating is not None]
    if len(ratings) == len(last) and max(ratings) <= limits.held_back.rating_most:
        talk = f"Ask {case.who} what held them back; it was not the exercise alone. {PROFESSIONAL}"
        return Ruling(Verdict.SAME, "held-back", f"{why}, but how hard: {_ratings(last)}", talk)
    return Ruling(Verdict.EASIER, rule, f"{why}, how hard: {_ratings(last)}", "", late_goals)


def _goal_words(session: Session) -> str:
    return "-".join(map(str, session.goals if len(set(session.goals)) > 1 else session.goals[:1]))


def _ratings(last: Sequence[Session]) -> str:
    said = ["no answer" if s.rating is None else str(s.rating) for s in last]
    return said[0] if set(said) == {"no answer"} else " and ".join(said)


def _nothing(case: Case) -> Ruling:
    return Ruling(Verdict.SAME, *_why_nothing(case))


def _why_nothing(case: Case) -> tuple[str, str]:
    last, tries = case.last, case.last.tries
    if last.tap == t.TAP_NONE:
        return "not-asked", "nobody was asked to tap"
    if len(case.sessions) < 2:
        return "one-class", "only one class so far"
    if case.alike(2) is None:
        return "new-task", "it was changed since the class before; let it settle"
    if not any(e.read for e in tries):
        return "no-count", "the last class has no count of it"
    return "steady", _done(last, tries)


def _done(last: Session, tries: Sequence[Try]) -> str:
    if last.ask == t.ASK_HOLD:
        seconds = ("?" if e.held_ms is None else f"{e.held_ms / 1000:.0f}" for e in tries)
        return "kept for " + "-".join(seconds) + " s"
    made = f"{sum(e.made is True for e in tries)} of {len(tries)} made"
    if last.tap == t.TAP_FINISH:
        return made
    unit = " legs" if last.tap == t.TAP_LEG else " reps"
    reps = "-".join("?" if e.reps is None else str(e.reps) for e in tries) + unit
    return f"{reps}, {made}" if tries[-1].goal else reps
