"""Sessions and cases for tests of advice, made by hand."""

from handbell.coach.advice.advice import Case, Session, Try
from handbell.coach.advice.limits import load_limits
from handbell_core import timeline as t

LIMITS = load_limits()


def session(reps=(10, 10, 10), goal=10, ask=t.ASK_TARGET, tap=t.TAP_EACH, rest_s=None, rating=6,
            **how):  # fmt: skip
    """A session of 30 s windows; ``rest_s`` of each round, None where the target was missed."""
    rests = rest_s if isinstance(rest_s, tuple) else (rest_s,) * len(reps)
    tries = tuple(
        Try(n + 1, 30_000, goal, r, r, None if rest is None else int(rest * 1000))
        for n, (r, rest) in enumerate(zip(reps, rests, strict=True))
    )
    return Session(1, how.pop("name", "Push-up"), ask, tap, tries, rating, **how)


def hold(kept_s=(30, 30, 30), rating=6):
    tries = tuple(Try(n + 1, 30_000, 0, held_ms=int(s * 1000)) for n, s in enumerate(kept_s))
    return Session(1, "Plank", t.ASK_HOLD, t.TAP_DROP, tries, rating)


def goal(*reps, wished=10, **how):
    return session(reps, wished, t.ASK_OPEN, **how)


def case(*sessions, **how):
    return Case("Bib 1", 1, 1, 1, tuple(sessions), **how)
