"""Fade: how much a series of equal efforts falls off from its best, in percent.

A score from a small drop-off is unreliable, so mean and best always stand beside it (Oliver 2009,
doi 10.1016/j.jsams.2007.10.010; abstract read). An incomplete set is never scored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from handbell.store.results.effort import Effort, Outcome
from handbell_core import timeline as t

NO_FADE = "no fade"
# From when on somebody is named for a fade: our own choice, no source. A score from a small
# drop-off is unreliable (above).
MARKED_PERCENT = 5.0
MARKED_LOST = 3  # reps, or seconds, from the first round to the last


class Form(Enum):
    """What a fade is computed from."""

    REPS = "reps"
    TIMES = "finishing times"
    HELD = "held times"


@dataclass(frozen=True)
class Fade:
    """The fade of one bib in one exercise. ``percent`` is None with a ``reason`` in words.

    ``mean`` and ``best`` are reps, or ms for times; None when there is nothing to average.
    """

    form: Form | None
    percent: float | None
    mean: float | None
    best: float | None
    reason: str = ""


def decrement_of_reps(counts: Sequence[float]) -> float | None:
    """Return the percent decrement of counts where more is better; None if it can't be scored.

    100 x (1 - total / (n x best)): Fitzsimons et al. 1993 (from memory, not seen), the form for
    numbers of which higher is better. Needs two counts and a best above 0.
    """
    if len(counts) < 2 or max(counts) <= 0:
        return None
    if min(counts) == max(counts):
        return 0.0
    return 100 * (1 - sum(counts) / (len(counts) * max(counts)))


def decrement_of_times(times: Sequence[float]) -> float | None:
    """Return the percent decrement of times where less is better; None if it can't be scored.

    100 x total / (n x best) - 100, the best being the fastest of the set and not the first:
    Glaister et al. 2008, J Strength Cond Res 22(5):1597-1601 (as quoted by others). Needs two
    times above 0.
    """
    if len(times) < 2 or min(times) <= 0:
        return None
    if min(times) == max(times):
        return 0.0
    return 100 * sum(times) / (len(times) * min(times)) - 100


def fade_of(series: Sequence[Effort], doubtful: bool = False) -> Fade:
    """Return the fade of one bib's rounds of one exercise, given in order; none of doubtful data.

    Finishing times are used where every target was made, else counts; held times for a position.
    Where the last round is no worse than the first there is none, however uneven they were; times
    are compared in the whole seconds in which they are told.
    """
    scored = [e for e in series if e.outcome is Outcome.DONE]
    form, values = _values(scored)
    mean = sum(values) / len(values) if values else None
    best = None
    if values:
        best = min(values) if form is Form.TIMES else max(values)
    reason = _why_not(series, scored, form, values)
    if doubtful and not reason:
        reason = "data in doubt"
    if reason:
        return Fade(form, None, mean, best, reason)
    if values and max(values) > 0 and not _fell(form, values):
        return Fade(form, None, mean, best, NO_FADE)
    score = decrement_of_times if form is Form.TIMES else decrement_of_reps
    percent = score(values)
    return Fade(form, percent, mean, best, "" if percent is not None else "nothing counted")


def whole_seconds(ms: float) -> int:
    """Return a round's time as it is told in a row of them."""
    return round(ms / 1000)


def _fell(form: Form | None, values: Sequence[float]) -> bool:
    """Whether the last is worse than the first."""
    return _lost(form, values[0], values[-1]) > 0


def is_marked(fade: Fade, series: Sequence[Effort]) -> bool:
    """Whether a fade is large enough to name somebody for it: a rep or two is no fade."""
    if fade.percent is None or fade.percent < MARKED_PERCENT:
        return False
    values = _values(series)[1]
    return _lost(fade.form, values[0], values[-1]) >= MARKED_LOST


def _lost(form: Form | None, first: float, last: float) -> float:
    """Return by how much the last round is worse than the first, in reps or whole seconds."""
    if form is Form.REPS:
        return first - last
    by_s = whole_seconds(last) - whole_seconds(first)
    return by_s if form is Form.TIMES else -by_s


def _values(scored: Sequence[Effort]) -> tuple[Form | None, list[float]]:
    if not scored or scored[0].tap == t.TAP_LEG:
        return None, []
    held = [e.held_ms for e in scored if e.held_ms is not None]
    if scored[0].ask == t.ASK_HOLD:
        return Form.HELD, [float(ms) for ms in held]
    times = [e.finish_ms for e in scored if e.finish_ms is not None]
    if scored[0].ask == t.ASK_TARGET and len(times) == len(scored):
        return Form.TIMES, [float(ms) for ms in times]
    if scored[0].tap == t.TAP_FINISH:
        return Form.TIMES, [float(ms) for ms in times]
    return Form.REPS, [float(e.reps) for e in scored if e.reps is not None]


def _why_not(
    series: Sequence[Effort], scored: Sequence[Effort], form: Form | None, values: list[float]
) -> str:
    if not series or all(e.outcome is Outcome.NOT_ASKED for e in series):
        return "not asked"
    if series[0].tap == t.TAP_LEG:
        return "legs go in turn"
    if len(series) < 2:
        return "only one round"
    if len({(e.end_ms - e.start_ms, e.goal) for e in series}) > 1:
        return "rounds differ"
    if len(scored) < len(series):
        return "incomplete set"
    if form is Form.TIMES and len(values) < len(series):
        return "not always made"
    return ""
