"""Fade: how far a series of equal efforts stays below its best one repeated, in percent.

One measure for all forms: reps, seconds held, and for a target its pace, in which a round that was
made goes over into one that was not without a jump. A score from a small drop-off is unreliable,
so mean and best always stand beside it (Oliver 2009, doi 10.1016/j.jsams.2007.10.010; abstract
read). An incomplete set is never scored. docs/engineers/analysis.md says why it is this one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from handbell.store.results.effort import MINUTE_MS, Effort, Outcome
from handbell_core import timeline as t

NO_FADE = "no fade"
# From when on somebody is named for a fade: our own choice, no source. A score from a small
# drop-off is unreliable (above).
MARKED_PERCENT = 5.0
MARKED_LOST = 3  # reps, or seconds, from the first round to the last


class Form(Enum):
    """What a fade is computed from, and the unit of its mean and best."""

    REPS = "reps"
    PACE = "reps/min"
    HELD = "s"


@dataclass(frozen=True)
class Fade:
    """The fade of one bib in one exercise. ``percent`` is None with a ``reason`` in words.

    ``mean`` and ``best`` are in the form's unit, None when there is nothing to average.
    ``at_least``: of a round only a bound is known, so it may be more.
    """

    form: Form | None
    percent: float | None
    mean: float | None
    best: float | None
    reason: str = ""
    at_least: bool = False


def decrement(values: Sequence[float]) -> float | None:
    """Return the percent decrement of values where more is better; None if it can't be scored.

    100 x (1 - total / (n x best)): Fitzsimons et al. 1993 (from memory, not seen), the form for
    numbers of which higher is better. Needs two values and a best above 0.
    """
    if len(values) < 2 or max(values) <= 0:
        return None
    if min(values) == max(values):
        return 0.0
    return 100 * (1 - sum(values) / (len(values) * max(values)))


def fade_of(series: Sequence[Effort], doubtful: bool = False) -> Fade:
    """Return the fade of one bib's rounds of one exercise, given in order; none of doubtful data.

    Where the last round is no worse than the first there is none, however uneven they were; times
    are compared in the whole seconds in which they are told.
    """
    form = _form(series)
    scored = [e for e in series if e.outcome is Outcome.DONE and e.confirmed]
    values = [value for e in scored if (value := _value(e, form)) is not None]
    mean = sum(values) / len(values) if values else None
    best = max(values, default=None)
    reason = _why_not(series, scored, form)
    if doubtful and not reason:
        reason = "data in doubt"
    if reason:
        return Fade(form, None, mean, best, reason)
    if best and _worse(scored[-1], form) <= _worse(scored[0], form):
        return Fade(form, None, mean, best, NO_FADE)
    percent = decrement(values)
    if percent is None:
        return Fade(form, None, mean, best, "nothing counted")
    return Fade(form, percent, mean, best, "", any(_bounded(e, form) for e in scored))


def whole_seconds(ms: float) -> int:
    """Return a round's time as it is told in a row of them."""
    return round(ms / 1000)


def is_marked(fade: Fade, series: Sequence[Effort]) -> bool:
    """Whether a fade is large enough to name somebody for it: a rep or two is no fade.

    Of a target that was not made it is known that it took the whole window at least.
    """
    if fade.percent is None or fade.percent < MARKED_PERCENT:
        return False
    first, last = series[0], series[-1]
    if fade.form is Form.PACE:
        slower_s = whole_seconds(_least_ms(last)) - whole_seconds(_least_ms(first))
        if slower_s >= MARKED_LOST:
            return True
        return last.tap != t.TAP_FINISH and _most(first) - _most(last) >= MARKED_LOST
    if fade.form is Form.HELD:
        return whole_seconds(first.held_ms or 0) - whole_seconds(last.held_ms or 0) >= MARKED_LOST
    return (first.reps or 0) - (last.reps or 0) >= MARKED_LOST


def _form(series: Sequence[Effort]) -> Form | None:
    if not series or series[0].tap == t.TAP_LEG:
        return None
    forms = {t.ASK_HOLD: Form.HELD, t.ASK_TARGET: Form.PACE}
    return forms.get(series[0].ask, Form.REPS)


def _value(e: Effort, form: Form | None) -> float | None:
    """Return what a round is scored by; of a target that was not made the most it can have been.

    So one made with the bell and one missed by a rep are next to each other.
    """
    if form is Form.HELD:
        return None if e.held_ms is None else e.held_ms / 1000
    if form is Form.REPS:
        return None if e.reps is None or e.tap == t.TAP_FINISH else float(e.reps)
    if form is None or e.reps is None:
        return None
    return _most(e) * MINUTE_MS / max(_least_ms(e), 1)


def _most(e: Effort) -> int:
    """Return the reps that a target came to, with those that its way of tapping can't tell."""
    if e.made:
        return e.goal
    if e.tap == t.TAP_FINISH:
        return e.goal
    return min((e.reps or 0) + e.every - 1, e.goal - 1)


def _least_ms(e: Effort) -> int:
    return e.end_ms - e.start_ms if e.finish_ms is None or not e.made else e.finish_ms


def _worse(e: Effort, form: Form | None) -> tuple[float, ...]:
    """Return what a round's lack is measured by, in the units in which it is told."""
    if form is Form.HELD:
        return (-whole_seconds(e.held_ms or 0),)
    if form is Form.REPS:
        return (-(e.reps or 0),)
    missed = e.made is False
    return missed, 0 if missed else whole_seconds(_least_ms(e)), -_most(e) if missed else 0


def _bounded(e: Effort, form: Form | None) -> bool:
    """Whether there is only a bound for a round: for what it lacks, or for how long it was kept."""
    if form is Form.HELD:
        return e.drop_ms is None
    unsure = e.tap == t.TAP_FINISH or e.every > 1
    return form is Form.PACE and e.made is False and unsure


def _why_not(series: Sequence[Effort], scored: Sequence[Effort], form: Form | None) -> str:
    if not series or all(e.outcome is Outcome.NOT_ASKED for e in series):
        return "not asked"
    if form is None:
        return "legs go in turn"
    if len(series) < 2:
        return "only one round"
    if len({(e.end_ms - e.start_ms, e.goal) for e in series}) > 1:
        return "rounds differ"
    if len(scored) < len(series):
        return "incomplete set"
    made = [e for e in scored if e.made]
    if series[0].tap == t.TAP_FINISH and not made:
        return "never made"
    if form is Form.PACE and len({e.finish_ms is None for e in made}) > 1:
        return "a time is not known"
    return ""
